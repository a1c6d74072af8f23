"""Wall clocks and UTC, for whole columns, against Python's own zoneinfo."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from analysis.records.zones import local_days, utc_to_wall, wall_to_utc

EPOCH = datetime.fromisoformat("1970-01-01")
ZONES = ["Europe/Vienna", "America/Chicago", "Australia/Lord_Howe", "Asia/Kathmandu",
         "Africa/Casablanca", "Pacific/Apia", "UTC"]  # fmt: skip


def micros(moment):
    return (moment.replace(tzinfo=None) - EPOCH) // timedelta(microseconds=1)


def some_moments(count=400):
    """Moments of 1950 to 2050, and each quarter of an hour around two changes of the clocks."""
    rng = np.random.default_rng(3)
    seconds = rng.integers(-631_152_000, 2_524_608_000, count)
    moments = [EPOCH + timedelta(seconds=int(second)) for second in seconds]
    for day in map(datetime.fromisoformat, ("2026-03-28T20:00", "2026-10-24T20:00")):
        moments += [day + timedelta(minutes=15 * quarter) for quarter in range(60)]
    return moments


@pytest.mark.parametrize("zone", ZONES)
def test_every_moment_is_where_zoneinfo_puts_it(zone):
    moments = some_moments()
    info = ZoneInfo(zone)
    walls = [moment.replace(tzinfo=UTC).astimezone(info) for moment in moments]
    utc = np.array([micros(moment) for moment in moments])
    assert utc_to_wall(utc, zone).tolist() == [micros(wall) for wall in walls]
    assert local_days(utc, zone).tolist() == [(w.date() - EPOCH.date()).days for w in walls]


@pytest.mark.parametrize("zone", ZONES)
def test_every_wall_time_is_where_zoneinfo_puts_it_and_doubts_are_marked(zone):
    """`fold=0` is the first of two hours, and the offset before the change in a skipped one."""
    moments = some_moments()
    info = ZoneInfo(zone)
    first = [moment.replace(tzinfo=info, fold=0) for moment in moments]
    second = [moment.replace(tzinfo=info, fold=1) for moment in moments]
    found = wall_to_utc(np.array([micros(moment) for moment in moments]), zone)
    assert found.utc.tolist() == [micros(moment.astimezone(UTC)) for moment in first]
    gap = [b.utcoffset() - a.utcoffset() for a, b in zip(first, second, strict=True)]
    assert found.repeated.tolist() == [change < timedelta(0) for change in gap]
    assert found.skipped.tolist() == [change > timedelta(0) for change in gap]
