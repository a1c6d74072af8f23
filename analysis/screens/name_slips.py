"""Names that may be slips of the pen, asked about on Laps and after an import: one tap renames all
laps of one, as a correction with its undo, or says that they are two names."""

import json
from functools import partial

import streamlit as st

from analysis.problems import Problem
from analysis.records import slips
from analysis.screens import parts, words
from analysis.screens.answers import Desk

APART = "names apart"  # what the store remembers: [column, name, the other name], …
MOST_ASKED = 5


def ask(desk: Desk) -> None:
    """A question for each such name, none where there are none."""
    found = desk.kept("name slips", (), lambda: _found(desk))
    apart = _apart(desk) if found else set()
    open_ones = [slip for slip in found if (slip.column, slip.name, slip.usual) not in apart]
    for slip in open_ones[:MOST_ASKED]:
        _one(desk, slip)
    if len(open_ones) > MOST_ASKED:
        st.caption(f"And {words.count(len(open_ones) - MOST_ASKED, 'name')} more, one by one.")


def _found(desk: Desk) -> list[slips.Slip]:
    """The slips among all names on record; how many laps a name has is asked of few."""
    store = desk.here.store

    def laps_of(column: str, name: str) -> int:
        return store.page(0, 1, {column: name})[1]

    return [
        slip
        for column in slips.COLUMNS
        for slip in slips.slips(column, store.names(column), partial(laps_of, column))
    ]


def _apart(desk: Desk) -> set[tuple[str, ...]]:
    """What the maker has said are two names."""
    return {tuple(one) for one in json.loads(desk.here.store.remembered(APART) or "[]")}


def _one(desk: Desk, slip: slips.Slip) -> None:
    key = f"{slip.column} {slip.name}"
    with st.container(border=True):
        st.markdown(
            f"{slip.column.capitalize()} **{words.plain(slip.name)}** "
            f"({words.count(slip.laps, 'lap')}): did you mean **{words.plain(slip.usual)}** "
            f"({words.count(slip.usual_laps, 'lap')})?"
        )
        with st.container(horizontal=True):
            to = words.plain(slip.usual)
            if st.button(f"Rename to {to}", key=f"rename {key}", type="primary"):
                _rename(desk, slip)
            if st.button("No, two names", key=f"apart {key}"):
                listed = sorted({*_apart(desk), (slip.column, slip.name, slip.usual)})
                desk.here.store.remember(APART, json.dumps(listed))
                st.rerun()


def _rename(desk: Desk, slip: slips.Slip) -> None:
    """All laps of the name get the usual one, in one change."""
    store = desk.here.store
    laps, _ = store.page(0, slip.laps, {slip.column: slip.name})
    try:
        changed = store.correct_laps(laps["lap_id"].tolist(), {slip.column: slip.usual})
    except Problem as problem:
        st.error(words.plain(str(problem)))
        return
    parts.note_saved(
        f"Renamed: {words.count(len(laps), 'lap')} of {slip.name} to {slip.usual}.", changed
    )
