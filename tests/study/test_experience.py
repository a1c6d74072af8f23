"""Who had made how many pieces before each lap, and what a break took away."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.study.experience import experience_at, practice_of
from tests.examples import examples
from tests.study.building import laps_frame


def lap(day, seconds=60, hour=9, minute=0, **more):
    moment = np.datetime64("2026-03-02T00:00") + np.timedelta64(day, "D")
    moment += np.timedelta64(60 * hour + minute, "m")
    return {"started_at": f"{moment}:00Z", "seconds": seconds, **more}


def test_experience_counts_across_variants_and_not_across_workers():
    frame = laps_frame(
        [
            lap(0, variant="linen", units=5),
            lap(1, variant="marbled", units=3),
            lap(2, worker="helper", units=7),
            lap(3, variant="linen"),
        ]
    )
    practice = practice_of(frame)
    before = dict(zip(practice.position, practice.pieces_before, strict=True))
    assert before == {0: 0, 1: 5, 2: 0, 3: 8}


def test_setups_walks_mending_and_interruptions_are_no_practice():
    kinds = ["operation", "setup", "rework", "transport", "delay", "inspection"]
    frame = laps_frame([lap(day, activity=kind) for day, kind in enumerate(kinds)])
    assert sorted(practice_of(frame).position) == [0, 5]


def test_only_breaks_longer_than_a_week_take_practice_away():
    frame = laps_frame([lap(0, units=100), lap(6, units=100), lap(6 + 21, units=1)])
    practice = practice_of(frame)
    weeks = (21 * 86400 - 60) / (7 * 86400)
    assert experience_at(practice, 0.9) == pytest.approx([0, 100, 200 * 0.9**weeks])
    assert experience_at(practice, 1.0) == pytest.approx([0, 100, 200])


def test_a_second_break_takes_from_what_the_first_one_left():
    frame = laps_frame([lap(0, units=50), lap(14, units=50), lap(28, units=1)])
    practice = practice_of(frame)
    kept = 0.8 ** practice.weeks_away[1:]
    expected = [0, 50 * kept[0], (50 * kept[0] + 50) * kept[1]]
    assert experience_at(practice, 0.8) == pytest.approx(expected)


def spells(rows):
    return practice_of(laps_frame(rows)).pieces_before_in_spell.tolist()


def test_a_pause_or_another_task_begins_a_new_spell_and_a_walk_does_not():
    other = {"operation": "trim", "activity": "operation"}
    assert spells([lap(0, minute=0), lap(0, minute=2)]) == [0, 1]
    assert spells([lap(0, minute=0), lap(0, minute=32)]) == [0, 0]
    assert spells([lap(0, minute=0), lap(0, minute=1, **other), lap(0, minute=3)]) == [0, 0, 0]
    for activity in ("transport", "delay"):
        rows = [lap(0, minute=0), lap(0, minute=1, activity=activity), lap(0, minute=3)]
        assert spells(rows) == [0, 1]


def test_a_helpers_work_on_another_task_does_not_break_the_makers_spell():
    rows = [lap(0), lap(0, minute=1, worker="helper", operation="trim"), lap(0, minute=2)]
    practice = practice_of(laps_frame(rows))
    own = practice.cells["worker"].to_numpy()[practice.cell] == "maker"
    assert practice.pieces_before_in_spell[own].tolist() == [0, 1]


def sessions(rows):
    return len(practice_of(laps_frame(rows)).session_starts)


def test_a_session_is_a_batch_without_a_pause_over_half_an_hour_and_a_day_at_most():
    assert sessions([lap(0, batch="1"), lap(0, minute=2, batch="1")]) == 1
    assert sessions([lap(0, batch="1"), lap(0, minute=2, batch="2")]) == 2
    assert sessions([lap(0, batch="1"), lap(0, minute=32, batch="1")]) == 2
    other = {"operation": "trim"}
    assert sessions([lap(0), lap(0, minute=1, **other), lap(0, minute=3)]) == 2  # one of each
    night_long = [lap(0, hour=hour, seconds=3600) for hour in (22, 23)] + [lap(1, hour=0)]
    assert sessions(night_long) == 2


@settings(max_examples=examples(60), deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.integers(0, 200),
            st.integers(1, 20),
            st.sampled_from("ab"),
            st.sampled_from(["x", "y"]),
        ),
        min_size=1,
        max_size=40,
        unique_by=lambda row: row[0],
    ),
    retention=st.floats(0.05, 1.0),
)
def test_experience_is_what_a_lap_by_lap_count_gives(rows, retention):
    frame = laps_frame(
        [lap(day, units=units, worker=who, product=what) for day, units, who, what in rows]
    )
    practice = practice_of(frame)
    ours = dict(zip(practice.position, experience_at(practice, retention), strict=True))
    held = {}
    for position in np.argsort([row[0] for row in rows]):
        day, units, who, what = rows[position]
        experience, last = held.get((who, what), (0.0, None))
        if last is not None:
            weeks = ((day - last) * 86400 - 60) / (7 * 86400)
            experience *= retention**weeks if weeks > 1 else 1.0
        assert ours[position] == pytest.approx(experience, rel=1e-9, abs=1e-12)
        held[who, what] = (experience + units, day)


def test_an_evening_at_the_bench_is_one_session_by_the_shop_s_clock():
    """Laps at 23:50 and 00:10 UTC are of one evening in Chicago, of two days in London."""
    laps = laps_frame([lap(0, hour=23, minute=50), lap(1, hour=0, minute=10)])
    assert len(practice_of(laps, "America/Chicago").session_starts) == 1
    assert len(practice_of(laps, "Europe/London").session_starts) == 2
