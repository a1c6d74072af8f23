"""Shop: hours, people, products, costs, the shelf and the route, in tables to edit.

Each save is one change, listed under Laps and undone there.
"""

from collections.abc import Callable
from typing import Literal

import pandas as pd
import streamlit as st

from analysis.problems import BadInput
from analysis.records.shop import (
    CONVENTIONS,
    MOST_WEEKS_CLOSED,
    Allowance,
    Shop,
    read_shop,
    shop_toml,
)
from analysis.screens import answers, shelf, shop_tables, source, words
from analysis.screens.parts import (
    demo_line,
    draw_open_tab,
    drop_route,
    faults_box,
    products_without,
    rows_line,
    slide_line,
)
from analysis.screens.saves import note_change, saved_line, saving

NUMBER, TEXT = st.column_config.NumberColumn, st.column_config.TextColumn
FITS_A_PHONE = 3  # columns of a table to edit


def show() -> None:
    """The shop, what it says in one sentence, and what is still to fill in."""
    here = source.current()
    st.title("Shop")
    demo_line(here)
    desk = answers.desk(here)
    shop, routing = desk.settings
    st.markdown(f"**{words.plain(_summary(shop))}**")
    saved_line(here.store)
    if missing := _to_fill_in(shop, routing, desk.kept("laps", (), here.store.lap_count) > 0):
        answers.points(missing)
    draw_open_tab(TABLES, "shop_part", desk)


def _summary(shop: Shop) -> str:
    """One sentence: the week, the people, what is asked for."""
    week = words.hours(shop.week_seconds / 3600)
    people = words.count(len(shop.workers), "person", "people") if shop.workers else "nobody named"
    wanted = [row.demand_per_week for row in shop.products if not row.variant]
    known = [number for number in wanted if number is not None]
    asked = "demand not yet filled in"
    if known:
        asked = f"{words.count(sum(known), 'piece')} asked for a week"
    closed = shop.weeks_closed_per_year
    shut = f" ({words.count(closed, 'week', 'weeks')} a year closed)" if closed else ""
    return f"{shop.name}: open {week} a week{shut}, {people}, {asked}."


def _to_fill_in(shop: Shop, routing: pd.DataFrame | None, has_laps: bool) -> list[str]:
    """What the figures still wait for, each with the table it goes in."""
    missing = []
    if not shop.products:
        missing.append(
            "**Products**: the names in your laps stand there already; press *Save products*."
            if has_laps
            else "**Products**: name what you make, as your laps name it."
        )
    for key, what in (
        ("demand_per_week", "pieces asked for"),
        ("price", "price"),
        ("material_cost", "material"),
    ):
        without = [words.plain(name) for name in products_without(shop, key)]
        if without:
            missing.append(f"**Products**: {what} of {', '.join(without)}.")
    if not any(worker.cost_per_hour is not None for worker in shop.workers):
        missing.append("**People**: what an hour costs, so that labour has a price.")
    if shop.overhead_per_week is None:
        missing.append("**Costs**: rent, power and insurance in a week.")
    if routing is None:
        missing.append("**Route**: the operations in order; until then it is taken from your laps.")
    return missing


def _products(desk: answers.Desk) -> None:
    shop, _ = desk.settings
    st.markdown(
        "What you make, named as in your laps. Give a variant (a colour, a size) a row of its own "
        "only where it differs: a price, material or batch left blank is its product's. Where the "
        "variants have numbers for what is asked for or counted, leave those of the product "
        "blank: the program adds them up."
    )
    money, cents = shop.currency, words.cell_number("%.2f")
    columns = {
        # Widths that let a phone show what is asked for too; the names stay where it slides on.
        "product": TEXT("Product", width=112, pinned=True),
        "variant": TEXT("Variant", width=92, pinned=True),
        "demand_per_week": NUMBER(
            "Asked a week", width=118, min_value=0, format="%g", help="In pieces."
        ),
        "batch_size": NUMBER("Batch (pieces)", min_value=1, step=1, format="%d"),
        "price": NUMBER(f"Price ({money} a piece)", min_value=0, format=cents),
        "material_cost": NUMBER(f"Material ({money} a piece)", min_value=0, format=cents),
        "stock": NUMBER(
            "Opening count (pieces)",
            min_value=0,
            format="%g",
            help="What lay there when you began. Later counts, sales and put-aways are under "
            "Shelf, and once something is counted there, that count is the one used.",
        ),
    }
    table = desk.kept(
        "products table", (), lambda: shop_tables.products_table(shop, _logged_products(desk))
    )
    _table(desk, "products", table, columns, shop_tables.with_products)


def _logged_products(desk: answers.Desk) -> list[tuple[str, str]]:
    """Products and variants in the laps, so that nobody has to type their names again."""
    if not desk.here.store.lap_count():
        return []
    stock = answers.last_figures(desk).stock
    return list(zip(stock["product"], stock["variant"], strict=True))


def _hours(desk: answers.Desk) -> None:
    shop, _ = desk.settings
    st.markdown(
        "Working hours of an ordinary week; breaks are the gaps. Write `08:00-12:00, 13:00-17:00`, "
        "and leave a closed day blank. *Takt time*, the pace demand asks for, counts on them."
    )
    columns = {"day": TEXT("Day", disabled=True), "hours": TEXT("Hours")}
    table = shop_tables.hours_table(shop)
    _table(desk, "hours", table, columns, shop_tables.with_hours, rows="fixed")


def _people(desk: answers.Desk) -> None:
    shop, _ = desk.settings
    st.markdown(
        "Who works at the bench, by the names in your laps. Your own pay: what you would have to "
        "pay somebody, or need to live on. Left blank, what a piece costs stays open, and what an "
        "hour earns you is told all the same."
    )
    columns = {
        "name": TEXT("Name", width=85),
        "cost_per_hour": NUMBER(
            f"{shop.currency} an hour",
            width=115,
            min_value=0,
            format=words.cell_number("%.2f"),
            help="What you pay in all: wage, employer's contributions, paid holidays.",
        ),
        "hours_per_week": NUMBER(
            "Hours a week", width=120, min_value=0, max_value=168, help="At the bench."
        ),
    }
    table = shop_tables.people_table(shop, desk.here.store.names("worker"))
    _table(desk, "people", table, columns, shop_tables.with_people)
    st.caption(
        "Timing somebody else: tell them first what is timed and why, and set no pace that "
        "strains. Wages, hours, breaks and timing are ruled by local law; ask the authority or a "
        "licensed adviser."
    )


def _costs(desk: answers.Desk) -> None:
    shop, _ = desk.settings
    with st.form("costs"):
        name = st.text_input("Name of the workshop", shop.name)
        overhead = st.number_input(
            f"Rent, power, insurance and the like ({shop.currency} a week)",
            min_value=0.0,
            value=None if shop.overhead_per_week is None else float(shop.overhead_per_week),
            placeholder="not filled in",
            help="What runs on whether you work or not (trade term: overhead).",
        )
        closed = st.number_input(
            "Weeks closed in a year",
            min_value=0,
            max_value=MOST_WEEKS_CLOSED,
            value=shop.weeks_closed_per_year,
            help="Holidays, fairs, illness: weeks in which nobody is at the bench. Buyers go on "
            "asking and rent goes on meanwhile.",
        )
        if quiet := desk.kept("quiet weeks", (), lambda: _quiet_weeks(desk)):
            st.caption(quiet)
        currency = st.text_input("Currency (three letters)", shop.currency, max_chars=3)
        timezone = st.text_input(
            "Time zone", shop.timezone, help="Such as Europe/Vienna. Weeks begin on its Monday."
        )
        asked = st.form_submit_button("Save costs", type="primary")
    if asked:
        basics = (name, timezone, currency.upper(), overhead, closed)
        changed = shop_tables.with_basics
        _save(desk, "costs", lambda: desk.here.store.save_shop(changed(shop, *basics), "costs"))


def _quiet_weeks(desk: answers.Desk) -> str:
    """How many of the weeks logged have no lap, to hold the weeks closed against."""
    if not desk.here.store.lap_count():
        return ""
    logged, without = answers.last_figures(desk).weeks_logged
    if not without:
        return ""
    return (
        f"{words.number(without)} of the {words.count(logged, 'week')} from the first lap to "
        f"the last {'has' if without == 1 else 'have'} no lap. If the shop was closed then, count "
        "weeks like these here; 0 says that it never closes."
    )


def _allowances(desk: answers.Desk) -> None:
    shop, _ = desk.settings
    st.markdown(
        "Nobody works every minute of the day. The allowance is added to the timed work to get the "
        "time to plan with (trade term: *standard time*)."
    )
    with st.form("allowances"):
        allowance = _allowance_fields(shop.allowance)
        asked = st.form_submit_button("Save allowances", type="primary")
    if asked:
        changed = shop_tables.with_allowance
        _save(
            desk,
            "allowances",
            lambda: desk.here.store.save_shop(changed(shop, allowance), "allowances"),
        )
    st.caption(
        "These are starting values, not a licence to go without rest. Breaks the law grants, and "
        "strain from presses, blades, solvents or repeated movement, follow local codes and a "
        "qualified assessment."
    )


def _allowance_fields(own: Allowance) -> Allowance:
    """The allowance as it stands in the fields, which begin with the shop's own."""
    personal = _percent(
        "Personal needs (%)",
        own.personal_percent,
        "Washing, drinking, the toilet. ILO, Introduction to Work Study: 5 %.",
    )
    fatigue = _percent(
        "Getting tired (%)",
        own.fatigue_percent,
        "Basic fatigue of light seated work. ILO: 4 %; more for standing, "
        "lifting, close attention, heat or noise.",
    )
    contingency = _percent(
        "Small interruptions (%)",
        own.contingency_percent,
        "Common practice, no source. Where your laps hold interruptions, "
        "their own rate is used instead; never both.",
    )
    convention = st.radio(
        "Percent of what",
        CONVENTIONS,
        index=CONVENTIONS.index(own.convention),
        captions=[
            "added on top of the work: work x (1 + %)",
            "taken out of the day: work / (1 - %)",
        ],
    )
    return Allowance(personal, fatigue, contingency, convention)


def _percent(label: str, value: float, meaning: str) -> float:
    return st.number_input(label, 0.0, 99.0, float(value), step=0.5, help=meaning)


def _route(desk: answers.Desk) -> None:
    store, (_, routing) = desk.here.store, desk.settings
    st.markdown(
        "The way of a piece through the workshop (trade term: *routing*): one row for each product "
        "and operation. Planned times are used until your laps tell better. What a piece takes is "
        "in seconds; setting up and waiting are in minutes."
    )
    table = shop_tables.route_table(routing)
    if table.empty and store.lap_count():
        st.markdown(
            "**The order of your work is taken from your laps; check it here**, above all what "
            "must come after what and how long it dries, and save it."
        )
        table = shop_tables.usual_route(answers.last_figures(desk))
    slide_line()
    with st.form("route", border=False):
        edited = st.data_editor(
            table,
            column_config=shop_tables.ROUTE_COLUMNS,
            num_rows="dynamic",
            hide_index=True,
            key=f"route_{desk.turn}",
            placeholder="",
        )
        rows_line()
        asked = st.form_submit_button("Save route", type="primary")
    if asked:
        _save(desk, "route", lambda: store.save_routing(shop_tables.checked_route(edited), "route"))


def _files(desk: answers.Desk) -> None:
    store, (shop, routing) = desk.here.store, desk.settings
    st.markdown("The same as files, to keep, to edit elsewhere, or to hand to the command line.")
    with st.container(horizontal=True):
        st.download_button(
            "Download shop.toml",
            shop_toml(shop),
            "shop.toml",
            "application/toml",
            on_click="ignore",
        )
        if routing is not None:
            st.download_button(
                "Download routing.csv",
                shop_tables.route_csv(routing),
                "routing.csv",
                "text/csv",
                on_click="ignore",
            )
    file = st.file_uploader("Put in a shop file (shop.toml)", type=["toml"], key="shop_file")
    if file is not None and st.button("Replace hours, people, products and costs with it"):
        name, data = file.name, file.getvalue()
        _save(desk, name, lambda: store.save_shop(read_shop(data, name), name), refused=name)
    drop_route(store)


def _table(
    desk: answers.Desk,
    what: str,
    table: pd.DataFrame,
    columns: dict,
    convert: Callable[[Shop, pd.DataFrame], Shop],
    rows: Literal["fixed", "dynamic"] = "dynamic",
) -> None:
    """A table to edit with its own save button; what is saved passes the reader of files first."""
    if len(columns) > FITS_A_PHONE:
        slide_line()
    with st.form(what, border=False):
        edited = st.data_editor(
            table,
            column_config=columns,
            num_rows=rows,
            hide_index=True,
            key=f"{what}_{desk.turn}",
            placeholder="",
        )
        if rows == "dynamic":
            rows_line()
        asked = st.form_submit_button(f"Save {what}", type="primary")
    if asked:
        store = desk.here.store
        _save(desk, what, lambda: store.save_shop(convert(store.shop(), edited), what))


@saving()
def _save(desk: answers.Desk, what: str, save: Callable[[], int | None], refused: str = "") -> None:
    """Save as one change, and say so; or say what is wrong, or that nothing differed. `refused`:
    what was not taken in, where it is a file and was not typed."""
    try:
        changed = save()
    except BadInput as bad:
        faults_box(bad, refused or f"What you typed in {what}", key=f"save_{what}")
        return
    note_change(desk.here.store, changed, f"Saved: {what}.", f"Nothing to save in {what}.")


TABLES = {
    "Products": _products,
    "Shelf": shelf.show,
    "Hours": _hours,
    "People": _people,
    "Costs": _costs,
    "Allowances": _allowances,
    "Route": _route,
    "Files": _files,
}
