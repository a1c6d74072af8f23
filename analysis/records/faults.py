"""Gathers the faults of one input, whole columns at a time, and raises them together."""

from collections.abc import Callable, Sequence

import numpy as np

from analysis.problems import SHOWN_FAULTS, BadInput, Fault


class Faults:
    """The faults found so far in one input: the first ones worded, the rest only counted."""

    def __init__(self, file: str):
        self.file, self.count = file, 0
        self._found: list[Fault] = []

    def add(self, row: int, column: str, problem: str, value: str = "", remedy: str = "") -> None:
        """Note one fault."""
        self._found.append(Fault(self.file, int(row), column, problem, value, remedy))
        self.count += 1

    def add_where(
        self,
        wrong: np.ndarray,
        rows: np.ndarray,
        column: str,
        problem: str,
        values: Callable[[np.ndarray], Sequence[str]],
        remedy: str | Callable[[str], str] = "",
    ) -> None:
        """Note a fault for each True in `wrong`; `values` gives the texts at some positions, and
        `remedy` may hang on the text."""
        places = np.flatnonzero(wrong)
        first = places[:SHOWN_FAULTS]
        if not len(first):
            return
        for place, value in zip(first, values(first), strict=True):
            what_to_do = remedy if isinstance(remedy, str) else remedy(value)
            self.add(rows[place], column, problem, value, what_to_do)
        self.count += len(places) - len(first)

    def stop_if_any(self) -> None:
        """Raise BadInput with the first faults by row, if there are any."""
        if self.count:
            found = sorted(self._found, key=lambda fault: fault.row)
            raise BadInput(found[:SHOWN_FAULTS], self.count)
