"""Names that may be slips of the pen, asked about on This week and on Laps: one tap renames all
laps of one, as a correction with its undo, or says that they are two names."""

import json
from dataclasses import replace
from functools import partial

import streamlit as st

from analysis.problems import Problem
from analysis.records import slips
from analysis.screens import answers, saves, words
from analysis.screens.answers import Desk

APART = "names apart"  # what the store remembers: [column, name, the other name], …
MOST_ASKED = 5


def ask(desk: Desk) -> None:
    """A question for each such name, none where there are none."""
    desk = _of_now(desk)
    found = desk.kept("name slips", (), lambda: _found(desk))
    apart = _apart(desk) if found else set()
    open_ones = [slip for slip in found if _pair(slip.column, slip.name, slip.usual) not in apart]
    for slip in open_ones[:MOST_ASKED]:
        _one(desk, slip)
    if len(open_ones) > MOST_ASKED:
        st.caption(f"And {words.count(len(open_ones) - MOST_ASKED, 'name')} more, one by one.")


def _of_now(desk: Desk) -> Desk:
    """The desk of the store as it is: while the figures of a large one follow, the page shows them
    as they were before, but a name that has been renamed is not asked about again."""
    here = replace(desk.here, at=None)
    return desk if desk.here.key == here.key else answers.desk(here)


def _found(desk: Desk) -> list[slips.Slip]:
    """The slips among all names on record; how many laps a name has is asked of few."""
    store = desk.here.store
    written = _written(desk)

    def laps_of(column: str, name: str) -> int:
        return store.page(0, 1, {column: name})[1]

    return [
        slip
        for column in slips.COLUMNS
        for slip in slips.slips(
            column, store.names(column), partial(laps_of, column), written[column]
        )
    ]


def _written(desk: Desk) -> dict[str, set[str]]:
    """By column, the names in the shop, the route and the stock book, which no rename reaches."""
    from analysis.flow.work import skills  # only where names are looked for

    store = desk.here.store
    shop, route, stock = store.shop(), store.routing(), store.stock_events()

    def routed(column: str) -> list[str]:
        return [] if route is None else route[column].tolist()

    return {
        "product": {*(one.name for one in shop.products), *routed("product"), *stock["product"]},
        "variant": {*(one.variant for one in shop.products), *routed("variant"), *stock["variant"]},
        "operation": {*routed("operation")},
        "worker": {
            *(one.name for one in shop.workers),
            *(name for text in routed("skill") for name in skills(text)),
        },
    }


def _apart(desk: Desk) -> set[tuple[str, ...]]:
    """What the maker has said are two names."""
    return {_pair(*one) for one in json.loads(desk.here.store.remembered(APART) or "[]")}


def _pair(column: str, one: str, other: str) -> tuple[str, ...]:
    """Two names of a column, whichever of them has more laps by now."""
    return (column, *sorted((one, other)))


def _one(desk: Desk, slip: slips.Slip) -> None:
    key = f"{slip.column} {slip.name}"
    as_written = ", as in your shop or route" if slip.written else ""
    with st.container(border=True):
        st.markdown(
            f"{slip.column.capitalize()} **{words.plain(slip.name)}** "
            f"({words.count(slip.laps, 'lap')}): did you mean **{words.plain(slip.usual)}** "
            f"({words.count(slip.usual_laps, 'lap')}{as_written})?"
        )
        with st.container(horizontal=True):
            to = words.plain(slip.usual)
            if st.button(f"Rename to {to}", key=f"rename {key}", type="primary"):
                _rename(desk, slip)
            if st.button("No, two names", key=f"apart {key}"):
                listed = sorted({*_apart(desk), _pair(slip.column, slip.name, slip.usual)})
                desk.here.store.remember(APART, json.dumps(listed))
                st.rerun()


@saves.saving()
def _rename(desk: Desk, slip: slips.Slip) -> None:
    """All laps of the name get the usual one, in one change."""
    try:
        with st.spinner("Renaming …"):
            changed = desk.here.store.rename(slip.column, slip.name, slip.usual)
            if changed is not None:  # before the spinner goes: a tap may break the page off there
                said = f"Renamed: {slip.name} is {slip.usual} now, in all its laps."
                saves.note_saved(said, (desk.here.store, changed))
    except Problem as problem:
        st.error(words.plain(str(problem)))
        return
    st.rerun()  # somebody else was quicker
