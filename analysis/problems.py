"""The errors a user can meet, each one sentence: what is wrong, where, and what to do.

Problem                 anything the user can mend; exit status 2 on the command line
├── BadInput            one or more faults in a file or a form, listed together
├── StoreProblem        the store cannot be opened, read or written
└── NotFound            something the user named does not exist
"""

from dataclasses import dataclass

SHOWN_FAULTS = 50


class Problem(Exception):
    """A condition the user can mend; its text is shown as it stands, without a traceback."""


@dataclass(frozen=True)
class Fault:
    """One fault in an input: where it stands, what is wrong, the offending value, the remedy.

    `row` counts from 1, the header row; 0 stands for the file as a whole. `column` may be blank.
    """

    file: str
    row: int
    column: str
    problem: str
    value: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        parts = [self.problem]
        if self.value:
            parts.append(f"found {_clip(self.value)}")
        if self.remedy:
            parts.append(self.remedy)
        return f"{self.file}:{self.row}: {self.column or '(file)'}: " + "; ".join(parts)


class BadInput(Problem):
    """Faults found in one input, at most `SHOWN_FAULTS` of them kept, and how many there are."""

    def __init__(self, faults: list[Fault], count: int | None = None):
        self.faults = tuple(faults[:SHOWN_FAULTS])
        self.count = len(faults) if count is None else count
        super().__init__(self._text())

    def _text(self) -> str:
        lines = [str(fault) for fault in self.faults]
        if self.count > len(lines):
            lines.append(f"... and {self.count - len(lines)} more faults like these")
        return "\n".join(lines)


class StoreProblem(Problem):
    """The store cannot be opened, read or written; the text says which one and what to do."""


class NotFound(Problem):
    """Something the user named does not exist; the text lists what does."""


def _clip(value: str, width: int = 60) -> str:
    """The value on one line, quoted and short enough to read, control characters made visible."""
    text = repr(value)
    return text if len(text) <= width else text[: width - 2] + "…'"
