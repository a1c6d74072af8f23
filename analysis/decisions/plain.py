"""The kernel without compiling: the very same functions, run by Python itself, to the same bits.

Compiling takes seconds, once on each machine and for each version. So that the first answer does
not wait for it, the first runs are done this way, some 300 times slower, while another process
compiles (`warm.py`). What the compiled functions see as one record is here a tree of ordinary
objects, and 64-bit numbers are Python's own, cut to their length.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import FunctionType, SimpleNamespace
from typing import Any

import numpy as np

from analysis.decisions import draws
from analysis.decisions.kernel import simulate_runs
from analysis.decisions.layout import Parameters
from analysis.decisions.results import Results

_MASK = 2**64 - 1
_GOLDEN, _FIRST, _SECOND = (int(n) for n in (draws._GOLDEN, draws._FIRST, draws._SECOND))


def simulate_runs_plainly(
    floors: np.ndarray,
    parameters: Parameters,
    stretches: np.ndarray,
    calendar: np.ndarray,
    looks: np.ndarray,
    seed: int,
    first_run: int,
    results: Results,
) -> bool:
    """As `kernel.simulate_runs`."""
    shop = _objects(floors[0])
    rows: Any = [Parameter(table) for table in parameters]
    return plain(simulate_runs)(
        [shop], Parameters(*rows), Table(stretches), Table(calendar), looks.tolist(), seed,
        first_run, results,
    )  # fmt: skip


class Table:
    """A two-dimensional array of records: table[i, j] is an object; the shape is the array's."""

    def __init__(self, array: np.ndarray):
        self.shape = array.shape
        self.rows = [[_objects(cell) for cell in row] for row in array]

    def __getitem__(self, place: tuple[int, int]) -> Any:
        return self.rows[place[0]][place[1]]


class Parameter:
    """A two-dimensional array of numbers, read as Python's own."""

    def __init__(self, array: np.ndarray):
        self.rows = array.tolist()

    def __len__(self) -> int:
        return len(self.rows)

    def __getitem__(self, place: tuple[int, int]) -> Any:
        return self.rows[place[0]][place[1]]


class Numbers(list):
    """A list that takes one value for a whole slice, as arrays do."""

    def __setitem__(self, place: Any, value: Any) -> None:
        if isinstance(place, slice):
            value = [value] * len(range(*place.indices(len(self))))
        super().__setitem__(place, value)


def _objects(record: np.void) -> SimpleNamespace:
    """A record as an object with the same fields, its arrays as lists or tables."""
    fields = {}
    for name in record.dtype.names or ():
        value = record[name]
        if not isinstance(value, np.ndarray):
            value = value.item()
        elif value.dtype.names and value.ndim == 2:
            value = Table(value)
        elif value.dtype.names:
            value = [_objects(each) for each in value]
        elif value.ndim == 2:
            value = Parameter(value)
        else:
            value = Numbers(value.tolist())
        fields[name] = value
    return SimpleNamespace(**fields)


@cache
def plain(function: Any) -> Callable:
    """The Python function behind a compiled one, calling its like in place of compiled ones."""
    if function.__name__ in _IN_PYTHON:
        return _IN_PYTHON[function.__name__]
    source = function.py_func
    scope = dict(source.__globals__)
    behind: Any = FunctionType(source.__code__, scope, source.__name__, source.__defaults__)
    for name in source.__code__.co_names:
        if hasattr(scope.get(name), "py_func"):
            scope[name] = plain(scope[name])
    return behind


def _mixed(x: int) -> int:
    x = (x ^ (x >> 30)) * _FIRST & _MASK
    x = (x ^ (x >> 27)) * _SECOND & _MASK
    return x ^ (x >> 31)


def _stream(parent: int, number: int) -> int:
    return _mixed(_mixed(int(parent) + _GOLDEN * (int(number) + 1) & _MASK))


def _number_in(start: int, k: int) -> int:
    return _mixed(start + _GOLDEN * (k + 1) & _MASK)


def _upper(bits: int) -> float:
    return ((bits >> 32) + 0.5) * 2.0**-32


def _lower(bits: int) -> float:
    return ((bits & 0xFFFFFFFF) + 0.5) * 2.0**-32


_IN_PYTHON: dict[str, Callable] = {
    "stream": _stream,
    "number_in": _number_in,
    "upper": _upper,
    "lower": _lower,
}
