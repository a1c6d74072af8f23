"""What is almost right is refused with the very words that would do."""

import pytest

from analysis.problems import BadInput
from analysis.records.laps import read_laps
from analysis.records.remedies import for_seconds, for_time


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("11/23/2026 1:40 PM", "write it as 2026-11-23 13:40"),
        ("11/23/2026 12:05:09 am", "write it as 2026-11-23 00:05:09"),
        ("23/11/2026 13:40", "write it as 2026-11-23 13:40"),
        ("2/3/2026", "write it as 2026-02-03 or 2026-03-02"),
        ("3/3/2026 9:15", "write it as 2026-03-03 09:15"),
        ("13/13/2026", "write it as 2026-03-02T09:15:00+01:00"),
        ("yesterday", "write it as 2026-03-02T09:15:00+01:00"),
    ],
)
def test_a_date_with_strokes_is_told_as_it_would_do(written, remedy):
    assert for_time(written) == remedy
    for said in remedy.removeprefix("write it as ").split(" or "):
        read_laps(f"started_at,seconds,product,operation\n{said},5,box,cut\n".encode())


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("0:52", "write seconds: 52, if it is m:ss"),
        ("6:05.5", "write seconds: 365.5, if it is m:ss"),
        ("1:02:03", "write seconds: 3723, if it is h:mm:ss"),
        ("6 min", "write seconds, without a unit: 360"),
        ("1.5 h", "write seconds, without a unit: 5400"),
        ("soon", ""),
    ],
)
def test_a_time_off_a_stopwatch_is_told_in_seconds(written, remedy):
    assert for_seconds(written) == remedy


def test_a_refused_file_names_what_would_do_beside_each_value():
    rows = "11/23/2026 1:40 PM,58,box,cut\n2026-11-23 09:00,0:52,box,cut\n"
    with pytest.raises(BadInput) as bad:
        read_laps(f"started_at,seconds,product,operation\n{rows}".encode())
    first, second = bad.value.faults
    assert first.remedy == "write it as 2026-11-23 13:40" and first.row == 2
    assert second.remedy.startswith("write seconds: 52") and second.value == "0:52"
