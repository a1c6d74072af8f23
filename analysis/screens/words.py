"""Numbers as a maker says them: seconds, money and shares with their unit, and plain ranges.

A range is rounded to what its own width can bear, so that "17 to 21" never reads "17.38 to 21.12".
Marks in numbers and the order of dates are the reader's own: see records/figures.py.
"""

import math
import re
from datetime import date, timedelta
from typing import TypeGuard

from analysis.records.figures import clock, day, days, manner, number, short_day, told  # noqa: F401
from analysis.records.figures import figure as written

NOT_KNOWN = "not known yet"


def plain(text: str) -> str:
    """A user's own words, safe inside Markdown: `glue *hot* $5` is shown as it was written.

    What Markdown takes for an address by itself is broken by a joiner that has no width.
    """
    text = re.sub(r"(://|@|www(?=\.))", "\\1\u2060", str(text), flags=re.IGNORECASE)
    text = re.sub(r"([\\`*_{}\[\]()#+!|<>~$:&-])", r"\\\1", " ".join(text.split()))
    return re.sub(r"^(\d{1,9})\.(?= |$)", r"\1\\.", text)  # `1. box` would begin a list


def duration(seconds: float | None) -> str:
    """Seconds as `42 s`, `3 min 05 s` or `2 h 10 min`; under ten seconds with one decimal."""
    if not _known(seconds):
        return NOT_KNOWN
    if abs(seconds) < 9.95:
        return f"{number(seconds, 1)} s"
    whole = round(seconds)
    if abs(whole) < 60:
        return f"{whole} s"
    if abs(whole) < 3600:
        minutes, rest = divmod(abs(whole), 60)
        text = f"{minutes} min {rest:02d} s" if rest else f"{minutes} min"
    else:
        hours, rest = divmod(round(abs(seconds) / 60), 60)
        text = f"{hours} h {rest:02d} min" if rest else f"{hours} h"
    return f"-{text}" if seconds < 0 else text


def time_range(low: float | None, high: float | None, longest: float | None = None) -> str:
    """Two lengths of time (seconds) in one unit: `17 to 21 min`, `6.1 to 6.9 min`.

    Seconds up to three minutes, then minutes up to 100, then hours; the unit fits `longest` where
    several ranges are to be read together, else `high`.
    """
    if not (_known(low) and _known(high)):
        return NOT_KNOWN
    top = high if longest is None else longest
    unit, seconds = ("s", 1) if top <= 180 else ("min", 60) if top <= 6000 else ("hours", 3600)
    low, high = low / seconds, high / seconds
    decimals = int(high - low < 2 and high < 100)  # a tenth of a minute is fine enough for a bench
    first, last = number(low, decimals), number(high, decimals)
    return f"{first} {unit}" if first == last else f"{first} to {last} {unit}"


def rough(seconds: float | None) -> str:
    """A length of time to be said with "about": `27 s`, `3.5 min`, `16 min`, `11 hours`."""
    if not _known(seconds):
        return NOT_KNOWN
    size = abs(seconds)
    if size < 119.5:
        return f"{number(seconds, int(size < 9.5))} s"
    if size < 6000:
        return f"{number(seconds / 60, int(size < 570))} min"
    return hours(seconds / 3600)


def hours(amount: float | None) -> str:
    """Hours with one decimal below 20 and none above: `7.5 hours`, `31 hours`."""
    if not _known(amount):
        return NOT_KNOWN
    tenths = amount < 20 and f"{amount:.1f}"[-2:] != ".0"
    text = number(amount, int(tenths))
    return f"{text} hour" if text == "1" else f"{text} hours"


def count(counted: float | None, one: str, many: str | None = None) -> str:
    """A count with its noun: `1 piece`, `1,250 pieces`."""
    if not _known(counted):
        return NOT_KNOWN
    return f"{number(counted)} {one if round(counted) == 1 else many or one + 's'}"


def money(amount: float | None, currency: str, decimals: int = 2) -> str:
    """An amount in the shop's currency: `4.20 USD`; `-1,250.00 USD` where it is owed."""
    if not _known(amount):
        return NOT_KNOWN
    return f"{number(amount, decimals)} {currency}"


def money_range(low: float | None, high: float | None, currency: str) -> str:
    """A range of money as fine as its width bears: `11.60 to 12.10 USD`, `22 to 24 USD`."""
    if not (_known(low) and _known(high)):
        return NOT_KNOWN
    bears = _decimals(low, high) if high - low >= 0.01 else 2
    cents = 2 if bears else 0
    first, last = number(round(low, bears), cents), number(round(high, bears), cents)
    return f"{first} {currency}" if first == last else f"{first} to {last} {currency}"


def share(fraction: float | None, decimals: int | None = None) -> str:
    """A share as percent: `97 %`, `0.4 %`; one decimal near 0 and 100 where it matters."""
    if not _known(fraction):
        return NOT_KNOWN
    if decimals is None:
        decimals = 1 if min(abs(fraction), abs(1 - fraction)) < 0.1 else 0
    return f"{number(100 * fraction, decimals)} %"


def share_range(low: float | None, high: float | None) -> str:
    """Two shares as one range: `94 to 98 %`."""
    if not (_known(low) and _known(high)):
        return NOT_KNOWN
    first, last = _rounded_pair(100 * low, 100 * high)
    return f"{first} %" if first == last else f"{first} to {last} %"


def figure(value: float | None, digits: int = 2) -> str:
    """A plain number to so many digits: `2.4`, `12`, `1,300`."""
    return written(value, digits) if _known(value) else NOT_KNOWN


def number_range(low: float | None, high: float | None) -> str:
    """Two plain numbers as one range, rounded to what its width can bear: `17 to 21`."""
    if not (_known(low) and _known(high)):
        return NOT_KNOWN
    first, last = _rounded_pair(low, high)
    return first if first == last else f"{first} to {last}"


def week(monday: date) -> str:
    """A week by its first and last day: `16 to 22 November 2026`."""
    return days(monday, monday + timedelta(days=6))


def cell_time() -> str:
    """A date and time in a cell of a table that the browser draws (moment.js's letters)."""
    return manner().cell_time


def cell_number(form: str) -> str:
    """How a number stands in a cell that the browser draws: printf's `form` knows points alone."""
    return "localized" if manner().marks else form


def typed_day() -> str:
    """How a date is typed into a field."""
    return manner().typed_day


def variant(product: str, kind: str) -> str:
    """A product with its variant, safe inside Markdown: `desk journal, linen`."""
    return plain(f"{product}, {kind}" if kind else product)


def _rounded_pair(low: float, high: float) -> tuple[str, str]:
    """Both ends rounded to half the width between them or finer, two decimals at most."""
    decimals = _decimals(low, high)
    return number(low, decimals), number(high, decimals)


def _decimals(low: float, high: float) -> int:
    width = high - low
    return 0 if width <= 0 else max(0, min(2, math.ceil(-math.log10(width / 2))))


def _known(value: float | None) -> TypeGuard[float]:
    try:
        return value is not None and math.isfinite(value)
    except TypeError:  # pandas' own "missing", which is not worth importing it for
        return False
