"""Where a batch's time goes: sums a maker can check on paper, ranges that batches bear out."""

import numpy as np
import pandas as pd
import pytest

from analysis.study.batch_time import NO_OPERATION, batch_time, next_one

ROUTE = pd.DataFrame(
    {"product": "box", "variant": "", "operation": ["cut", "glue", "wrap"], "position": [0, 1, 2]}
)


def laps(rows):
    frame = pd.DataFrame(
        rows, columns=["batch", "variant", "worker", "operation", "activity", "seconds"]
    ).assign(product="box", units=1, suspicious=False)
    texts = ["batch", "variant", "worker", "operation", "activity", "product"]
    return frame.astype(dict.fromkeys(texts, "category"))


def batches(rows):
    frame = pd.DataFrame(
        rows, columns=["batch", "variant", "units_started", "good_units", "finished"]
    )
    day = pd.Timestamp("2026-09-01", tz="UTC") + pd.to_timedelta(range(len(frame)), unit="D")
    return frame.assign(
        product="box",
        lost_units=(frame["units_started"] - frame["good_units"]).where(frame["finished"], 0),
        first_at=day,
        last_at=day,
        elapsed_hours=10.0,
        worked_hours=4.0,
        hours_nobody_worked=6.0,
        open_hours_nobody_worked=2.0,
    )


ROWS = [
    ("1", "red", "ann", "cut", "operation", 100),
    ("1", "red", "ann", "wrap", "operation", 60),
    ("1", "red", "ann", "glue", "operation", 200),
    ("1", "red", "bob", "glue", "rework", 40),
    ("2", "blue", "ann", "cut", "operation", 90),
    ("2", "blue", "ann", "glue", "operation", 210),
    ("2", "blue", "ann", "", "delay", 30),
    ("3", "red", "ann", "cut", "operation", 999),
    ("", "red", "ann", "cut", "operation", 777),
]
BATCHES = [("1", "red", 10, 8, True), ("2", "blue", 10, 10, True), ("3", "red", 10, 0, False)]


def test_finished_batches_count_and_what_names_no_batch_does_not():
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box")
    assert (time.batches, time.pieces, time.finished) == (2, 18, True)
    assert time.minutes["seconds"].sum() == 730
    assert time.per_piece.value == pytest.approx(730 / 18)
    assert time.per_batch.value == pytest.approx(365)


def test_operations_come_in_the_order_of_the_route():
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box")
    assert list(dict.fromkeys(time.minutes["operation"])) == ["cut", "glue", "wrap", NO_OPERATION]


@pytest.mark.parametrize(
    ("choice", "seconds", "pieces"),
    [
        ({"variant": "red"}, 400, 8),
        ({"worker": "bob"}, 40, 18),
        ({"batch": "2"}, 330, 10),
        ({"batch": "3"}, 999, 10),
        ({"last": 1}, 330, 10),
    ],
)
def test_a_choice_counts_its_own_laps_and_pieces(choice, seconds, pieces):
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box", **choice)
    assert time.minutes["seconds"].sum() == seconds
    assert time.pieces == pieces


def test_an_unfinished_batch_is_said_to_be_so():
    assert not batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box", batch="3").finished


def test_a_batch_of_two_variants_is_one_batch():
    mixed = [*ROWS, ("1", "blue", "ann", "cut", "operation", 50)]
    rows = [*BATCHES, ("1", "blue", 5, 5, True)]
    time = batch_time(laps(mixed), batches(rows), ROUTE, "box")
    assert (time.batches, time.pieces) == (2, 23)
    assert time.minutes["seconds"].sum() == 780
    assert time.per_batch.value == pytest.approx(390)


def test_pieces_begun_before_they_had_a_variant_are_not_started_twice():
    """Ten boxes cut as such; six are red later and four blue."""
    cut = [*ROWS, ("4", "", "ann", "cut", "operation", 100)]
    rows = [("4", "", 10, 0, False), ("4", "red", 6, 6, True), ("4", "blue", 4, 4, True)]
    time = batch_time(laps(cut), batches(rows), ROUTE, "box")
    assert (time.batches, time.pieces, time.finished, time.size) == (1, 10, True, 10)
    assert not batch_time(laps(cut), batches(rows[:2]), ROUTE, "box").finished


def test_two_batches_give_no_range_rather_than_a_false_one():
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box")
    assert np.isnan(time.per_piece.low)


def test_nothing_chosen_gives_an_empty_answer_not_a_crash():
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "bowl")
    assert time.minutes.empty
    assert np.isnan(time.per_piece.value)


def test_the_range_of_a_piece_is_that_of_its_only_operation():
    rng = np.random.default_rng(20260902)
    rows = [(str(n), "", "ann", "sew", "operation", 60 * 25 * rng.lognormal(0, 0.15))
            for n in range(12)]  # fmt: skip
    made = [(str(n), "", 25, 25, True) for n in range(12)]
    found = batch_time(laps(rows), batches(made), ROUTE, "box")
    (own,) = found.operations.itertuples()
    assert found.per_piece.low == pytest.approx(own.per_piece_low)
    assert found.per_piece.high == pytest.approx(own.per_piece_high)
    assert found.per_piece.low < found.per_piece.value < found.per_piece.high


@pytest.mark.parametrize(
    ("shops", "operations"), [(5, 80), pytest.param(400, 1, marks=pytest.mark.slow)]
)
def test_the_range_of_time_a_piece_holds_the_truth_as_often_as_it_says(shops, operations):
    """400 operations, each with a mood of its own in each of 12 batches (sd 15 %): 95 % ranges
    hold the true mean.

    Allowed distance: three standard errors of a share of 0.95 over 400 draws, 0.033, and 0.01
    for the bias of a ratio estimate at 12 batches.
    """
    rng = np.random.default_rng(20260901)
    held = []
    for _ in range(shops):
        pieces = rng.integers(20, 50, 12)
        seconds = 60 * pieces[:, None] * rng.lognormal(-(0.15**2) / 2, 0.15, (12, operations))
        rows = [
            (str(batch), "", "ann", f"step {step}", "operation", value)
            for (batch, step), value in np.ndenumerate(seconds)
        ]
        made = [(str(batch), "", count, count, True) for batch, count in enumerate(pieces)]
        found = batch_time(laps(rows), batches(made), ROUTE, "box")
        own = found.operations
        held += list((own["per_piece_low"] <= 60) & (own["per_piece_high"] >= 60))
    assert len(held) == 400
    assert abs(np.mean(held) - 0.95) < 0.043


def test_the_range_of_the_next_batch_holds_it_as_often_as_it_says():
    """4,000 shops that saw six batches, straying by a factor of 1.5: the seventh is in range.

    Allowed distance: three standard errors of a share of 0.95 over 4,000 draws, 0.0104.
    """
    rng = np.random.default_rng(20261129)
    held = []
    for seen in rng.lognormal(np.log(90), np.log(1.5), (4000, 7)):
        found = next_one(seen[:6])
        held.append(found.low <= seen[6] <= found.high)
    assert abs(np.mean(held) - 0.95) < 0.0104


def test_the_next_batch_is_less_sure_than_the_average_of_those_seen():
    """100, 200 and 400 s are log 2 apart: 200 s, a factor of exp(4.303 x log 2 x sqrt(4 / 3))."""
    rows = [(n, "", "ann", "glue", "operation", s) for n, s in (("1", 100), ("2", 200), ("3", 400))]
    made = [(name, "", 10, 10, True) for name in "123"]
    time = batch_time(laps(rows), batches(made), ROUTE, "box")
    assert time.next_batch.value == pytest.approx(time.per_batch.value)
    factor = np.exp(4.302653 * np.log(2) * np.sqrt(4 / 3))  # t(.975, 2), printed tables
    assert time.next_batch.high == pytest.approx(200 * factor)
    assert time.next_batch.low == pytest.approx(200 / factor)
    assert time.next_batch.high > time.per_batch.high


def alternating():
    """Six batches of 50 and 25 by turns, the last of 25: 60 s a piece, -+ 5 % in pairs of both
    sizes; a large one lies 300 h, give or take, a small one 30 h."""
    sizes, moods = [50, 25] * 3, [0.95, 0.95, 1, 1, 1.05, 1.05]
    names = [str(i) for i in range(6)]
    rows = [
        (name, "", "ann", "cut", "operation", 60 * size * mood)
        for name, size, mood in zip(names, sizes, moods, strict=True)
    ]
    made = batches([(n, "", size, size - 1, True) for n, size in zip(names, sizes, strict=True)])
    elapsed = np.array([300, 30] * 3) * np.array(moods)
    return laps(rows), made.assign(elapsed_hours=elapsed, hours_nobody_worked=elapsed - 3)


def test_small_and_large_batches_by_turns_do_not_make_the_next_one_s_range_wide():
    time = batch_time(*alternating(), ROUTE, "box", last=6)
    assert time.size == 25
    assert time.next_batch.value == pytest.approx(25 * 60)
    found = next_one(60.0 * np.array([0.95, 0.95, 1, 1, 1.05, 1.05]))
    assert time.next_batch.low == pytest.approx(25 * found.low)
    assert time.next_batch.high == pytest.approx(25 * found.high)
    assert time.next_batch.high < 25 * 60 * 1.2  # of both sizes as one it was 2.7 times the mean


def test_a_batch_s_hours_by_the_clock_are_those_of_batches_of_its_size():
    time = batch_time(*alternating(), ROUTE, "box", last=6)
    assert time.alike == 3
    small = next_one(30 * np.array([0.95, 1, 1.05]))
    assert time.elapsed_hours == small
    own, made = alternating()
    few = batch_time(own, made.iloc[:3], ROUTE, "box")  # two large ones and a small one
    assert (few.size, few.alike) == (50, 2)
    assert np.isnan(few.elapsed_hours.low) and not np.isnan(few.next_batch.low)


def test_the_last_batches_of_the_size_count_where_the_last_ones_had_others():
    own, made = alternating()
    time = batch_time(own, made, ROUTE, "box", last=3)  # 25, 50, 25
    assert (time.batches, time.size, time.alike) == (3, 25, 3)


def test_a_part_of_a_batch_never_reaches_beyond_the_whole():
    """Idle 1, 8 and 60 h of 4, 12 and 64: alone it would stray further than the whole does."""
    rows = [(name, "", "ann", "cut", "operation", 600) for name in "123"]
    idle, elapsed = np.array([1.0, 8, 60]), np.array([4.0, 12, 64])
    made = batches([(name, "", 10, 10, True) for name in "123"]).assign(
        elapsed_hours=elapsed, hours_nobody_worked=idle, open_hours_nobody_worked=idle
    )
    time = batch_time(laps(rows), made, ROUTE, "box")
    assert next_one(idle).high > next_one(elapsed).high  # as it was
    assert time.idle_hours.high <= time.elapsed_hours.high
    assert time.idle_hours.low <= time.elapsed_hours.low
    assert time.open_idle_hours.high <= time.idle_hours.high


def test_batches_under_way_tell_no_range_of_hours():
    made = batches([(name, "", 10, 0, False) for name in "123"])
    rows = [(name, "", "ann", "cut", "operation", 600) for name in "123"]
    time = batch_time(laps(rows), made, ROUTE, "box")
    assert time.elapsed_hours.value == 10 and np.isnan(time.elapsed_hours.low)


def test_batches_that_lay_no_time_have_a_range_from_nothing_up():
    found = next_one(np.array([0.0, 2.0, 4.0]))
    assert found.value == 2 and found.low == 0
    assert found.high == pytest.approx(2 + 4.302653 * 2 * np.sqrt(4 / 3))


def test_a_forgotten_stop_counts_as_the_other_laps_of_its_operation_and_is_said():
    rows = [("1", "", "ann", "sew", "operation", s) for s in (90, 110, 2700)]
    frame = laps(rows).assign(suspicious=[False, False, True])
    time = batch_time(frame, batches([("1", "", 3, 3, True)]), ROUTE, "box")
    assert time.per_piece.value == pytest.approx(100)  # as the true times have it
    assert time.minutes["seconds"].sum() == pytest.approx(300)
    assert time.left_out.to_dict("records") == [
        {"operation": "sew", "laps": 1, "timed_seconds": 2700, "counted_seconds": 100}
    ]


def test_where_all_laps_of_an_operation_are_doubtful_they_count_as_timed():
    frame = laps([("1", "", "ann", "sew", "operation", 2700)]).assign(suspicious=True)
    time = batch_time(frame, batches([("1", "", 1, 1, True)]), ROUTE, "box")
    assert time.per_piece.value == 2700 and time.left_out.empty


def test_the_largest_loss_is_named_with_where_most_of_it_is():
    loss = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box").loss
    assert (loss.activity, loss.operation) == ("rework", "glue")
    assert loss.per_batch.value == pytest.approx(20)
    assert loss.per_piece.value == pytest.approx(40 / 18)
    assert loss.share == pytest.approx(40 / 730)


def test_the_largest_loss_has_a_range_of_its_own_over_the_batches():
    """40, 10 and 10 s on batches of 10: 2 s a piece, se = sqrt(3/2 (20² + 10² + 10²)) / 30 = 1."""
    rows = [
        (batch, "", "ann", "glue", activity, seconds)
        for batch, mending in (("1", 40), ("2", 10), ("3", 10))
        for activity, seconds in (("operation", 500), ("rework", mending))
    ]
    made = [(batch, "", 10, 10, True) for batch in "123"]
    loss = batch_time(laps(rows), batches(made), ROUTE, "box").loss
    assert loss.per_piece.value == pytest.approx(2)
    assert loss.per_piece.high == pytest.approx(2 + 4.302653)  # t(.975, 2), printed tables
    assert loss.per_piece.low == 0
    assert loss.per_batch.high == pytest.approx(20 + 43.02653)


def test_without_losses_none_is_made_up():
    clean = [row for row in ROWS if row[4] == "operation"]
    assert batch_time(laps(clean), batches(BATCHES), ROUTE, "box").loss is None


def test_each_operation_has_the_range_that_the_batches_bear_out():
    """Three batches of ten: glued in 100, 120 and 140 s, so 12 s a piece -+ t(.975, 2) = 4.303
    times sqrt(3 / 2 x 800) / 30; the delay is in one batch only and counts as 0 in the others."""
    seconds = {"1": 100, "2": 120, "3": 140}
    rows = [(name, "", "ann", "glue", "operation", value) for name, value in seconds.items()]
    rows += [("1", "", "ann", "glue", "rework", 30), ("2", "", "ann", "", "delay", 90)]
    time = batch_time(
        laps(rows), batches([(name, "", 10, 10, True) for name in seconds]), ROUTE, "box"
    )
    work = time.minutes.set_index(["operation", "activity"]).loc[("glue", "operation")]
    half = 4.303 * np.sqrt(1.5 * 800) / 30
    assert work["per_piece_low"] == pytest.approx(12 - half, rel=1e-3)
    assert work["per_piece_high"] == pytest.approx(12 + half, rel=1e-3)
    assert work["per_batch_high"] == pytest.approx(10 * (12 + half), rel=1e-3)
    glue, between = time.operations.set_index("operation").loc[["glue", NO_OPERATION]].itertuples()
    # 130, 120 and 140 s with the mending: 13 s a piece, deviations 0, -10 and 10.
    assert glue.seconds_per_piece == pytest.approx(13)
    assert glue.per_piece_high == pytest.approx(13 + 4.303 * np.sqrt(1.5 * 200) / 30, rel=1e-3)
    assert (between.seconds_per_piece, between.per_piece_low) == (pytest.approx(3), 0)
    assert time.operations["seconds_per_piece"].sum() == pytest.approx(time.per_piece.value)


def test_an_operation_of_two_batches_has_no_range():
    time = batch_time(laps(ROWS), batches(BATCHES), ROUTE, "box")
    assert time.operations["per_piece_low"].isna().all()
    assert time.minutes["per_batch_high"].isna().all()
