"""What several screens share: the demo's line, the box of faults, the drop for a file of laps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from analysis.problems import BadInput, Fault
from analysis.screens import saves, source, words

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from analysis.records.shop import Shop
    from analysis.store.glance import Unopened
    from analysis.store.laps import ImportReport

FAULTS_READ_OUT = 5
TEMPLATE = (
    "started_at,seconds,product,operation,worker,variant,batch,activity,units,"
    "rework_units,scrap_units,cause,note\n"
    "2026-11-16T08:30:00,360,my notebook,sew,maker,linen,001,operation,5,0,0,,five in one go\n"
    "2026-11-16T08:36:00,240,my notebook,glue spine,maker,linen,001,setup,1,0,0,,glue pot warm\n"
    "2026-11-16T08:40:00,300,my notebook,glue spine,maker,linen,001,operation,5,1,0,crooked,\n"
)


def screen_link(path: str, label: str) -> None:
    """A link to another screen; where there is no frame, as in a test of one screen, its name."""
    page = st.session_state.get("pages", {}).get(path)
    if page is None:
        st.caption(label)
    else:
        st.page_link(page, label=label, icon=":material/arrow_forward:")


def start_timing(place: str = "page") -> None:
    """The way to the bench's page, which is no screen of this program but a page of its own."""
    st.link_button(
        "Start timing",
        "/bench",
        icon=":material/timer:",
        type="primary" if place == "page" else "secondary",
        width="stretch",
        key=f"start_timing_{place}",
    )
    if place == "page" and source.chosen() == source.DEMO:
        st.caption("Laps you time go to *My workshop*, not into the demo.")


def draw_open_tab(parts: dict[str, Callable], key: str, *given: object) -> None:
    """All parts of a screen by name, wrapped on a phone so that none is hidden; only the open one
    is drawn.

    The address names the open part, so that a link leads to it.
    """
    opened = st.segmented_control(
        "Part of this screen",
        list(parts),
        default=next(iter(parts)),
        key=key,
        required=True,
        label_visibility="collapsed",
        wrap=True,
        bind="query-params",
    )
    parts[opened](*given)


def one_of(label: str, names: Mapping[str, str], default: str, *, key: str | None = None) -> str:
    """One of a few, each told by its name; one is always chosen."""
    chosen = st.segmented_control(
        label, list(names), format_func=names.__getitem__, default=default, required=True, key=key
    )
    return chosen or default


def template_button() -> None:
    """A small file that shows how laps are written down."""
    st.download_button(
        "Template to fill in (CSV)",
        TEMPLATE,
        "laps_template.csv",
        "text/csv",
        on_click="ignore",
        help="Needed are started_at, seconds, product and operation. Replace the example rows.",
    )


def slide_line() -> None:
    """On a phone, above a table that is too wide for it: that there is more at the side."""
    st.html("<p class='slide'>Slide the table sideways for its other columns.</p>")


def rows_line() -> None:
    """Below a table to edit: how a row comes in and how one goes."""
    st.caption(
        "A new row: write in the empty one at the end. To take one out, tick it at its left end "
        "and press the bin above the table. Nothing counts before it is saved."
    )


def import_line() -> None:
    """What the last import did, shown once."""
    report = saves.tell("import_report")
    if report is None:
        return
    removed = ""
    if report.removed_before:
        removed = f", {words.number(report.removed_before)} left out that you removed"
    undo = " Undo it under Laps, Changes." if report.change_id is not None else ""
    st.success(
        f"{words.plain(report.name)}: {words.count(report.new, 'new lap')}, "
        f"{words.number(report.already_there)} already there{removed}.{undo}"
    )
    if report.notices:
        with st.expander(f"{words.count(len(report.notices), 'notice')} about the file"):
            for notice in report.notices:
                st.markdown(f"- {words.plain(notice)}")


def demo_line(here: source.Source, where: str = "on *This week*") -> None:
    """Say that these are the demo's figures, and where one's own go in."""
    if here.is_demo:
        st.caption(
            "**Demo bindery**: an invented workshop to look around in. "
            f"Your own laps go in {where}; the demo and your workshop are never mixed."
        )


def products_without(shop: Shop, key: str) -> list[str]:
    """The products of which a number is known neither for itself nor for each of its variants."""
    lacking = []
    for product in shop.products:
        if product.variant or getattr(product, key) is not None:
            continue
        kinds = [one for one in shop.products if one.name == product.name and one.variant]
        if not kinds or any(getattr(kind, key) is None for kind in kinds):
            lacking.append(product.name)
    return lacking


def faults_box(bad: BadInput, what: str, key: str) -> None:
    """Say that nothing was stored, read out the first faults, and give the list as a file."""
    one = bad.count == 1
    st.error(
        f"**{words.plain(what)} was not taken in: {words.count(bad.count, 'fault')}.** "
        f"Nothing was stored or changed. Mend {'it' if one else 'them'} and try again."
    )
    for fault in bad.faults[:FAULTS_READ_OUT]:
        st.markdown(f"- {words.plain(_read_out(fault))}")
    if bad.count > FAULTS_READ_OUT:
        with st.expander(f"All {len(bad.faults)} faults listed"):
            st.dataframe([_row(fault) for fault in bad.faults], hide_index=True)
            if bad.count > len(bad.faults):
                first, of = len(bad.faults), words.number(bad.count)
                st.caption(f"The first {first} of {of}; the rest are alike.")
    st.download_button(
        "Download the list of faults",
        str(bad),
        file_name="faults.txt",
        mime="text/plain",
        key=f"{key}_faults",
        on_click="ignore",
    )


def without_rows(bad: BadInput) -> BadInput:
    """The same faults for a form, where the rows of a file mean nothing."""
    return BadInput([replace(fault, row=0) for fault in bad.faults], bad.count)


def _read_out(fault: Fault) -> str:
    """A fault as two sentences: `Row 7: seconds is not a number, found “abc”. Write digits.`"""
    place = f"Row {fault.row}: " if fault.row else ""
    found = f", found “{fault.value}”" if fault.value else ""
    remedy = f" {fault.remedy[0].upper()}{fault.remedy[1:]}." if fault.remedy else ""
    return f"{place}{fault.column or 'the file'} {fault.problem}{found}.{remedy}"


def _row(fault: Fault) -> dict:
    return {
        "row": fault.row,
        "column": fault.column,
        "what is wrong": fault.problem,
        "found": fault.value,
        "what to do": fault.remedy,
    }


@saves.saving()
def drop_laps(store: Unopened, key: str, label: str = "Drop in your own laps (CSV)") -> bool:
    """A place to drop a file of laps; True once its laps are in the store.

    A file with faults is refused as a whole and stays shown with its faults; a file taken in
    leaves the drop, so that a rerun does not read it again.
    """
    notes = saves.notes_of_session()
    turn = notes.files.get(key, 0)
    file = st.file_uploader(label, type=["csv", "tsv", "txt"], key=f"{key}_{turn}")
    if file is None:
        return False
    bar = st.progress(0.0, f"Reading {words.plain(file.name)} …")
    try:
        report = _take_in(store, file.name, file.getvalue(), bar)
        # Before the bar goes: a tap may break the page off there.
        notes.unread["import_report"], notes.files[key] = report, turn + 1
    except BadInput as bad:
        faults_box(bad, file.name, key)
        return False
    finally:
        bar.empty()
    return True


def _take_in(store: Unopened, name: str, data: bytes, bar: DeltaGenerator) -> ImportReport:
    """Read, check and store a file of laps, with a bar that moves; the store's report."""
    from analysis.records.laps import read_laps

    file = read_laps(data, store.shop(), name)
    return store.import_laps(
        file,
        progress=lambda done, of: bar.progress(
            done / max(of, 1), f"{words.number(done)} of {words.number(of)} laps stored"
        ),
    )


def drop_route(store: Unopened) -> None:
    """A place to drop a routing file, which replaces the route as one change."""
    from analysis.records.routing import read_routing

    file = st.file_uploader("Put in a route (routing.csv)", type=["csv", "tsv"], key="route_file")
    if file is None:
        return
    try:
        routing = read_routing(file.getvalue(), file.name)
    except BadInput as bad:
        faults_box(bad, file.name, "route_file")
        return
    products = words.count(routing["product"].nunique(), "product")
    st.markdown(f"{words.count(len(routing), 'row')}, {products}.")
    if st.button("Replace the whole route with it", type="primary"):
        with saves.saving():
            changed = store.save_routing(routing, f"route from {file.name}")
            saves.note_change(store, changed, "Saved: route.", "The route was so already.")
