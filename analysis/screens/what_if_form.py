"""The form: what would change, part by part, each field with its unit, a fault beside its field."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from typing import TypedDict

import streamlit as st

from analysis.problems import Fault
from analysis.records.scenario import MONTHS
from analysis.screens import answers, parts, saves, words
from analysis.screens import what_if_fields as fields
from analysis.screens.what_if_drafts import (
    PARTS,
    Drafts,
    Known,
    Path,
    begin_part,
    begun,
    own,
    proposed,
    put_at,
    value_at,
    without_machine,
)
from analysis.screens.what_if_fields import Field, Value

TIME = "Time and money"
FIELD_PIXELS = 330  # wide: one column on a phone, four on a wide screen
ALSO = {
    "helper": "A helper is part of it",
    "equipment": "A machine or tool is part of it",
    "move": "A move is part of it",
    "demand": "Other demand is part of it",
}
WIDE = (fields.OPERATIONS, fields.STATIONS, fields.MONTHS, fields.FACTORS, fields.TOGGLE)
CAUTIONS = {
    "helper": "Employing somebody: employment law where you are decides on contract, wage, hours, "
    "insurance and safety briefing; ask those licensed to advise.",
    "equipment": "A machine: guards, emergency stop, wiring, fire protection, ventilation, dust "
    "and noise as its manual and the local codes say; electrical work is for licensed people.",
    "move": "Another room: permitted use, fire exits, ventilation, wiring and the lease are for "
    "local codes and licensed practice.",
    "demand": "More work in the same hours: breaks and a change of task come first; haste at "
    "blades, needles and presses hurts people.",
}


def form(drafts: Drafts, known: Known, currency: str, faults: dict[Path, Fault]) -> None:
    """The open draft's fields, one part at a time."""
    key = drafts.open
    tables = drafts.all[key]
    names = {part: name + " ✓" * (part in tables) for part, name in PARTS.items()}
    opened = st.segmented_control(
        "What would change", [*PARTS, TIME], format_func=lambda part: names.get(part, part),
        default=next((part for part in PARTS if part in tables), "helper"), required=True,
        key=f"what_if_of_{drafts.whose}_{key}", wrap=True,
    )  # fmt: skip
    if opened == TIME:
        _fields(drafts, ("scenario",), fields.SCENARIO, known, faults)
    else:
        _part(drafts, opened, known, currency, faults)
    _list_buttons(drafts, known)


def _part(
    drafts: Drafts, part: str, known: Known, currency: str, faults: dict[Path, Fault]
) -> None:
    key = drafts.open
    tables = drafts.all[key]
    switch = f"what_if_has_{drafts.whose}_{key}_{part}"
    st.toggle(
        ALSO[part], part in tables, key=switch,
        on_change=_switch, args=(drafts, key, part, known, switch),
    )  # fmt: skip
    if part not in tables:
        return
    if part == "equipment":
        _machines(drafts, known, currency, faults)
    else:
        _fields(drafts, (part,), fields.fields_of(part, currency), known, faults)
    if part == "demand":
        _order(drafts, known, currency, faults)
    st.caption(CAUTIONS[part])


# A tap that comes while a page is still drawn meets what the page before it showed: a widget of a
# scenario that is gone meanwhile, or one that says it has changed and stands as it did.


def _switch(drafts: Drafts, key: str, part: str, known: Known, widget: str) -> None:
    """Put a part in or take it out; what was typed stays aside for when it comes back."""
    tables, aside = drafts.all.get(key), st.session_state.setdefault("what_if_aside", {})
    if tables is None or st.session_state[widget] == (part in tables):
        return
    if part in tables:
        aside[drafts.url, key, part] = tables.pop(part)
    else:
        kept = aside.pop((drafts.url, key, part), None)
        if kept is None:
            begin_part(tables, part, known)
        else:
            tables[part] = kept
    drafts.keep()


def _machines(drafts: Drafts, known: Known, currency: str, faults: dict[Path, Fault]) -> None:
    """The machines of the scenario, one at a time."""
    key = drafts.open
    machines = drafts.all[key]["equipment"]
    place = 0
    if len(machines) > 1:
        place = st.selectbox(
            "Which machine", range(len(machines)), key=f"what_if_machine_{drafts.whose}_{key}",
            format_func=lambda at: f"{at + 1}. {_machine_name(machines[at])}",
        )  # fmt: skip
    listed = fields.fields_of("equipment", currency)
    _fields(drafts, ("equipment", place), listed, known, faults)
    with st.container(horizontal=True):
        st.button(
            "One more machine", key=f"what_if_more_machines_{key}", icon=":material/add:",
            on_click=saves.once(_add_machine), args=(drafts, key, known),
        )  # fmt: skip
        if len(machines) > 1:
            st.button(
                "Without this machine", key=f"what_if_less_machines_{key}",
                on_click=saves.once(_take_machine), args=(drafts, key, place),
            )  # fmt: skip


def _machine_name(machine: dict) -> str:
    operation = machine.get("operation", "")
    joined = operation if isinstance(operation, str) else " and ".join(operation)
    return machine.get("name") or joined or "not named"


def _add_machine(drafts: Drafts, key: str, known: Known) -> None:
    if key not in drafts.all:
        return
    begin_part(drafts.all[key], "equipment", known)
    last = len(drafts.all[key]["equipment"]) - 1
    st.session_state[f"what_if_machine_{drafts.whose}_{key}"] = last
    drafts.keep()


def _take_machine(drafts: Drafts, key: str, place: int) -> None:
    if key not in drafts.all:
        return
    st.session_state.pop(f"what_if_machine_{drafts.whose}_{key}", None)
    without_machine(drafts.all[key], place)
    turn = st.session_state.get(_turn_key(drafts), 0)
    st.session_state[_turn_key(drafts)] = turn + 1  # the fields of the next machine move up
    drafts.keep()


def _turn_key(drafts: Drafts) -> str:
    return f"what_if_turn_{drafts.whose}"


def _order(drafts: Drafts, known: Known, currency: str, faults: dict[Path, Fault]) -> None:
    """One large order with a date; a file may hold more, which stay as they are."""
    orders = value_at(drafts.all[drafts.open], ("demand", "orders")) or [{}]
    _fields(
        drafts, ("demand", "orders", 0), fields.fields_of("orders", currency), known, faults
    )  # fmt: skip
    if len(orders) > 1:
        st.caption(f"{words.count(len(orders) - 1, 'more order')} as in the file.")


def _fields(
    drafts: Drafts, place: Path, listed: tuple[Field, ...], known: Known, faults: dict[Path, Fault]
) -> None:
    """The fields of one place in the draft; the rarer ones on request."""
    draft = drafts.all[drafts.open]
    rare = [field for field in listed if field.more]
    open_more = any((*place, field.key) in faults for field in rare)
    if any(value_at(draft, (*place, field.key)) not in (None, "", False) for field in rare):
        st.session_state.setdefault(_more_key(drafts, place), True)  # nothing that counts is hidden
    narrow = [field for field in listed if not field.more and field.kind not in WIDE]
    wide = [field for field in listed if not field.more and field.kind in WIDE]
    if rare and (st.session_state.get(_more_key(drafts, place)) or open_more):
        narrow += [field for field in rare if field.kind not in WIDE]
        wide += [field for field in rare if field.kind in WIDE]
    with st.container(horizontal=True):
        for field in narrow:
            with st.container(width=FIELD_PIXELS, gap="xxsmall"):
                _told_field(drafts, (*place, field.key), field, known, faults)
    for field in wide:
        _told_field(drafts, (*place, field.key), field, known, faults)
    if not_set := proposed(draft, place):
        key = f"what_if_right_{drafts.whose}_{drafts.open}_{place}"
        st.button(
            "What is proposed here is right", key=key, icon=":material/check:",
            on_click=_confirm, args=(drafts, drafts.open, not_set),
        )  # fmt: skip
    if rare:
        st.toggle("More to say about it", key=_more_key(drafts, place))


def _told_field(
    drafts: Drafts, path: Path, field: Field, known: Known, faults: dict[Path, Fault]
) -> None:
    """A field, and right below it that its figure is only proposed, or what is wrong with it."""
    draft = drafts.all[drafts.open]
    _field(drafts, path, field, known, value_at(draft, path))
    if path in proposed(draft):
        st.caption("proposed; yours to set")
    if path in faults:
        _fault(field, faults[path])


def _confirm(drafts: Drafts, key: str, paths: tuple[Path, ...]) -> None:
    """The figures proposed are the maker's own from now on."""
    if key in drafts.all:
        own(drafts.all[key], paths)
        drafts.keep()


def _more_key(drafts: Drafts, place: Path) -> str:
    return f"what_if_rare_{drafts.whose}_{drafts.open}_{place}"


def _fault(field: Field, fault: Fault) -> None:
    """What is wrong with a field, right below it, in the form's own units."""
    st.error(said(field, fault), icon=":material/error:")
    if field.key == "cost_per_hour":
        parts.screen_link("shop", "Or give what your people cost on Shop, People")


def said(field: Field, fault: Fault) -> str:
    """A fault as a sentence: `Until week is before the first week. Give 5 or more.`"""
    problem = fault.problem
    if problem.startswith("has no "):
        problem = "is not filled in"
    problem = problem.replace("from_week", "the first week")
    problem = problem.replace("stands beside time_factor", "stands beside a percent of the time")
    remedy = field.remedy or fault.remedy
    remedy = f" {remedy[0].upper()}{remedy[1:].rstrip('.')}." if remedy else ""
    return words.plain(f"{field.label}: {problem}.{remedy}")


class _Common(TypedDict):
    """What every widget of the form is given."""

    key: str
    help: str | None
    on_change: Callable[..., None]
    args: tuple


def _field(drafts: Drafts, path: Path, field: Field, known: Known, value: Value) -> None:
    """One widget; what is typed goes into the draft before the page is drawn."""
    turn = st.session_state.get(_turn_key(drafts), 0)
    key = f"what_if_{drafts.whose}_{drafts.open}_{turn}_{path}"
    seen = fields.shown(field, value)
    common: _Common = {
        "key": key, "help": field.help, "on_change": _take,
        "args": (drafts, drafts.open, path, field, key, turn),
    }  # fmt: skip
    if field.kind in fields.TYPED:
        st.text_input(
            field.label, seen or "", placeholder=field.blank, width=FIELD_PIXELS, **common
        )
    elif field.kind == fields.TOGGLE:
        st.toggle(field.label, bool(seen), **common)
    elif field.kind in (fields.NUMBER, fields.WHOLE):
        _number(field, seen, common)
    elif field.kind == fields.PRODUCT:
        _one(field, seen, known.products, common)
    else:
        _several(field, seen, known, common)


def _number(field: Field, seen: float | None, common: _Common) -> None:
    whole = field.kind == fields.WHOLE
    st.number_input(
        field.label, value=None if seen is None else int(seen) if whole else float(seen),
        step=1 if whole else 1.0, format="%d" if whole else "%g",
        placeholder=field.blank, width=FIELD_PIXELS, **common,
    )  # fmt: skip


def _one(field: Field, seen: str | None, offered: tuple[str, ...], common: _Common) -> None:
    options = list(dict.fromkeys([*offered, *([seen] if seen else [])]))
    st.selectbox(
        field.label, options, index=options.index(seen) if seen else None, placeholder="none",
        width=FIELD_PIXELS, **common,
    )  # fmt: skip


def _several(field: Field, seen: list, known: Known, common: _Common) -> None:
    offered = {
        fields.OPERATIONS: known.operations,
        fields.STATIONS: (fields.EVERYWHERE, *known.stations),
        fields.MONTHS: tuple(range(1, MONTHS + 1)),
    }[field.kind]
    seen = list(seen or ())
    st.multiselect(
        field.label, list(dict.fromkeys([*offered, *seen])), seen, placeholder=field.blank,
        format_func=_option, **common,
    )  # fmt: skip


def _option(value: int | str) -> str:
    if isinstance(value, int):
        return fields.MONTH_NAMES[value - 1]
    return value or "wherever it is fullest"


def _take(drafts: Drafts, key: str, path: Path, field: Field, widget: str, turn: int) -> None:
    """Write what was typed into the draft, unless its part or a machine was taken out by a tap that
    is answered together with it: it would begin the part anew, or be another machine's."""
    draft = drafts.all.get(key)
    if draft is None or turn != st.session_state.get(_turn_key(drafts), 0):
        return
    if path[0] in PARTS and path[0] not in draft:
        return
    answers.heed_reader()  # a mark may stand for thousands or for decimals
    before = value_at(draft, path)
    put_at(draft, path, fields.taken(field, st.session_state[widget], before))
    own(draft, [path])
    drafts.keep()


# --- the list ---


def _list_buttons(drafts: Drafts, known: Known) -> None:
    """Begin another, copy this one, take it off the list, bring it back."""
    st.markdown("**Another one beside it**, with the same luck in every run, to compare:")
    with st.container(horizontal=True):
        for part, name in PARTS.items():
            st.button(
                name, key=f"what_if_new_{part}", icon=":material/add:",
                on_click=saves.once(lambda part=part: drafts.add(begun(part, known))),
            )  # fmt: skip
        st.button("Copy this one", key="what_if_copy", on_click=saves.once(_copy), args=(drafts,))
        if len(drafts.all) > 1:
            st.button(
                "Remove this one", key="what_if_remove",
                on_click=saves.once(drafts.remove), args=(drafts.open,),
            )  # fmt: skip


def _copy(drafts: Drafts) -> None:
    tables = deepcopy(drafts.all[drafts.open])
    name = drafts.name(drafts.open)
    put_at(tables, ("scenario", "name"), f"{name}, other figures")
    drafts.add(tables)
