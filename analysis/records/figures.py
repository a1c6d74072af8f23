"""Numbers and dates as a person writes them, in the manner of where that person reads.

Files, and what other programs read, never go through here. The words stay English; the marks in a
number and the order of a date follow the reader. German numbers after DIN 1333 (comma for the
decimals) with points in the thousands and dates after DIN 5008 (day.month.year); American ones as
in the Chicago Manual of Style (month day, year; twelve hours): all from memory, checked in
tests/browser/test_people.py against what the browser itself writes.
"""

import math
import re
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime, time

DAYS_FROM_HOURS = 72  # a time as long is told in days: people no longer think of it in hours


@dataclass(frozen=True)
class Manner:
    """How one part of the world writes.

    `clock` and the charts' formats take strftime's letters, cells and fields moment.js's.
    """

    name: str
    marks: dict[int, int]  # by code, what stands for the point and the comma of an English number
    clock: str
    chart_day: str
    chart_date: str
    cell_time: str
    typed_day: str
    vega: dict | None = None  # Vega's locale, where it is not its own


_GERMAN = {
    "number": {"decimal": ",", "thousands": ".", "grouping": [3], "currency": ["", " €"]},
}
PLAIN = Manner("plain", {}, "%H:%M", "%-d %b", "%-d %b %Y", "D MMM YYYY, HH:mm", "YYYY-MM-DD")
AMERICAN = Manner(
    "American", {}, "%-I:%M %p", "%b %-d", "%b %-d, %Y", "MMM D, YYYY, h:mm A", "MM/DD/YYYY"
)
GERMAN = Manner(
    "German", str.maketrans(".,", ",."), "%H:%M", "%-d.%-m.", "%-d.%-m.%Y", "D.M.YYYY, HH:mm",
    "DD.MM.YYYY", _GERMAN,
)  # fmt: skip

_current: ContextVar[Manner] = ContextVar("manner", default=PLAIN)


def manner_of(locale: str | None) -> Manner:
    """The manner of a browser's locale (`de-DE`, `en-US`); any other reads the plain one."""
    language, _, place = (locale or "").lower().replace("_", "-").partition("-")
    if language == "de" and place not in ("ch", "li"):  # there a point stands before the decimals
        return GERMAN
    return AMERICAN if (language, place) == ("en", "us") else PLAIN


def manner() -> Manner:
    """The manner that this thread of work writes in."""
    return _current.get()


def write_as(manner: Manner) -> None:
    """Write so from here on, in this thread of work alone."""
    _current.set(manner)


def number(value: float, decimals: int = 0) -> str:
    """A number with so many decimals: `1,234.5`, in German `1.234,5`; no minus before nothing."""
    return marked(f"{value:z,.{decimals}f}")


def figure(value: float, digits: int = 2) -> str:
    """A number rounded to so many digits: `0.25`, `2.4`, `12`, `1,300`, never `1.3e+03`."""
    if not value or not math.isfinite(value):
        return f"{value:.0f}"
    rounded = float(f"{value:.{digits - 1}e}")
    decimals = max(digits - 1 - math.floor(math.log10(abs(rounded))), 0)
    written = f"{rounded:,.{decimals}f}"
    return marked(written.rstrip("0").rstrip(".") if decimals else written)


def marked(english: str) -> str:
    """The digits of one number, written the English way, with the reader's marks."""
    return english.translate(manner().marks)


def told(sentence: str) -> str:
    """A sentence that was made beforehand, with the numbers in it as the reader writes them."""
    if not manner().marks:
        return sentence
    return re.sub(r"(?<![\w.,])\d+(?:,\d{3})*(?:\.\d+)?(?![\w]|[.,]\d)", _marked_match, sentence)


def _marked_match(found: re.Match) -> str:
    return marked(found.group())


def day(when: date) -> str:
    """A date: `20 November 2026`, `November 20, 2026`, `20.11.2026`."""
    if manner() is GERMAN:
        return f"{when.day}.{when.month}.{when.year}"
    if manner() is AMERICAN:
        return f"{when:%B} {when.day}, {when.year}"
    return f"{when.day} {when:%B %Y}"


def short_day(when: date) -> str:
    """A date without its year: `20 November`, `November 20`, `20.11.`"""
    if manner() is GERMAN:
        return f"{when.day}.{when.month}."
    return f"{when:%B} {when.day}" if manner() is AMERICAN else f"{when.day} {when:%B}"


def days(first: date, last: date) -> str:
    """Two dates as one span: `16 to 22 November 2026`, `November 16 to 22, 2026`."""
    if first.year != last.year:
        return f"{day(first)} to {day(last)}"
    if first.month != last.month or manner() is GERMAN:
        return f"{short_day(first)} to {day(last)}"
    if manner() is AMERICAN:
        return f"{first:%B} {first.day} to {last.day}, {last.year}"
    return f"{first.day} to {day(last)}"


def clock(at: datetime | time) -> str:
    """A time of day: `14:30`, in the United States `2:30 PM`."""
    return at.strftime(manner().clock)


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun: `1 lap`, `2 laps`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
