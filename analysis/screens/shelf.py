"""The shelf: what was counted, sold and put away, noted one by one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from analysis.problems import BadInput
from analysis.screens import answers, words
from analysis.screens.parts import (
    faults_box,
    one_of,
)
from analysis.screens.saves import just_saved, note_saved, saving

if TYPE_CHECKING:
    from analysis.store.glance import Unopened

KINDS = {"sale": "Sold", "put_away": "Put away on the shelf", "count": "Counted on the shelf"}
SHORT = {"sale": "sold", "put_away": "put away", "count": "counted"}
SHOWN_EVENTS = 30


def show(desk: answers.Desk) -> None:
    """A form to note one movement, and the latest ones."""
    store = desk.here.store
    st.markdown(
        "Count once, then note what is sold and what is put away: *This week* then tells how long "
        "each variant lasts, and what is packed but not yet on the shelf."
    )
    names = _names(store)
    if not names:
        st.markdown(_first_step(store.lap_count() > 0))
        return
    _note_one(store, names)
    _latest(desk)


def _first_step(has_laps: bool) -> str:
    """What comes before the first movement, where the shop knows no product yet."""
    if has_laps:
        return (
            "Press **Save products** under **Products** first: the names in your laps stand there "
            "already."
        )
    return "Write what you make under **Products** first, and press **Save products**."


def _names(store: Unopened) -> list[tuple[str, str]]:
    """What can lie on the shelf: each variant, or the product where it has none."""
    rows = store.shop().products
    several = {row.name for row in rows if row.variant}
    return [(row.name, row.variant) for row in rows if row.variant or row.name not in several]


def _named(name: tuple[str, str]) -> str:
    return ", ".join(filter(None, name))


def _note_one(store: Unopened, names: list[tuple[str, str]]) -> None:
    with st.form("shelf", clear_on_submit=True):
        kind = one_of("What happened", KINDS, "sale")
        which = st.selectbox("Of what", names, format_func=_named)
        pieces = st.number_input(
            "Pieces", min_value=0, value=None, step=1, placeholder="how many", key="shelf_pieces"
        )
        asked = st.form_submit_button("Note it", type="primary")
    if not asked:
        return
    if pieces is None:
        if not just_saved():  # else a second tap, on the form that the first one emptied
            st.error("Say how many pieces.")
        return
    _note(store, kind, which, int(pieces))


@saving()
def _note(store: Unopened, kind: str, which: tuple[str, str], pieces: int) -> None:
    try:
        change_id = store.add_stock_event(kind, which[0], pieces, which[1])
    except BadInput as bad:
        faults_box(bad, "What you noted", "shelf")
        return
    note_saved(f"Noted: {KINDS[kind].lower()}, {pieces} {_named(which)}.", (store, change_id))


def _latest(desk: answers.Desk) -> None:
    noted = desk.kept("shelf noted", (), lambda: len(desk.here.store.stock_events()))
    if not noted:
        st.caption("Nothing noted yet. Begin with a count of each variant.")
        return
    latest = desk.kept("shelf latest", (), lambda: _table(desk))
    shown = f"; the latest {latest.rows} are shown" if noted > latest.rows else ""
    st.html(answers.figures_page(latest, "What was noted of the shelf, the latest first"))
    st.caption(f"{words.count(noted, 'movement')} noted{shown}. Undo one under Laps, Changes.")


def _table(desk: answers.Desk) -> answers.Table:
    """The latest movements by the shop's clock; the year stands only where there are several."""
    import pandas as pd  # slow to import, and tables are kept

    latest = desk.here.store.stock_events().iloc[::-1].head(SHOWN_EVENTS)
    local = latest["at"].dt.tz_convert(desk.settings[0].timezone)
    day = words.short_day if local.dt.year.nunique() == 1 else words.day
    frame = pd.DataFrame(
        {
            "when": [f"{day(at)}, {words.clock(at)}" for at in local],
            "what": latest["kind"].map(SHORT).to_numpy(),
            "pieces": latest["units"].to_numpy(),
            "of what": list(map(_named, zip(latest["product"], latest["variant"], strict=True))),
        }
    )
    return answers.Table.of(frame, {"pieces": "%.0f"}, lead=len(frame.columns))
