"""The scenarios on the page: a list of named drafts, each the tables its TOML would have.

The store remembers them, so that neither a reload of the page nor a restart of the program loses
one. A draft may be wrong while somebody types; `read` says where.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from analysis.problems import BadInput, Fault, StoreProblem
from analysis.records.scenario import KIND, Scenario, scenario_of
from analysis.records.toml import numbered, parsed
from analysis.screens import what_if_fields as fields
from analysis.screens.source import SAMPLES, Source

if TYPE_CHECKING:
    from analysis.decisions.shop_model import ShopModel
    from analysis.store.glance import Unopened

PARTS = {"helper": "Helper", "equipment": "Machine", "move": "Move", "demand": "Demand"}
SAMPLE_FILES = ("helper", "machine", "move", "big_order")
HOURS_AT_FIRST = 8.0
PROPOSED = "proposed"  # a draft's key for the paths of figures that nobody has set yet
REMEMBERED = "what if"  # the list's name in the store

Path = tuple  # of keys, and of places in a list of machines or orders


@dataclass(frozen=True)
class Read:
    """A draft read: the scenario, or where it is wrong; `text` tells scenarios apart.

    proposed: the figures in it that the program wrote and nobody has changed or confirmed.
    """

    scenario: Scenario | None
    faults: dict[Path, Fault]
    text: str = ""
    proposed: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Known:
    """What the form offers from the shop."""

    operations: tuple[str, ...]
    stations: tuple[str, ...]
    products: tuple[str, ...]
    fullest: str  # the operation with most work in a week
    wage: float | None  # the lowest in the shop


@st.cache_resource(show_spinner=False)
def _remembered() -> dict[str, dict[str, dict]]:
    """The drafts of each store, as last seen on any page of this server."""
    return {}


def _of_earlier_start(store: Unopened) -> dict[str, dict] | None:
    """The drafts that the store remembers; None where it has none, or none that can be read."""
    try:
        known = json.loads(store.remembered(REMEMBERED) or "null")
    except (StoreProblem, ValueError):
        return None
    whole = isinstance(known, dict) and all(isinstance(one, dict) for one in known.values())
    return known if known and whole else None


class Drafts:
    """The drafts of one store, by a key that stays when they are renamed."""

    def __init__(self, here: Source, at_first: Callable[[], list[dict]]):
        self.store, self.url, self.whose = here.store, here.store.url, here.whose
        own = st.session_state.setdefault("what_if", {})
        if self.url not in own:
            known = _remembered().get(self.url) or _of_earlier_start(self.store)
            if known is None:
                known = {str(place): tables for place, tables in enumerate(at_first())}
            own[self.url] = deepcopy(known)
        self.all: dict[str, dict] = own[self.url]
        highest = max((int(key) for key in self.all if key.isdecimal()), default=-1)
        self._highest = f"what_if_highest_{self.url}"
        st.session_state.setdefault(self._highest, highest)

    def name(self, key: str) -> str:
        """A draft's name, told apart from others of the same."""
        names = [_name(tables) for tables in self.all.values()]
        place = list(self.all).index(key)
        same = names[:place].count(names[place])
        return f"{names[place]} ({same + 1})" if same else names[place]

    @property
    def open(self) -> str:
        """The key of the draft on the page."""
        key = st.session_state.get(self._open_name)
        return key if key in self.all else next(iter(self.all))

    def turn_to(self, key: str) -> None:
        """Put a draft on the page."""
        st.session_state[self._open_name] = key

    @property
    def _open_name(self) -> str:
        return f"what_if_open_{self.url}"

    def add(self, tables: dict) -> None:
        """One more draft, put on the page; its key is new, since what was laid aside of a removed
        one, and what stood in its fields, is kept by the old one."""
        st.session_state[self._highest] += 1
        key = str(st.session_state[self._highest])
        self.all[key] = tables
        self.turn_to(key)
        self.keep()

    def remove(self, key: str) -> None:
        """Take a draft off the list; `put_back` undoes it."""
        place = list(self.all).index(key)
        st.session_state[f"what_if_removed_{self.url}"] = {key: (place, self.all.pop(key))}
        self.keep()

    @property
    def _removed(self) -> dict:
        return st.session_state.get(f"what_if_removed_{self.url}", {})

    @property
    def removed_name(self) -> str:
        """The name of the draft removed last, "" where there is none to put back."""
        return next((_name(tables) for _, tables in self._removed.values()), "")

    def put_back(self) -> None:
        """Undo the last removal."""
        for key, (place, tables) in self._removed.items():
            items = list(self.all.items())
            items.insert(place, (key, tables))
            self.all.clear()
            self.all.update(items)
            self.turn_to(key)
        st.session_state.pop(f"what_if_removed_{self.url}", None)
        self.keep()

    def keep(self) -> None:
        """Remember the list for a page opened later, after a restart too."""
        _remembered()[self.url] = deepcopy(self.all)
        with suppress(StoreProblem):  # a store that cannot be written to: then until the end
            self.store.remember(REMEMBERED, json.dumps(self.all))


def _name(tables: dict) -> str:
    name = tables.get("scenario", {}).get("name")
    return name if isinstance(name, str) and name.strip() else Scenario.name


# --- where a value stands ---


def value_at(tables: dict, path: Path) -> fields.Value:
    """The value of a path, None where there is none."""
    for key in path:
        try:
            tables = tables[key]
        except (KeyError, IndexError, TypeError):
            return None
    return tables


def put_at(tables: dict, path: Path, value: fields.Value) -> None:
    """Write a value; None leaves the key out."""
    inner: Any = tables  # a table or a list of tables, as the path has it
    for key, following in zip(path, path[1:], strict=False):
        if isinstance(key, str):
            inner = inner.setdefault(key, [] if isinstance(following, int) else {})
        else:
            while len(inner) <= key:
                inner.append({})
            inner = inner[key]
    if value is None:
        inner.pop(path[-1], None)
    else:
        inner[path[-1]] = value


def without_blanks(tables: dict) -> dict:
    """The tables without orders of which nothing is filled in."""
    orders = value_at(tables, ("demand", "orders"))
    if orders is None or all(orders):
        return tables
    filled = [order for order in orders if order]
    demand = {key: value for key, value in tables["demand"].items() if key != "orders"}
    return tables | {"demand": demand | ({"orders": filled} if filled else {})}


# --- drafts to begin with ---


def samples() -> list[dict]:
    """The demo's scenarios."""
    files = [SAMPLES / f"what_if_{name}.toml" for name in SAMPLE_FILES]
    return [listed(tomllib.loads(file.read_text("utf-8"))) for file in files]


def from_file(name: str, data: bytes) -> dict:
    """The draft of an uploaded scenario; BadInput where it is none."""
    from analysis.records.scenario import read_scenario

    read_scenario(data, name)
    return listed(parsed(name, _text(data), KIND))


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def listed(tables: dict) -> dict:
    """Tables of a file as a draft: machines always a list; what the form asks for given as 0."""
    tables = deepcopy(tables)
    machines = tables.get("equipment")
    if isinstance(machines, dict):
        tables["equipment"] = [machines]
    for machine in tables.get("equipment", ()):
        machine.setdefault("price", 0)
    if "move" in tables:
        tables["move"].setdefault("rent_per_week", 0)
    return tables


PROPOSES = {  # what a part begins with and only the maker can know
    "helper": ("hours_per_week", "cost_per_hour"),
    "equipment": ("time_factor",),
    "move": (),
    "demand": ("factor",),
}


def begun(part: str, known: Known) -> dict:
    """A new draft of one part, with what the shop itself says."""
    names = {
        "helper": f"A helper, {HOURS_AT_FIRST:.0f} hours a week",
        "equipment": f"A machine to {known.fullest}",
        "move": "Another room",
        "demand": "More is asked for",
    }
    tables = {"scenario": {"name": names[part]}}
    begin_part(tables, part, known)
    return tables


def begin_part(tables: dict, part: str, known: Known) -> None:
    """Put a part, or one more machine, into a draft; its figures count as proposed."""
    begins = part_begun(part, known)
    place: Path = (part,)
    if isinstance(begins, list):
        place = (part, len(tables.get(part, ())))
        begins = [*tables.get(part, ()), *begins]
    tables[part] = begins
    paths = tables.setdefault(PROPOSED, [])
    paths.extend(path for key in PROPOSES[part] if (path := [*place, key]) not in paths)


def proposed(tables: dict, place: Path = ()) -> tuple[Path, ...]:
    """The paths of the figures that the program proposed, in or below a place of the draft, and
    that nobody has changed or confirmed."""
    paths = (tuple(path) for path in tables.get(PROPOSED, ()))
    return tuple(
        path for path in paths
        if path[: len(place)] == place and value_at(tables, path) is not None
    )  # fmt: skip


def own(tables: dict, paths: Iterable[Path]) -> None:
    """These figures are the maker's from now on: they were changed or confirmed."""
    settled = set(paths)
    tables[PROPOSED] = [path for path in tables.get(PROPOSED, ()) if tuple(path) not in settled]


def part_begun(part: str, known: Known) -> dict | list[dict]:
    """A part as it stands in the form before anything is typed."""
    if part == "helper":
        wage = {} if known.wage is None else {"cost_per_hour": known.wage}
        return {"hours_per_week": HOURS_AT_FIRST} | wage
    if part == "equipment":
        return [{"operation": known.fullest, "time_factor": [0.5, 0.8]}]
    if part == "move":
        return {"transport_factor": 1.0}  # as now: what nobody gave is not reckoned with
    return {"factor": [1.1, 1.3]}


# --- reading ---


def read(tables: dict, model: ShopModel | None = None) -> Read:
    """The scenario of a draft, checked against the shop's model where there is one."""
    own_not_yet = proposed(tables)
    tables = without_blanks({key: table for key, table in tables.items() if key != PROPOSED})
    faults: dict[Path, Fault] = {}
    scenario = None
    if not any(tables.get(part) for part in PARTS):
        return Read(None, {("scenario",): Fault("", 0, "", "asks for no change", "",
                    "choose a helper, a machine, a move or other demand")})  # fmt: skip
    try:
        scenario = scenario_of(tables)
        if model is not None:
            from analysis.decisions.change import changed

            changed(model, scenario)
    except BadInput as bad:
        for fault in bad.faults:
            faults.setdefault(_path(fault), fault)
    for path, remedy in _needed(tables):
        faults.setdefault(path, Fault("", 0, "", "is not filled in", "", remedy))
    return Read(None if faults else scenario, faults, proposed=own_not_yet)


def _needed(tables: dict) -> Iterator[tuple[Path, str]]:
    """(path, remedy) of what only the maker can know and has not filled in."""
    places: list[Path] = [("equipment", place) for place in range(len(tables.get("equipment", ())))]
    places += [("move",)] if "move" in tables else []
    for place in places:
        for field in fields.fields_of(place[0], ""):
            if field.needed and value_at(tables, (*place, field.key)) is None:
                yield (*place, field.key), field.needed


_MISSING = re.compile(r"^has no (\w+)$")


def _path(fault: Fault) -> Path:
    """The path of a fault's field: of `equipment 2.price` it is ("equipment", 1, "price")."""
    path: list = []
    for key in fault.column.split("."):
        name, _, number = key.partition(" ")
        if name in ("equipment", "orders"):
            path += [name, int(number or 1) - 1]
        else:
            path.append(key)
    if found := _MISSING.match(fault.problem):
        path.append(found[1])
    if fault.problem == "is for no operation" and path[-1] != "operation":
        path.append("operation")
    return tuple(path)


def without_machine(tables: dict, place: int) -> None:
    """Take one machine out of a draft."""
    machines = tables["equipment"]
    machines.pop(place)
    if not machines:
        tables.pop("equipment")
    tables[PROPOSED] = [
        [key - 1 if at == 1 and path[0] == "equipment" and key > place else key
         for at, key in enumerate(path)]
        for path in tables.get(PROPOSED, ()) if path[:2] != ["equipment", place]
    ]  # fmt: skip


def named(part: str, place: int) -> str:
    """A machine or an order as a fault names it."""
    return numbered(PARTS.get(part, part), place + 1)


def renamed(found: Read, name: str) -> Read:
    """A scenario that was read, by the name the list shows it with."""
    if found.scenario is None:
        return found
    scenario = replace(found.scenario, name=name)
    return Read(scenario, {}, repr(scenario), found.proposed)
