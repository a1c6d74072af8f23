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

    def __init__(self, text: str):
        super().__init__(one_line(text))


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
        place = f"{self.file}:{self.row}: {self.column or '(file)'}: "
        return one_line(place + "; ".join(parts))


class BadInput(Problem):
    """Faults found in one input, at most `SHOWN_FAULTS` of them kept, and how many there are."""

    def __init__(self, faults: list[Fault], count: int | None = None):
        self.faults = tuple(faults[:SHOWN_FAULTS])
        self.count = len(faults) if count is None else count
        super().__init__(f"{self.count} faults")

    def __str__(self) -> str:
        """One line a fault, and one for those not kept."""
        lines = list(self.faults)
        if more := self.count - len(lines):
            faults = "fault like these" if more == 1 else "faults like these"
            lines.append(Fault(lines[-1].file if lines else "", 0, "", f"and {more} more {faults}"))
        return "\n".join(map(str, lines))


class StoreProblem(Problem):
    """The store cannot be opened, read or written; the text says which one and what to do."""


class NotFound(Problem):
    """Something the user named does not exist; the text lists what does."""


def one_line(text: str) -> str:
    """The text with newlines and other characters that print as none written as escapes."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _clip(value: str, width: int = 60) -> str:
    """The value on one line, quoted and short enough to read, control characters made visible."""
    text = repr(value)
    return text if len(text) <= width else text[: width - 2] + "…'"
