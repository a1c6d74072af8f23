"""What to write instead of an entry that is almost right: a date with strokes, a time with a colon.

Only the remedy's words are made here. What is written stays refused, since `2/3/2026` may be of
February or March, and `0:52` seconds or minutes: whoever wrote it knows.
"""

import re
from datetime import UTC, datetime

STROKES = re.compile(
    r"(\d{1,2})/(\d{1,2})/(\d{4})(?:,? +(\d{1,2}):(\d{2})(?::(\d{2}))? *([ap])\.?m?\.?)?"
    r"(?: +(\d{1,2}):(\d{2})(?::(\d{2}))?)?",
    re.IGNORECASE,
)
STOPWATCH = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d)(?:[.,](\d+))?")
UNIT = re.compile(r"(\d+(?:[.,]\d+)?) *(s|secs?|seconds?|m|mins?|minutes?|h|hours?)\.?", re.I)
SECONDS_OF = {"s": 1, "m": 60, "h": 3600}
USUAL_TIME = "write it as 2026-03-02T09:15:00+01:00"


def for_time(written: str) -> str:
    """How to write a date and time that was not taken."""
    found = STROKES.fullmatch(written.strip())
    days = found and _days(found)
    if not days:
        return USUAL_TIME
    return f"write it as {' or '.join(days)}"


def _days(found: re.Match) -> list[str]:
    """The moments a date with strokes may be; AM and PM go with the month first."""
    first, second, year, hour, minute, second_of, half, hour_24, minute_24, second_24 = (
        found.groups()
    )
    if half:
        hour = str(int(hour) % 12 + 12 * (half.lower() == "p"))
    else:
        hour, minute, second_of = hour_24, minute_24, second_24
    clock = f"{hour or 0} {minute or 0} {second_of or 0}"
    form = "%Y-%m-%d" + (" %H:%M" if hour else "") + (":%S" if second_of else "")
    moments = []
    for month, day in dict.fromkeys(
        [(first, second)] if half else [(first, second), (second, first)]
    ):
        try:
            written = f"{year} {month} {day} {clock}"
            moment = datetime.strptime(written, "%Y %m %d %H %M %S").replace(tzinfo=UTC)
            moments.append(moment.strftime(form))
        except ValueError:  # there is no such month, day or hour
            continue
    return moments


def for_seconds(written: str) -> str:
    """How to write a length of time in seconds; blank where it cannot be told."""
    text = written.strip()
    if found := STOPWATCH.fullmatch(text):
        hours, minutes, seconds, tenths = found.groups()
        whole = 3600 * int(hours or 0) + 60 * int(minutes) + int(seconds)
        meant = f"{whole}.{tenths}" if tenths else f"{whole}"
        return f"write seconds: {meant}, if it is {'h:mm:ss' if hours else 'm:ss'}"
    if found := UNIT.fullmatch(text):
        value = float(found[1].replace(",", ".")) * SECONDS_OF[found[2][0].lower()]
        return f"write seconds, without a unit: {value:.10g}"
    return ""
