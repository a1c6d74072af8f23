"""Laps: the records themselves. Look, mend, take out, take in, undo; nothing is ever lost."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pandas as pd
import pyarrow as pa
import streamlit as st

from analysis.problems import BadInput, Problem
from analysis.records.laps import ACTIVITIES, CATEGORIES, COUNTS
from analysis.screens import answers, name_slips, parts, saves, source, up_to_date, words

if TYPE_CHECKING:
    from analysis.store.glance import Unopened
    from analysis.study.summary import Study

PAGE_LAPS = 50
CHANGES_SHOWN = 10
GIVEN_AT_ONCE = ("batch", "variant", "worker")  # what many laps can be given in one change
# How the store names a change to one lap: `lap 21d1e35a: units, note`, `lap 21d1e35a removed`.
OF_ONE_LAP = re.compile(r"lap (.+)(?: removed|: ([a-z_, ]+))")
DONE = {
    "import": "Taken in",
    "lap": "Timed",
    "correction": "Corrected",
    "removal": "Removed",
    "settings": "Saved",
    "stock": "Noted",
    "undo": "Undone",
}
MEND_PAIRS = (
    ("started_at", "seconds"),
    ("operation", "activity"),
    ("product", "variant"),
    ("worker", "batch"),
    ("units", "rework_units"),
    ("scrap_units", "rating"),
    ("cause", "cause_operation"),
)
ALL = "all"
FIRST_LAPS = "Next step: put in a file under “Take in”, or press *Start timing* at the side."
NOT_MAKING = {
    "setup": "setting up",
    "transport": "walk",
    "delay": "interrupted",
    "rework": "putting right",
}
FILTERS = ("worker", "product", "operation", "activity")
SHOWN = {  # what a phone's width shows comes first
    "started_at": "Began",
    "operation": "Operation",
    "seconds": "Seconds",
    "units": "Pieces",
    "product": "Product",
    "variant": "Variant",
    "batch": "Batch",
    "worker": "Worker",
    "activity": "Activity",
    "rework_units": "To put right",
    "scrap_units": "Lost",
    "cause": "Cause",
    "cause_operation": "Made in",
    "rating": "Rating (%)",
    "note": "Note",
    "lap_id": "Lap",
}


def show() -> None:
    """What is on record in one sentence, then one tab for each thing to do with it."""
    here = source.current()
    st.title("Laps")
    parts.demo_line(here)
    parts.import_line()
    saves.saved_line(here.store)
    _late_backup(here)
    desk = answers.desk(here)
    st.markdown(f"**{desk.kept('laps summary', (), lambda: _summary(desk))}**")
    name_slips.ask(desk)
    parts.draw_open_tab(PARTS, "laps_part", desk)


def _summary(desk: answers.Desk) -> str:
    """How many laps are on record, and up to when."""
    laps = _lap_count(desk)
    if not laps:
        return "No laps on record yet. Put in a file under “Take in”."
    newest = desk.here.store.page(0, 1)[0].started_at.iloc[0].tz_convert(_zone(desk))
    return f"{words.count(laps, 'lap')} on record, the latest of {words.day(newest)}."


def _lap_count(desk: answers.Desk) -> int:
    return desk.kept("laps", (), desk.here.store.lap_count)


def _zone(desk: answers.Desk) -> str:
    return desk.settings[0].timezone


def _look(desk: answers.Desk) -> None:
    """A page of the laps that match, and the one ticked to mend."""
    if not _lap_count(desk):
        st.markdown("Nothing to look at yet. **Take in** a file first, or time a piece now:")
        parts.start_timing()
        return
    wanted = _filters(desk)
    number, page = _open_page(desk, wanted)
    if not page.found:
        st.markdown("No lap matches. Widen what you look for above.")
        return
    of_year = f" (these of {page.year})" if page.year else ""
    st.markdown(
        f"{words.count(page.found, 'lap')}, newest first{of_year}. Tick one to mend or remove it, "
        "several to give them a batch, a variant or a worker together."
    )
    parts.slide_line()
    picked = st.dataframe(
        page.shown,
        hide_index=True,
        column_config=_columns(page.year),
        on_select="rerun",
        selection_mode="multi-row",
        # A tick belongs to this page of what is looked for: on another it would mean another lap.
        key=f"laps_table_{desk.turn}_{number}_{tuple(wanted.values())}",
        placeholder="",
    )
    if page.found > PAGE_LAPS:
        st.pagination(-(-page.found // PAGE_LAPS), key="laps_page")
    rows = [row for row in picked.selection.rows if row < len(page.laps)]
    if not rows:
        return
    ticked = page.laps.iloc[rows]
    if len(ticked) == 1:
        _one_lap(desk, ticked.iloc[0])
    else:
        _several_laps(desk, ticked, wanted, page.found)


@dataclass(frozen=True)
class Page:
    """A page of the laps that match, as it is shown, how many match, and the year in which all of
    the page began, None where there are several."""

    laps: pd.DataFrame
    shown: pa.Table
    found: int
    year: int | None


def _open_page(desk: answers.Desk, wanted: dict) -> tuple[int, Page]:
    """The page that is open, with its number."""
    number = st.session_state.get("laps_page", 1)
    page = _page(desk, number, wanted)
    if page.laps.empty and page.found:  # it stood beyond the end of what is found now
        number = st.session_state["laps_page"] = 1
        page = _page(desk, number, wanted)
    return number, page


def _page(desk: answers.Desk, number: int, wanted: dict) -> Page:
    """A page of the laps that match, numbered from 1."""

    def looked_up() -> Page:
        laps, found = desk.here.store.page((number - 1) * PAGE_LAPS, PAGE_LAPS, wanted)
        zone = _zone(desk)
        return Page(laps, _as_arrow(_shown(laps, zone)), found, _one_year(laps, zone))

    return desk.kept("laps page", (number, tuple(wanted.items())), looked_up)


def _filters(desk: answers.Desk) -> dict:
    """What to look for, as the store's filters; names offered are those on record."""
    wanted, store = {}, desk.here.store
    with st.expander("Look for", icon=":material/search:"):
        places = st.container(horizontal=True)  # in a phone's width they go below each other
        for name in FILTERS:
            names = desk.kept(f"{name} names", (), lambda name=name: [ALL, *store.names(name)])
            choice = places.selectbox(SHOWN[name], names, key=f"find_{name}")
            wanted[name] = "" if choice == ALL else choice
        wanted["batch"] = places.text_input("Batch", key="find_batch").strip()
        wanted["text"] = places.text_input("Note, cause or id", key="find_text").strip()
        zone = ZoneInfo(_zone(desk))
        if day := places.date_input("From", None, key="find_from", format=words.typed_day()):
            wanted["from"] = datetime.combine(day, time(), zone)
        if day := places.date_input("To", None, key="find_to", format=words.typed_day()):
            wanted["to"] = datetime.combine(day + timedelta(days=1), time(), zone)
    return wanted


def _shown(laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """A page of laps by the shop's clock, in reading order."""
    local = laps.started_at.dt.tz_convert(timezone).dt.tz_localize(None)
    # As plain text: as a category each column would bring along every name on record.
    texts = dict.fromkeys((*CATEGORIES, "activity"), "str")
    shown = laps.assign(started_at=local)[list(SHOWN)].astype(texts)
    # On a phone the activity is out of sight: without it a walk reads as very quick work.
    beside = shown["activity"].map(NOT_MAKING)
    named = (shown["operation"] + " (" + beside + ")").where(shown["operation"] != "", beside)
    return shown.assign(operation=named.where(beside.notna(), shown["operation"]))


def _one_year(laps: pd.DataFrame, timezone: str) -> int | None:
    """The year in which all laps began, None where there are several."""
    years = laps.started_at.dt.tz_convert(timezone).dt.year.unique()
    return int(years[0]) if len(years) == 1 else None


def _columns(year: int | None) -> dict:
    """How the columns look; the first four fit a phone where the year need not stand in each row:
    325 pixels beside the ticks."""
    config = {name: st.column_config.Column(label) for name, label in SHOWN.items()}
    began = re.sub(",? ?YYYY", "", words.cell_time()) if year else words.cell_time()
    return config | {
        "started_at": st.column_config.DatetimeColumn(
            "Began", format=began, width=104 if year else 125, pinned=True
        ),
        "operation": st.column_config.Column("Operation", width=100),
        "seconds": st.column_config.NumberColumn(
            "Seconds", format=words.cell_number("%.1f"), width=64
        ),
        "units": st.column_config.NumberColumn("Pieces", width=56),
        "rating": st.column_config.NumberColumn("Rating (%)", format="%.0f"),
    }


def _one_lap(desk: answers.Desk, lap: pd.Series) -> None:
    """Mend or remove one lap, and what it was before."""
    store, zone = desk.here.store, _zone(desk)
    began = lap.started_at.tz_convert(zone)
    st.subheader(f"Lap of {words.day(began)}, {words.clock(began)}")
    left, right = st.columns([2, 1])
    with left:
        _mend(store, lap, zone)
    with right:
        _remove(store, lap)
        _history(store, lap, zone)


def _several_laps(desk: answers.Desk, ticked: pd.DataFrame, wanted: dict, found: int) -> None:
    """Give the laps ticked, or all that were found, a batch, a variant or a worker at once."""
    store, number = desk.here.store, words.number(len(ticked))
    st.subheader(f"{number} laps ticked")
    with st.form(f"give {desk.turn}"):
        places = st.columns(len(GIVEN_AT_ONCE))
        text = {
            name: place.text_input(SHOWN[name], key=f"give_{name} {desk.turn}").strip()
            for name, place in zip(GIVEN_AT_ONCE, places, strict=True)
        }
        everything = found > len(ticked) and st.checkbox(
            f"To all {words.number(found)} laps found, not only to the {number} ticked"
        )
        asked = st.form_submit_button("Save for these laps", type="primary")
    st.caption("What you leave blank stays as it is. It is one change, with one undo.")
    if asked:
        ids = (store.page(0, found, wanted)[0] if everything else ticked).lap_id.tolist()
        _give(store, ids, {name: new for name, new in text.items() if new})


@saves.saving()
def _give(store: Unopened, lap_ids: list[str], text: dict) -> None:
    try:
        changed = store.correct_laps(lap_ids, text)
    except BadInput as bad:
        parts.faults_box(parts.without_rows(bad), "The correction", key="give")
        return
    said = f"Saved for {words.count(len(lap_ids), 'lap')}: {', '.join(text)}."
    saves.note_change(store, changed, said, "Nothing was different.")


def _mend(store: Unopened, lap: pd.Series, zone: str) -> None:
    """A form with the lap as it is; only what was typed anew is handed to the store."""
    written = {name: f"{lap[name]:.10g}" for name in ("seconds", *COUNTS, "rating")}
    written |= {name: lap[name] for name in (*CATEGORIES, "note")}
    written["started_at"] = lap.started_at.tz_convert(zone).isoformat(timespec="seconds")
    # The fields are those of this lap at this version: nothing typed for one spills to another.
    key = f"{lap.lap_id} {store.version()}"
    with st.form(f"mend {key}"):
        text = {}
        for pair in MEND_PAIRS:
            for name, column in zip(pair, st.columns(2), strict=True):
                text[name] = _field(column, name, written[name], key)
        text["note"] = _field(st, "note", written["note"], key)
        asked = st.form_submit_button("Save correction", type="primary")
    st.caption("The lap as it was is kept, and can be brought back under Changes.")
    if asked:
        _correct(store, lap, {name: new for name, new in text.items() if new != written[name]})


def _field(place: Any, name: str, written: str, key: str) -> str:
    """One column of a lap to edit, as text; a choice where the contract names what it may be."""
    if name == "activity":
        at = ACTIVITIES.index(written)
        return place.selectbox(SHOWN[name], ACTIVITIES, at, key=f"{name} {key}")
    return place.text_input(SHOWN[name], written, key=f"{name} {key}")


@saves.saving()
def _correct(store: Unopened, lap: pd.Series, text: dict) -> None:
    try:
        changed = store.correct_lap(lap.lap_id, text)
    except BadInput as bad:
        parts.faults_box(parts.without_rows(bad), "The correction", key="mend")
        return
    saves.note_change(store, changed, "Saved: one lap corrected.", "Nothing was different.")


def _remove(store: Unopened, lap: pd.Series) -> None:
    with st.popover("Remove this lap"):
        st.markdown("It no longer counts in any figure. You can bring it back under Changes.")
        if st.button("Yes, remove it", type="primary"):
            with saves.saving():
                saves.note_saved("Removed: one lap.", (store, store.remove_laps([lap.lap_id])))


def _history(store: Unopened, lap: pd.Series, zone: str) -> None:
    """Every state the lap has been in, newest first, and what made it so."""
    history = store.history(lap.lap_id)
    if len(history) < 2:
        st.caption("Never corrected.")
        return
    st.markdown("**What it was before**")
    for _, old in history.iloc[::-1].iterrows():
        since = old.since.tz_convert(zone)
        st.markdown(
            f"- {words.day(since)}, {words.clock(since)}: {words.duration(old.seconds)}, "
            f"{words.plain(old.operation)}, {words.count(old.units, 'piece')} "
            f"({words.plain(_told(store, old.kind, old.what, zone))})"
        )


def _take_in(desk: answers.Desk) -> None:
    st.markdown(
        "A CSV file of laps. All of it goes in, or none: laps already there are left as they are, "
        "and a file with faults is refused whole, with each fault named."
    )
    if parts.drop_laps(desk.here.store, "laps"):
        st.rerun()
    parts.template_button()
    parts.drop_route(desk.here.store)


def _set_aside(desk: answers.Desk) -> None:
    """The laps left out of the times, why, and what they would change."""
    if not _lap_count(desk):
        st.markdown(f"Nothing yet: doubtful laps are listed here once there are laps. {FIRST_LAPS}")
        return
    desk = answers.desk(up_to_date.shown(desk.here))
    said, table, changed = desk.kept("laps set aside", (), lambda: _set_aside_said(desk.figures))
    st.markdown(said)
    if table is None:
        return
    config = {
        "Operation": st.column_config.Column(width=100),
        "Took (s)": st.column_config.NumberColumn(format=words.cell_number("%.0f"), width=72),
        "Expected (s)": st.column_config.NumberColumn(format=words.cell_number("%.0f"), width=92),
        "Pieces": st.column_config.NumberColumn(width=60),
        "Began": st.column_config.DatetimeColumn(format=words.cell_time()),
    }
    parts.slide_line()
    st.dataframe(table, hide_index=True, column_config=config)
    st.caption("Seconds are for one piece.")
    st.markdown("**What taking them back in would change**")
    answers.points(changed)


def _set_aside_said(study: Study) -> tuple[str, pa.Table | None, list[str]]:
    """The sentence, the list of laps, and what each operation's time would be with them."""
    aside = study.set_aside
    if aside.empty:
        return f"**None of {words.count(study.laps_read, 'lap')} is doubtful.**", None, []
    one = len(aside) == 1
    sentence = (
        f"**{words.count(len(aside), 'lap')} of {words.number(study.laps_read)} left out of the "
        f"times**, because {'its' if one else 'their'} time does not fit the practice of that "
        f"worker in that work. {'It still counts' if one else 'They still count'} in pieces and "
        f"hours. If {'it' if one else 'one'} was timed wrongly, mend or remove it under Look and "
        "mend."
    )
    changed = study.operations[study.operations.laps_set_aside > 0]
    lines = [
        f"{words.plain(row['product'])}, {words.plain(row.operation)}: "
        f"{words.duration(row.observed_seconds)} a piece, the average of all its laps, would be "
        f"{words.duration(row.observed_with_all_seconds)}."
        for _, row in changed.iterrows()
    ]
    return sentence, _as_arrow(_aside_shown(aside, study.timezone)), lines


def _as_arrow(frame: pd.DataFrame) -> pa.Table:
    """A frame in the form in which it travels to the browser."""
    return pa.Table.from_pandas(frame, preserve_index=False)


def _aside_shown(aside: pd.DataFrame, timezone: str) -> pd.DataFrame:
    local = aside.started_at.dt.tz_convert(timezone).dt.tz_localize(None)
    a_piece = (aside.seconds / aside.units).round(1)
    expected = aside.expected_seconds.round(1)
    shown = aside.assign(started_at=local, seconds_a_piece=a_piece, expected_seconds=expected)
    names = {  # what a phone's width shows comes first
        "operation": "Operation",
        "seconds_a_piece": "Took (s)",
        "expected_seconds": "Expected (s)",
        "units": "Pieces",
        "started_at": "Began",
        "worker": "Worker",
        "product": "Product",
        "reason": "Why",
        "lap_id": "Lap",
    }
    return shown[list(names)].rename(columns=names)


def _changes(desk: answers.Desk) -> None:
    """Every change to the records, newest first, each with its undo."""
    store = desk.here.store
    number = st.session_state.setdefault("changes_shown", CHANGES_SHOWN)
    changes = desk.kept("changes", (number,), lambda: _changes_told(desk, number + 1))
    if changes.empty:
        st.markdown(
            "Nothing has been changed yet. Whatever you take in, correct or remove is listed here, "
            "each with its undo."
        )
        return
    st.markdown("Every change, newest first. An undo is a change too, and can itself be undone.")
    for _, change in changes.head(number).iterrows():
        _one_change(store, change, _zone(desk))
    if len(changes) > number and st.button("More"):
        st.session_state["changes_shown"] = number + CHANGES_SHOWN
        st.rerun()


def _changes_told(desk: answers.Desk, limit: int) -> pd.DataFrame:
    """The latest changes, each with what it did in words as `told`."""
    changes, zone = desk.here.store.changes(limit=limit), _zone(desk)
    told = [_told(desk.here.store, row.kind, row.what, zone) for row in changes.itertuples()]
    return changes.assign(told=told)


def _one_change(store: Unopened, change: pd.Series, zone: str) -> None:
    at = change["at"].tz_convert(zone)
    card = f"change_{change.change_id}"  # keeps the undo beside the words: see the frame's style
    with st.container(horizontal=True, vertical_alignment="center", border=True, key=card):
        state = " (undone)" if change.undone else ""
        st.markdown(
            f"**{words.plain(change.told)}**{state}  \n{words.day(at)}, {words.clock(at)}",
            width="stretch",
        )
        if not change.undone and _undo_asked(change):
            _undo(store, change)


def _undo_asked(change: pd.Series) -> bool:
    """Whether the undo of a change was pressed; a whole import's is asked about once more."""
    key = f"undo_{change.change_id}"
    if change.kind != "import":
        return st.button("Undo", key=key)
    with st.popover("Undo"):
        st.markdown("All laps of this file leave the figures. You can bring them back here.")
        return st.button("Yes, take them out", key=key, type="primary")


def _told(store: Unopened, kind: str, what: str, zone: str) -> str:
    """What a change did: `Corrected: lap of sew, field book, 20 November 2026, 17:24: pieces`."""
    text = what.removeprefix("undone: ").replace("put_away of", "putting away of")
    if one := OF_ONE_LAP.fullmatch(text):
        text = _lap_told(store.history(one[1]).iloc[-1], zone)
        if one[2]:
            text += ": " + ", ".join(SHOWN[name].lower() for name in one[2].split(", "))
    text = re.sub(r"^\d+(?= laps\b)", lambda count: words.number(int(count[0])), text)
    return f"{DONE.get(kind, kind)}: {text}"


def _lap_told(lap: pd.Series, zone: str) -> str:
    """A lap by what a maker knows it by: operation, product, when it began."""
    began = lap.started_at.tz_convert(zone)
    names = (f"lap of {lap.operation or lap.activity}", lap["product"], lap.variant)
    return ", ".join([*filter(None, names), f"{words.day(began)}, {words.clock(began)}"])


@saves.saving()
def _undo(store: Unopened, change: pd.Series) -> None:
    try:
        store.undo(int(change.change_id))
    except Problem as problem:
        st.error(words.plain(str(problem)))
        return
    saves.note_saved(f"Taken back: {change.told}.")


def _export(desk: answers.Desk) -> None:
    """All laps as a file, written when it is asked for."""
    store = desk.here.store
    if not _lap_count(desk):
        st.markdown(f"Nothing to export yet. {FIRST_LAPS}")
        return

    def written() -> bytes:
        file = BytesIO()
        store.export_laps(file)
        return file.getvalue()

    st.markdown(
        "All laps that count now, in the columns they came in. Taken in again, the file adds "
        "nothing: every lap keeps its id. What the bench marked (put right on the spot, a trial's "
        "way, a changed clock) stands in a column *marks*; another store keeps it in the lap's "
        "note. "
        "Text a spreadsheet would run as a formula stands behind an apostrophe."
    )
    st.download_button(
        f"Download {words.count(_lap_count(desk), 'lap')} (CSV)",
        written,
        "laps.csv",
        "text/csv",
        on_click="ignore",
        type="primary",
    )


def _late_backup(here: source.Source) -> None:
    from analysis.screens import backups  # as the other parts, only where it is drawn

    backups.late_line(here)


def _backups(desk: answers.Desk) -> None:
    from analysis.screens import backups

    backups.show(desk)


def _phones(_desk: answers.Desk) -> None:
    from analysis.screens import pairing  # with the drawing of codes, which no other part needs

    pairing.show()


PARTS = {
    "Look and mend": _look,
    "Take in": _take_in,
    "Set aside": _set_aside,
    "Changes": _changes,
    "Export": _export,
    "Backups": _backups,
    "Phones": _phones,
}
