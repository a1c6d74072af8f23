"""A lap as a phone sends it, checked field by field; a refusal says what is wrong and the remedy.

The rules are those of a file of laps (`records/laps.py`), but one lap is judged in microseconds,
by itself: a bad lap goes back to its phone and holds no good one up. Text is taken as typed, as
it never went through a spreadsheet. The body as a whole is read by `read_body`.
"""

import json
import math
import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NoReturn

from analysis.records.laps import (
    ACTIVITIES,
    HIGHEST_RATING,
    LONGEST_SECONDS,
    LOWEST_RATING,
    MOST_UNITS,
)
from analysis.store.bench import PhoneLap
from analysis.store.bench_batches import PhoneBatch
from analysis.store.bench_stock import PutAway

MOST_LAPS = 1000
MOST_REVISIONS = 1_000_000
LONGEST_WORD, LONGEST_NOTE = 200, 2000
MOST_FLAGS, LONGEST_FLAG = 20, 40
MOST_VARIANTS = 200
WORDS = ("product", "operation", "variant", "batch", "cause", "cause_operation")
_ID = re.compile(r"[0-9A-Za-z-]{8,64}")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


class Malformed(ValueError):
    """The body as a whole is not what a phone sends; nothing of it was taken."""


class Refused(ValueError):
    """One lap, or another single entry, that cannot be taken, and why."""

    def __init__(self, column: str, problem: str, value: object = "", remedy: str = ""):
        super().__init__(problem)
        self.column, self.problem, self.remedy = column, problem, remedy
        self.value = ascii(value)[:80]

    def as_json(self) -> dict:
        """The refusal as it goes back to the phone."""
        return {"column": self.column, "problem": self.problem, "value": self.value,
                "remedy": self.remedy}  # fmt: skip


@dataclass(frozen=True)
class Body:
    """One body from a phone: who sent it, when by the phone's clock, and its entries."""

    device: str
    sent_at: int
    entries: list


def read_body(body: bytes, of: str) -> Body:
    """The JSON object of a body with the list `of`; Malformed where it is none."""
    try:
        content = json.loads(body, parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise Malformed("The body is not JSON.") from None
    if not isinstance(content, dict) or not isinstance(content.get(of), list):
        raise Malformed(f'The body is not an object with a list "{of}".')
    if len(content[of]) > MOST_LAPS:
        raise Malformed(f"More than {MOST_LAPS} entries in one body; send fewer at once.")
    try:
        device = identifier(content, "device")
        return Body(device, instant(content, "sent_at"), content[of])
    except Refused as fault:
        raise Malformed(f"{fault.column} {fault.problem}: {fault.remedy or fault.value}") from None


def _no_number(name: str) -> NoReturn:
    """JSON has no NaN or Infinity, whatever Python would read."""
    raise ValueError(name)


def check_lap(entry: object) -> PhoneLap:
    """The lap of one entry of a body; Refused names the first column that cannot be taken."""
    entry = _fields(entry, "a lap")
    lap_id = identifier(entry, "lap_id")
    revision = whole(entry, "revision", 0, 0, MOST_REVISIONS)
    if _truth(entry, "removed"):
        return PhoneLap(lap_id, revision, True, {}, _flags(entry))
    content = {
        "lap_id": lap_id,
        "started_at": instant(entry, "started_at"),
        "seconds": _seconds(entry),
        **{name: text(entry, name) for name in WORDS},
        "worker": text(entry, "worker") or "maker",
        "activity": _activity(entry),
        "note": text(entry, "note", LONGEST_NOTE),
        "units": whole(entry, "units", 1, 1, MOST_UNITS),
        "rework_units": whole(entry, "rework_units", 0, 0, MOST_UNITS),
        "scrap_units": whole(entry, "scrap_units", 0, 0, MOST_UNITS),
        "rating": _rating(entry),
    }
    _check_together(content)
    return PhoneLap(lap_id, revision, False, content, _flags(entry))


def _check_together(lap: dict) -> None:
    if lap["rework_units"] + lap["scrap_units"] > lap["units"]:
        raise Refused(
            "scrap_units",
            "is, with rework_units, more than units",
            lap["scrap_units"],
            "rework and scrap together are at most the units of the lap",
        )
    for column in ("product", "operation"):
        if not lap[column] and lap["activity"] != "delay":
            raise Refused(column, "is blank", "", "only a delay may go without")


def identifier(entry: dict, column: str) -> str:
    """An id: 8 to 64 letters, digits and hyphens, as a UUID is."""
    value = entry.get(column)
    if not isinstance(value, str) or not _ID.fullmatch(value):
        raise Refused(column, "is no id", value, "8 to 64 letters, digits and hyphens, as a UUID")
    return value


def text(entry: dict, column: str, longest: int = LONGEST_WORD) -> str:
    """A text, trimmed and in Unicode normal form C; "" where it is not given. Raises Refused."""
    value = entry.get(column)
    if value is None:
        return ""
    if not isinstance(value, str):
        raise Refused(column, "is not text", value, "write it in quotes")
    if not value.isascii():
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            raise Refused(column, "holds a character that is no text", value, "take it out")
        value = unicodedata.normalize("NFC", value)
    if "\0" in value:
        raise Refused(column, "holds a character that is no text", value, "take it out")
    value = value.strip()
    if len(value) > longest:
        raise Refused(column, f"is longer than {longest} characters", value, "shorten it")
    return value


def instant(entry: dict, column: str) -> int:
    """A time with an offset, as microseconds since 1970 of UTC. Raises Refused."""
    value = entry.get(column)
    try:
        moment = datetime.fromisoformat(value or "")
        micros = (moment - _EPOCH) // _MICROSECOND
    except (TypeError, ValueError, OverflowError):
        raise Refused(
            column,
            "is not a date and time with an offset",
            value,
            "write it as 2026-03-02T09:15:00+01:00",
        ) from None
    if not 1900 <= moment.year <= 2199:
        raise Refused(
            column, "is not a year a lap can be from", value, "give a year from 1900 to 2199"
        )
    return micros


def whole(entry: dict, column: str, default: int, least: int, most: int) -> int:
    """A whole number within limits; the default, if it is within them, where it is not given.
    Raises Refused."""
    value = entry.get(column)
    if value is None and default >= least:
        return default
    number = _number(entry, column)
    if number != math.floor(number) or number < least:
        raise Refused(column, f"is not a whole number from {least} up", value, "count whole pieces")
    if number > most:
        raise Refused(column, f"is more than {most}", value, "count whole pieces")
    return int(number)


def _number(entry: dict, column: str) -> float:
    value = entry.get(column)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Refused(column, "is not a number", value, "write digits with a decimal point")
    if isinstance(value, float) and not math.isfinite(value):
        raise Refused(column, "is not a number", value, "write digits with a decimal point")
    return value


def _seconds(entry: dict) -> float:
    seconds = _number(entry, "seconds")
    if seconds <= 0:
        raise Refused("seconds", "is not more than 0", seconds, "give the time the lap took")
    if seconds > LONGEST_SECONDS:
        raise Refused(
            "seconds",
            "is longer than a day (86400 seconds)",
            seconds,
            "split a lap that runs over night",
        )
    return float(seconds)


def _rating(entry: dict) -> float:
    if entry.get("rating") is None:
        return 100.0
    rating = _number(entry, "rating")
    if not LOWEST_RATING <= rating <= HIGHEST_RATING:
        raise Refused(
            "rating",
            f"is not from {LOWEST_RATING} to {HIGHEST_RATING} percent",
            rating,
            "100 is an ordinary pace",
        )
    return float(rating)


def _activity(entry: dict) -> str:
    activity = text(entry, "activity") or "operation"
    if activity not in ACTIVITIES:
        raise Refused("activity", "is no activity", activity, "one of " + ", ".join(ACTIVITIES))
    return activity


def _truth(entry: dict, column: str, default: bool = False) -> bool:
    value = entry.get(column, default)
    if not isinstance(value, bool):
        raise Refused(column, "is not true or false", value, "send true or false")
    return value


def _flags(entry: dict) -> tuple[str, ...]:
    flags = entry.get("flags") or []
    if not isinstance(flags, list) or len(flags) > MOST_FLAGS:
        raise Refused("flags", "is not a short list of words", flags, f"at most {MOST_FLAGS} words")
    words = {" ".join(text({"flags": flag}, "flags", LONGEST_FLAG).split()) for flag in flags}
    return tuple(sorted(words - {""}))


def check_put_away(entry: object) -> PutAway:
    """Finished pieces of a batch put into stock; Refused names the first column at fault."""
    entry = _fields(entry, "an entry")
    return PutAway(
        identifier(entry, "id"),
        instant(entry, "at"),
        _needed(entry, "product"),
        text(entry, "variant"),
        text(entry, "batch"),
        whole(entry, "pieces", 0, 1, MOST_UNITS),
    )


def check_batch(entry: object) -> PhoneBatch:
    """A batch with its quantities; Refused names the first column at fault."""
    entry = _fields(entry, "a batch")
    quantities = entry.get("quantities")
    if not isinstance(quantities, dict) or len(quantities) > MOST_VARIANTS:
        raise Refused("quantities", "is not a list of variants", quantities, "send an object")
    return PhoneBatch(
        identifier(entry, "id"),
        instant(entry, "at"),
        _needed(entry, "product"),
        _needed(entry, "batch"),
        {text({"variant": name}, "variant"): whole(quantities, name, 0, 0, MOST_UNITS)
         for name in quantities},
        _truth(entry, "open", True),
    )  # fmt: skip


def _fields(entry: object, what: str) -> dict:
    """The fields of an entry; Refused where it is no object."""
    if not isinstance(entry, dict):
        raise Refused("", f"is not {what}", entry, "send an object")
    return entry


def _needed(entry: dict, column: str) -> str:
    value = text(entry, column)
    if not value:
        raise Refused(column, "is blank", "", f"name the {column}")
    return value
