"""What a piece costs: labour, material, mending, overhead against its price, and what is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analysis.screens import answers, glossary, parts, words
from analysis.screens.answers import Table
from analysis.screens.putting_right_told import not_timed
from analysis.study.cost_of_quality import untimed_mending

if TYPE_CHECKING:
    import altair as alt

    from analysis.study.summary import Study

TRADE = (
    "labour cost", "overhead", "contribution", "rework", "scrap", "standard time", "break-even",
)  # fmt: skip
MOST_DRAWN = 14  # bars that a phone still shows as one picture
EDGE = 0.2  # of its range: nearer to the low end, a figure needs a word why
PARTS = ("labour", "material", "rework_and_scrap", "overhead")


@dataclass(frozen=True)
class Page:
    """All that is read out for one piece, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    missing: str
    surer: tuple[str, ...]


def show() -> None:
    """The answer for one piece, the chart of all, the table, and how pay is counted."""
    desk = answers.opened("What a piece costs", "what a piece costs")
    if desk is None:
        return
    pieces = desk.kept("pieces", (), lambda: _pieces(desk.figures))
    if not pieces:
        st.info(
            "No lap of an operation with a product yet. Next step: time some making, not only "
            "setups and interruptions."
        )
        return
    piece = st.selectbox("Piece", list(pieces), format_func=pieces.get, key="cost_piece")
    page = desk.kept("cost", piece, lambda: _page(desk.figures, *piece))
    answers.answer(page.sentence, page.points)
    _missing(page)
    glossary.beside(*TRADE)
    _picture(desk, piece)
    answers.table(desk.kept("cost table", (), lambda: _table(desk.figures)), "piece_cost")
    st.markdown(PAY)
    answers.surer(page.surer)
    answers.worked_out(WORKED_OUT, PLAINLY)


def _pieces(figures: Study) -> dict[tuple[str, str], str]:
    """What can be asked for, the product with the most work first, and how it is called; a product
    with variants is their mix."""
    work = figures.laps.groupby("product", observed=True)["seconds"].sum()
    at = figures.cost["product"].astype(str).map({str(name): -sum_ for name, sum_ in work.items()})
    cost = figures.cost.iloc[at.argsort(kind="stable")]
    several = set(cost.loc[cost["variant"] != "", "product"])
    return {
        (product, variant): _called(product, variant, product in several)
        for product, variant in zip(cost["product"], cost["variant"], strict=True)
    }


def _called(product: str, variant: str, several: bool) -> str:
    return f"{product}, {variant or 'as variants are wanted'}" if variant or several else product


def _page(figures: Study, product: str, variant: str) -> Page:
    cost = figures.cost
    row = cost[(cost["product"] == product) & (cost["variant"] == variant)].iloc[0]
    return Page(
        sentence=_lead(row, figures),
        points=(_left(row, figures.currency), *_hour(row, figures.currency),
                _spoiled(row, figures), _edge(row)),
        missing=_not_given(row, figures),
        surer=tuple(_surer(figures, product)),
    )  # fmt: skip


def _lead(row: pd.Series, figures: Study) -> str:
    """The cost with its range and the pay it rests on, and what an hour leaves."""
    name, currency = words.variant(row["product"], row["variant"]), figures.currency
    same = figures.cost["product"] == row["product"]
    mixed = not row["variant"] and figures.cost.loc[same, "price"].nunique() > 1
    on_average = " on average" if mixed else ""
    leaves = (
        f" Sold at {words.money(row['price'], currency)}{on_average}, it leaves "
        f"{words.money_range(row['earned_low'], row['earned_high'], currency)} for each hour at "
        "the bench, before anybody's pay."
    )
    leaves = leaves if pd.notna(row["earned_per_hour"]) else ""
    if pd.isna(row["cost_per_good_piece"]):
        takes = words.time_range(3600 * row["bench_hours_low"], 3600 * row["bench_hours_high"])
        about = f"; it takes about {takes} at the bench" if takes != words.NOT_KNOWN else ""
        return f"What a good piece of {name} costs is not known in full yet{about}.{leaves}"
    return (
        f"A good piece of {name} costs about "
        f"{words.money_range(row['cost_low'], row['cost_high'], currency)}"
        f"{_paid(figures)}.{leaves}"
    )


def _paid(figures: Study) -> str:
    """The pay that the cost rests on: ` (maker paid 24.00 USD an hour, helper 18.00 USD)`."""
    at_work = figures.worker_load.loc[~(figures.worker_load["hours_needed"] == 0), "worker"]
    pay = {one.name: one.cost_per_hour for one in figures.shop.workers if one.name in set(at_work)}
    known = {name: amount for name, amount in pay.items() if amount is not None}
    if not known:
        return ""
    if len(known) == 1:
        [wage] = known.values()
        return f", every hour at it paid {words.money(wage, figures.currency)}"
    people = [
        f"{words.plain(name)} {words.money(amount, figures.currency)}"
        for name, amount in known.items()
    ]
    return f" (pay an hour: {', '.join(people)})"


def _left(row: pd.Series, currency: str) -> str:
    """What the price leaves once everybody is paid."""
    if pd.isna(row["left"]):
        return ""
    price = f"At {words.money(row['price'], currency)}"
    if row["left_low"] > 0:
        left = words.money_range(row["left_low"], row["left_high"], currency)
        return f"{price} it brings in **{left} more than it costs**, everybody's pay taken off."
    if row["left_high"] < 0:
        lost = words.money_range(-row["left_high"], -row["left_low"], currency)
        return f"{price} it **brings in {lost} less than it costs** at these rates of pay."
    return (
        f"{price} it **about pays for itself** at these rates of pay: between "
        f"{words.money(-row['left_low'], currency)} too little and "
        f"{words.money(row['left_high'], currency)} over."
    )


def _hour(row: pd.Series, currency: str) -> list[str]:
    """Up to what pay the piece carries itself, and what a further piece brings in."""
    lines = []
    if pd.notna(row["earned_per_hour"]):
        most = words.money_range(row["earned_low"], row["earned_high"], currency)
        dearer = words.money(row["bench_hours"], currency)
        lines.append(
            f"It carries pay of {most} an hour at most (break-even). "
            f"Each {words.money(1, currency, 0)} an hour more in pay makes it {dearer} dearer."
        )
    if pd.notna(row["contribution"]):
        brings = words.money_range(row["contribution_low"], row["contribution_high"], currency)
        lines.append(
            f"One piece more brings in {brings} (price less material) while there are hours free, "
            "since those and the overhead are there anyway."
        )
    return lines


def _spoiled(row: pd.Series, figures: Study) -> str:
    """What faults put on a good piece, and what of it nobody timed."""
    laps, currency = figures.laps, figures.currency
    of = laps["product"] == row["product"]
    if row["variant"]:
        of &= laps["variant"] == row["variant"]
    put_right = untimed_mending(laps[of])
    unknown = f"{not_timed(put_right)}, so what that costs is not in it." if put_right else ""
    if pd.isna(row["rework_and_scrap"]) or pd.isna(row["lost_material"]):
        return unknown
    if not row["rework_and_scrap"] + row["lost_material"] > 0:
        return unknown or "No putting right and no lost piece was logged, so none is in the cost."
    return (
        f"Putting right and lost pieces add about {words.money(row['rework_and_scrap'], currency)} "
        f"of work (*putting right* below) and {words.money(row['lost_material'], currency)} of "
        "material (within *material*) on every good one, at today's times with rests; *Putting "
        f"right* takes the times as they were, so its figures differ a little. {unknown}".strip()
    )


def _edge(row: pd.Series) -> str:
    """Why a figure stands near the low end of its own range, where it does."""
    width, below = row["cost_high"] - row["cost_low"], row["cost_per_good_piece"] - row["cost_low"]
    if not below < EDGE * width:
        return ""
    return (
        "The range reaches further up than down: few or no pieces were lost so far, and so few "
        "pieces leave open that more will be."
    )


def _not_given(row: pd.Series, figures: Study) -> str:
    """What is still to be written down, in one sentence; blank where nothing is."""
    pay = {one.name: one.cost_per_hour for one in figures.shop.workers}
    unpaid = [name for name in figures.worker_load["worker"] if pay.get(name) is None]
    who = f" of {', '.join(words.plain(name) for name in unpaid)}" if unpaid else ""
    missing = {
        f"the hourly pay{who}": pd.isna(row["labour"]),
        "the cost of its material": pd.isna(row["material"]),
        "its price": pd.isna(row["price"]),
        "the hours of a week": pd.isna(row["overhead"]),
        "the overhead of a week, counted as nothing so far": figures.shop.overhead_per_week is None,
    }
    names = [name for name, holds in missing.items() if holds]
    return f"Not given yet: {'; '.join(names)}." if names else ""


def _missing(page: Page) -> None:
    if page.missing:
        st.info(f"{page.missing} Next step: write it down on *Shop*.")
        parts.screen_link("shop", "Fill it in on Shop")


def _picture(desk: answers.Desk, piece: tuple[str, str]) -> None:
    drawn = desk.kept("cost drawn", piece[:1], lambda: _drawn_pieces(desk.figures.cost, piece[0]))
    if drawn[list(PARTS)].fillna(0).to_numpy().sum() == 0:
        return

    def make() -> alt.Chart:
        from analysis.charts.cost import cost_chart  # altair is slow to import, and may be kept

        return cost_chart(drawn, desk.figures.currency)

    answers.picture(desk, "cost", piece[:1], make)
    st.caption(
        "Bars: what goes into one good piece. Line along the end of a bar: 19 times out of 20 the "
        "cost lies in there, as far as the laps can tell. Upright mark and figure beside it: the "
        "price."
    )
    if drawn["cost_per_good_piece"].isna().any():
        st.caption("A bar without that line is not the whole cost: a part of it is not known yet.")


def _drawn_pieces(cost: pd.DataFrame, product: str) -> pd.DataFrame:
    """Every piece that is made; of many, those of the product chosen."""
    mixes = cost["product"].isin(cost.loc[cost["variant"] != "", "product"])
    made = cost[(cost["variant"] != "") | ~mixes]
    if len(made) > MOST_DRAWN:
        made = made[made["product"] == product].head(MOST_DRAWN)
    names = [_called(*pair, False) for pair in zip(made["product"], made["variant"], strict=True)]
    columns = [*PARTS, "cost_per_good_piece", "cost_low", "cost_high", "price"]
    return made[columns].assign(piece=names).reset_index(drop=True)


def _table(figures: Study) -> Table:
    """Everything known of each piece, money in the shop's currency."""
    cost, money = figures.cost, figures.currency
    several = set(cost.loc[cost["variant"] != "", "product"])
    mixed = (cost["variant"] == "") & cost["product"].isin(several)
    columns = _columns(cost, money)
    names = {"product": cost["product"], "variant": cost["variant"].mask(mixed, "as wanted")}
    frame = pd.DataFrame(names | columns | {"note": cost["note"]})
    minutes = {name: "%.1f" for name in columns if "(min)" in name}
    spans = {
        f"cost ({money})": ("cost from", "cost to"),
        f"left ({money})": ("left from", "left to"),
        f"an hour leaves ({money})": ("leaves from", "leaves to"),
        "bench time (min)": ("bench from (min)", "bench to (min)"),
    }
    return Table.of(frame, dict.fromkeys(columns, "%.2f") | minutes, spans, lead=4)


def _columns(cost: pd.DataFrame, money: str) -> dict[str, pd.Series]:
    """The figures of the table by their headers, in its order."""
    return {
        f"cost ({money})": cost["cost_per_good_piece"],
        "cost from": cost["cost_low"],
        "cost to": cost["cost_high"],
        f"price ({money})": cost["price"],
        f"labour ({money})": cost["labour"],
        f"material ({money})": cost["material"],
        f"putting right ({money})": cost["rework_and_scrap"],
        f"overhead ({money})": cost["overhead"],
        f"left ({money})": cost["left"],
        "left from": cost["left_low"],
        "left to": cost["left_high"],
        f"an hour leaves ({money})": cost["earned_per_hour"],
        "leaves from": cost["earned_low"],
        "leaves to": cost["earned_high"],
        f"price less material ({money})": cost["contribution"],
        "bench time (min)": 60 * cost["bench_hours"],
        "bench from (min)": 60 * cost["bench_hours_low"],
        "bench to (min)": 60 * cost["bench_hours_high"],
    }


def _surer(figures: Study, product: str) -> list[str]:
    lines = []
    content = figures.content[figures.content["product"] == product]
    planned = dict.fromkeys(content.loc[content["source"] != "laps", "operation"].astype(str))
    if planned:
        names = ", ".join(words.plain(name) for name in planned)
        lines.append(f"Time what is only planned so far: {names}.")
    lines.append(_least_known(figures.operations[figures.operations["product"] == product]))
    lines.append(
        "Pay, prices, material and overhead are taken as they stand on *Shop*: the range knows "
        "nothing of a mistake there. Look them over when a price changes."
    )
    return lines


def _least_known(operations: pd.DataFrame) -> str:
    """The operation whose time leaves most open."""
    width = (operations["standard_high"] - operations["standard_low"]).dropna()
    if width.empty:
        return ""
    row = operations.loc[width.idxmax()]
    between = words.time_range(row["standard_low"], row["standard_high"])
    return (
        f"More timed batches of *{words.plain(row['operation'])}*: its standard time is known no "
        f"better than {between} a piece, and no other leaves so much open."
    )


PAY = """
**Whose pay is in it.** What you write beside a name on *Shop* is counted as labour, your own too,
whether you pay it out or not: write what you would have to pay somebody, or what you need to live
on. Left blank it is not nothing, it is not known, and the cost stays open. *What an hour leaves* is
before anybody's pay, yours and a helper's: compare it with what you need an hour.
"""

PLAINLY = """
What goes into one good piece is added up: pay for the time it takes at the bench, its material,
the work and material in pieces that were mended or lost, and its share of rent and the like. The
times come from your laps; pay, prices and rent from *Shop*. What an hour leaves is the price less
material and that share of rent, divided by the hours the piece takes: it is before anybody's pay.
"""

WORKED_OUT = """
- **Cost of a good piece** = labour + material + putting right + overhead.
- **Labour** = pay an hour × (standard time of one piece + setups / batch size + walks), at the
  pay of those who did each operation in the last four weeks, by their share of its time. Work
  that nobody has done yet is paid like the first person on *Shop*.
- **Standard time** is at the present level of practice, with allowances; logged interruptions
  stand in for the contingency part.
- **Material** = its cost / share of started pieces that come out good.
- **Putting right** = pay × (time of mending + work already in the pieces lost). A part that is lost
  before it is joined to the others, such as a book's cover, counts here with the others, which lack
  it; the screen *Putting right* counts it alone, since they may wait for the next batch.
- **Overhead** = a week's overhead / the hours people have in a week, weeks closed in a year spread
  over it, × bench hours of the piece: at normal capacity, so that a slow week does not make a piece
  dearer (IAS 2, from memory). Hours that stay empty are therefore in no piece's cost.
- **An hour leaves** = (price - material - overhead) / bench hours: before anybody's pay, and so
  also the pay at which the piece breaks even.
- **Contribution** = price - material: what one piece more brings in while hours are free. Where
  somebody is paid for that very hour, their pay comes off it.
- **Ranges** hold 19 times out of 20. They hold what the laps leave open: times, scrap, mending,
  setups and walks; not a change of price, pay or demand. Taxes and fees on sales are left out.
"""
