"""What a maker is told of their learning, on laps whose truth is known."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.study.curves import CURVES
from analysis.study.forecast import break_cost, next_batch
from analysis.study.learning import CELL_COLUMNS, LAP_COLUMNS, fit_learning
from analysis.study.learning_points import POINT_COLUMNS, learning_points
from analysis.study.pooling import PUBLISHED_EXPONENT, PUBLISHED_SPREAD, guess_at_exponent
from tests.examples import examples
from tests.study.building import laps_frame
from tests.study.known_truth import Truth, laps_of
from tests.study.session_bootstrap import bootstrap_exponents

PLAIN = Truth(products=1, workers=("maker",), long_breaks=())


def only(result):
    assert len(result.cells) == 1
    return result.cells.iloc[0]


@pytest.mark.parametrize("pieces_per_lap", [1, 5])
@pytest.mark.parametrize("curve", CURVES)
def test_without_noise_every_curve_is_found_again(curve, pieces_per_lap):
    truth = replace(PLAIN, curve=curve, learning_rate=0.8, pieces_per_lap=pieces_per_lap)
    laps, experience = laps_of(truth.without_noise())
    cell = only(fit_learning(laps))
    assert cell.curve == curve
    assert cell.first_unit_seconds == pytest.approx(120.0, rel=1e-4)
    assert cell.learning_rate == pytest.approx(1.0 if curve == "constant" else 0.8, rel=1e-4)
    after = experience["product 0", "maker"]
    assert cell.next_unit_seconds == pytest.approx(truth.piece_seconds(after), rel=1e-4)
    if curve == "plateau":
        assert cell.plateau_seconds == pytest.approx(48.0, rel=1e-3)
    else:
        assert np.isnan(cell.plateau_seconds)
        assert not cell.plateau_identifiable


@pytest.mark.parametrize("pieces_per_lap", [1, 5])
def test_without_noise_what_breaks_and_restarts_cost_is_found_again(pieces_per_lap):
    truth = replace(
        PLAIN, long_breaks=(3, 7), retention=0.85, restart=0.3, pieces_per_lap=pieces_per_lap
    )
    laps, _ = laps_of(truth.without_noise())
    cell = only(fit_learning(laps))
    # The retention is read off a valley by a parabola, and the curve and restart effect follow.
    assert cell.retention_per_week == pytest.approx(0.85, abs=0.005)
    assert cell.restart_effect == pytest.approx(0.3, abs=0.01)
    assert cell.learning_rate == pytest.approx(0.85, abs=0.005)
    assert cell.two_week_break_seconds > 0
    assert cell.two_week_break_batch_seconds > 10 * cell.two_week_break_seconds


def test_a_restart_effect_nobody_can_tell_is_neither_claimed_nor_counted_twice():
    """Laps of whole batches: what restarts cost is in their mean, and must not be added to it."""
    truth = replace(PLAIN, curve="constant", restart=0.5, pieces_per_lap=25)
    result = fit_learning(laps_of(truth.without_noise())[0])
    assert np.isnan(only(result).restart_effect)
    batch = 25 * truth.first_unit_seconds * truth.usual_restart
    assert next_batch(result.fits, 25)[0] == pytest.approx(batch, rel=1e-6)


def test_forgetting_is_not_claimed_where_nobody_was_away():
    cell = only(fit_learning(laps_of(PLAIN)[0]))
    assert np.isnan(cell.retention_per_week)
    assert np.isnan(cell.two_week_break_seconds)


def test_a_rising_time_is_called_constant_not_negative_learning():
    rows = [{"seconds": 60 * (n + 1) ** 0.2, "batch": str(n // 10)} for n in range(60)]
    cell = only(fit_learning(laps_frame(rows)))
    assert cell.curve == "constant"
    assert cell.learning_rate == 1.0
    assert cell.learning_rate_low <= 1.0 <= cell.learning_rate_high
    assert np.isnan(cell.plateau_seconds)


def test_present_time_of_a_steady_study_of_one_sitting_is_simply_seconds_over_pieces():
    """The stopwatch study of the books: twenty readings in a row, and their mean."""
    rng = np.random.default_rng(3)
    seconds = 62 * rng.uniform(0.85, 1.15, 20)
    cell = only(fit_learning(laps_frame([{"seconds": s, "units": 2} for s in seconds])))
    assert (cell.curve, cell.laps) == ("constant", 20)
    assert cell.present_seconds == pytest.approx(seconds.mean() / 2, rel=1e-12)


@pytest.mark.parametrize("seeds", [16, pytest.param(40, marks=pytest.mark.slow)])
def test_practice_that_does_not_show_still_counts_by_how_likely_it_is(seeds):
    """A rate of 96 % over six unlike batches seldom shows at p < .05, and the mean of all laps then
    lies some 6 % above where the worker stands. Steady and falling being equally likely before,
    about half of that must go; asked is a quarter, over the seeds together."""
    truth = replace(PLAIN, learning_rate=0.96, sigma=0.15, tau=0.12, batches=6, pieces_per_lap=5)
    stated, plain = [], []
    for seed in range(seeds):
        laps, after = laps_of(truth, np.random.default_rng(900 + seed))
        result = fit_learning(laps)
        if only(result).curve == "constant":
            true = truth.piece_seconds(after["product 0", "maker"] - 1)
            used = ~result.laps["suspicious"]
            stated.append(only(result).present_seconds / true - 1)
            plain.append(laps["seconds"][used].sum() / laps["units"][used].sum() / true - 1)
    assert len(stated) > seeds / 2
    assert 0 < np.mean(stated) < 0.75 * np.mean(plain)


def with_a_later_lap(laps, weeks):
    """The laps, and an interruption so many weeks after the end of the last."""
    last = laps.iloc[-1]
    at = last["started_at"] + pd.Timedelta(seconds=last["seconds"]) + pd.Timedelta(weeks=weeks)
    later = laps.iloc[[-1]].assign(started_at=at.as_unit("us"), lap_id="later", row=len(laps) + 2)
    both = pd.concat([laps, later], ignore_index=True)
    activity = [*laps["activity"].astype(str), "delay"]
    return both.assign(activity=pd.Categorical(activity))


def test_practice_that_has_rested_is_taken_down_to_the_files_last_lap():
    """The retention found at two breaks also holds for the six weeks since the work was done."""
    truth = replace(PLAIN, retention=0.85, long_breaks=(4, 8), batches=14)
    laps, experience = laps_of(truth.without_noise())
    fresh, rested = (only(fit_learning(each)) for each in (laps, with_a_later_lap(laps, 6)))
    assert (fresh.weeks_rested, rested.weeks_rested) == (0, pytest.approx(6))
    left = (experience["product 0", "maker"] - 1) * 0.85**6
    assert rested.present_seconds == pytest.approx(truth.piece_seconds(left), rel=0.01)
    assert rested.next_unit_seconds == pytest.approx(fresh.next_unit_seconds)
    assert abs(rested.present_loss_error) > abs(fresh.present_loss_error)


def test_where_nobody_was_seen_to_forget_nothing_is_taken_off_but_a_doubt_is_added():
    laps, _ = laps_of(PLAIN, np.random.default_rng(5))
    fresh, rested = (only(fit_learning(each)) for each in (laps, with_a_later_lap(laps, 6)))
    assert np.isnan(rested.retention_per_week)
    assert rested.present_seconds == pytest.approx(fresh.present_seconds)
    width = [cell.present_high / cell.present_low for cell in (fresh, rested)]
    assert width[1] > 1.05 * width[0]


@pytest.mark.parametrize("batch", ["", "1"])
def test_steady_laps_of_whole_batches_straight_on_are_not_made_a_guess(batch):
    """160 laps of 25 pieces one after another: the level is known as well as its days tell."""
    rng = np.random.default_rng(10_500)
    seconds = 25 * 62 * np.exp(0.06 * rng.standard_normal(160))
    rows = [{"seconds": s, "units": 25, "batch": batch} for s in seconds]
    laps = laps_frame(rows)
    ends = pd.Timestamp("2026-03-02T09:00Z") + pd.to_timedelta(np.cumsum(seconds), unit="s")
    laps["started_at"] = (ends - pd.to_timedelta(seconds, unit="s")).as_unit("us")
    cell = only(fit_learning(laps))
    assert cell.curve == "constant"
    assert 50 < cell.present_low < 62 < cell.present_high < 76


def test_no_laps_at_all_give_an_empty_table():
    result = fit_learning(laps_of(PLAIN)[0].iloc[:0])
    assert list(result.cells.columns) == CELL_COLUMNS
    assert list(result.laps.columns) == LAP_COLUMNS
    assert result.cells.empty
    assert learning_points(result, laps_of(PLAIN)[0].iloc[:0]).empty


@pytest.mark.parametrize("laps", [1, 2, 3, 4])
def test_a_few_laps_get_an_honest_too_few_and_a_wide_guess(laps):
    seconds = [100.0, 88.0, 91.0, 80.0][:laps]
    cell = only(fit_learning(laps_frame([{"seconds": s, "batch": "1"} for s in seconds])))
    assert cell.pooled
    assert "too few" in cell.note
    assert cell.curve == "constant"
    assert cell.learning_rate == 1.0
    assert cell.next_unit_low < 0.75 * cell.next_unit_seconds
    assert cell.next_unit_high > 1.3 * cell.next_unit_seconds
    mean = np.mean(seconds)
    assert cell.first_unit_seconds == pytest.approx(mean)
    assert cell.next_unit_seconds == pytest.approx(mean)
    assert cell.present_seconds == pytest.approx(mean)
    assert 0 < cell.pooled_next_unit_seconds < mean


def test_the_guess_for_thin_data_leans_on_the_shops_own_operations():
    steep = replace(Truth(), products=4, learning_rate=0.7, workers=("maker",), long_breaks=())
    laps, _ = laps_of(steep, np.random.default_rng(1))
    thin = laps["product"] == "product 3"
    keep = ~thin | (np.cumsum(thin) <= 3)
    cells = fit_learning(laps[keep].reset_index(drop=True)).cells.set_index("product")
    alone = fit_learning(laps[thin & keep].reset_index(drop=True)).cells.iloc[0]
    guess = cells.loc["product 3"]
    assert guess.pooled
    assert guess.pooled_next_unit_seconds < alone.pooled_next_unit_seconds
    assert "your other operations" in guess.note
    assert "published studies alone" in alone.note


def test_two_workers_cannot_narrow_the_spread_between_operations():
    """Its centre moves with the shop's own exponents; its width stays the published one or more."""
    two = guess_at_exponent(np.array([-0.5, -0.52]), np.array([0.001, 0.001]))
    assert two.deviation >= PUBLISHED_SPREAD
    assert -0.52 < two.exponent < PUBLISHED_EXPONENT
    nobody = guess_at_exponent(np.array([np.nan]), np.array([0.1]))
    assert nobody.exponent == PUBLISHED_EXPONENT


def with_seconds(laps, position, seconds):
    laps = laps.copy()
    laps.loc[position, "seconds"] = seconds
    return laps


def test_laps_that_get_slower_are_said_to_and_the_next_may_be_as_slow_as_the_last():
    """A blade goes blunt: 60 laps rise from 30 to 42 s. No learning curve follows that, so it is
    noise about the level, and the interval must not be that of the noise about the rise."""
    rng = np.random.default_rng(7)
    seconds = np.linspace(30, 42, 60) * np.exp(rng.normal(0, 0.02, 60))
    cell = only(fit_learning(laps_frame([{"seconds": each} for each in seconds])))
    assert cell.curve == "constant" and "got slower" in cell.note
    assert cell.next_unit_low < seconds[-1] < cell.next_unit_high


def test_laps_all_alike_are_not_said_to_get_slower():
    cell = only(fit_learning(laps_frame([{"seconds": 30.0}] * 40)))
    assert cell.curve == "constant" and "no effect of practice" in cell.note


def test_a_forgotten_stop_is_set_aside_and_moves_no_figure_much():
    laps, _ = laps_of(PLAIN, np.random.default_rng(3))
    spoiled = with_seconds(laps, 120, laps["seconds"][120] * 20)
    clean, result = fit_learning(laps), fit_learning(spoiled)
    assert result.laps["suspicious"][120]
    assert result.laps["residual_z"][120] > 3.5
    assert result.laps["suspicious"].sum() <= clean.laps["suspicious"].sum() + 1
    change = only(result).present_seconds / only(clean).present_seconds
    assert change == pytest.approx(1.0, abs=0.02)
    assert only(result).pieces_made == 250


def test_a_learners_slow_first_laps_are_never_thrown_away():
    """On a 65 % curve the first piece takes ten times as long as the later ones."""
    for seed in range(10):
        truth = replace(PLAIN, learning_rate=0.65)
        laps, _ = laps_of(truth, np.random.default_rng(seed))
        assert laps["seconds"][0] > 6 * laps["seconds"].median()
        assert not fit_learning(laps).laps["suspicious"][:5].any()


def test_a_slow_session_is_work_and_not_a_mistake_of_the_watch():
    laps, _ = laps_of(PLAIN, np.random.default_rng(5))
    slow = laps["batch"] == "batch 6"
    laps.loc[slow, "seconds"] *= 1.6
    assert fit_learning(laps).laps["suspicious"][slow].mean() < 0.1


def test_laps_that_are_all_equal_but_one_point_at_that_one():
    laps = laps_frame([{"seconds": 60.0} for _ in range(30)])
    laps.loc[17, "seconds"] = 600.0
    assert np.flatnonzero(fit_learning(laps).laps["suspicious"]).tolist() == [17]


def test_hundredths_of_a_second_are_no_reason_for_suspicion():
    seconds = np.full(40, 60.0)
    seconds[::7] += 0.01
    result = fit_learning(laps_frame([{"seconds": s} for s in seconds]))
    assert not result.laps["suspicious"].any()


def test_figures_of_a_lap_stand_on_that_laps_own_index():
    laps, _ = laps_of(replace(Truth(), batches=4), np.random.default_rng(2))
    laps = laps.sample(frac=1, random_state=1)
    result = fit_learning(laps)
    assert result.laps.index.equals(laps.index)
    ratio = laps["seconds"] / result.laps["expected_seconds"]
    assert ratio.median() == pytest.approx(1.0, abs=0.05)
    named = result.cells.loc[result.laps["cell"], "worker"].to_numpy()
    assert (named == laps["worker"].astype(str).to_numpy()).all()


def test_laps_that_are_no_practice_have_no_expectation():
    laps = laps_frame([{"seconds": 60.0 + n} for n in range(6)] + [{"seconds": 9.0}])
    laps["activity"] = pd.Categorical(["operation"] * 6 + ["delay"])
    last = fit_learning(laps).laps.iloc[-1]
    assert last["cell"] == -1
    assert np.isnan(last["expected_seconds"])
    assert not last["suspicious"]


TIMES = [
    "first_unit_seconds",
    "next_unit_seconds",
    "next_unit_low",
    "next_unit_high",
    "present_seconds",
    "present_low",
    "present_high",
    "next_batch_seconds",
]


@settings(max_examples=examples(15), deadline=None)
@given(seed=st.integers(0, 1000), factor=st.floats(0.5, 1.0))
def test_a_quicker_watch_changes_the_times_and_nothing_else(seed, factor):
    """All seconds times one factor; with no long breaks and a batch a day, no pause between laps
    crosses the half hour that ends a spell."""
    truth = replace(Truth(), products=2, batches=6, long_breaks=(), restart=0.1)
    laps, _ = laps_of(truth, np.random.default_rng(seed))
    one = fit_learning(laps).cells
    other = fit_learning(laps.assign(seconds=laps["seconds"] * factor)).cells
    assert (one["curve"] == other["curve"]).all()
    assert other[TIMES].to_numpy() == pytest.approx(factor * one[TIMES].to_numpy(), rel=1e-6)
    same = ["learning_rate", "learning_rate_low", "restart_effect", "lap_noise", "practice_p"]
    assert other[same].to_numpy() == pytest.approx(one[same].to_numpy(), rel=1e-5, abs=1e-9)


@settings(max_examples=examples(15), deadline=None)
@given(seed=st.integers(0, 1000))
def test_the_order_of_the_rows_in_the_file_changes_nothing(seed):
    laps, _ = laps_of(replace(Truth(), products=2, batches=5), np.random.default_rng(seed))
    mixed = laps.sample(frac=1, random_state=seed)
    one, other = fit_learning(laps), fit_learning(mixed)
    pd.testing.assert_frame_equal(one.cells, other.cells)
    pd.testing.assert_frame_equal(one.laps, other.laps.loc[one.laps.index])


@settings(max_examples=examples(40), deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(1e-3, 86400),
            st.integers(1, 200),
            st.integers(0, 60),
            st.sampled_from(["", "1", "2"]),
            st.sampled_from(["maker", "helper"]),
        ),
        max_size=25,
    )
)
def test_no_laps_whatever_bring_it_down(rows):
    start = pd.Timestamp("2026-03-02T09:00Z")
    laps = laps_frame(
        [
            {
                "seconds": seconds,
                "units": units,
                "batch": batch,
                "worker": worker,
                "started_at": start + pd.Timedelta(days=day),
            }
            for seconds, units, day, batch, worker in rows
        ]
    )
    result = fit_learning(laps)
    cells = result.cells
    finite = cells[["first_unit_seconds", "next_unit_seconds", "present_seconds", "learning_rate"]]
    assert np.isfinite(finite.to_numpy(float)).all()
    for name in ("next_unit", "present", "next_batch", "plateau"):
        low, value, high = (cells[f"{name}_{end}"] for end in ("low", "seconds", "high"))
        assert ((low <= value) & (value <= high) | value.isna()).all()
    low, rate, high = (cells[f"learning_rate{end}"] for end in ("_low", "", "_high"))
    assert ((low <= rate) & (rate <= high)).all()
    kept = cells["retention_per_week"]
    within = (cells["retention_low"] <= kept) & (kept <= cells["retention_high"])
    assert (within | kept.isna()).all()
    learning_points(result, laps)


def test_the_next_batch_is_forecast_with_its_own_spread_and_a_break_before_it_costs_more():
    truth = replace(Truth(), retention=0.85, restart=0.2)
    fits = fit_learning(laps_of(truth, np.random.default_rng(7))[0]).fits
    at_once, low, high = next_batch(fits, 25)
    assert (low < at_once).all()
    assert (at_once < high).all()
    # 25 pieces share their session's noise but not their own: surer than one piece, not 5 times so
    width = np.log(high / low)
    assert (width < np.log(np.divide(*next_batch(fits, 1)[:0:-1]))).all()
    assert (next_batch(fits, 25, weeks_away=3)[0] > at_once).all()
    first, batch = break_cost(fits, 2.0, 25)
    assert (first > 0).all()
    assert (batch > first).all()
    assert break_cost(fits, 2.0, 25, retention=1.0)[1] == pytest.approx(0.0, abs=1e-9)


def test_the_interval_of_the_learning_rate_agrees_with_a_bootstrap_of_whole_sessions():
    """Forty sessions of ten laps: two ways to one interval, each uncertain by about a tenth."""
    truth = replace(PLAIN, batches=40, batch_size=10)
    laps, _ = laps_of(truth, np.random.default_rng(11))
    cell = only(fit_learning(laps))
    drawn = bootstrap_exponents(
        np.log(np.arange(1.0, 401)), np.log(laps["seconds"].to_numpy()), np.arange(0, 400, 10),
        4000, np.random.default_rng(1),
    )  # fmt: skip
    low, high = np.exp2(np.quantile(drawn, [0.025, 0.975]))
    assert cell.learning_rate_low < truth.learning_rate < cell.learning_rate_high
    width = cell.learning_rate_high - cell.learning_rate_low
    assert 0.7 < width / (high - low) < 1.5


def test_a_long_history_is_drawn_with_few_points_that_are_means_of_what_was_seen():
    truth = replace(Truth(), batches=40)
    laps, _ = laps_of(truth, np.random.default_rng(7))
    result = fit_learning(laps)
    points = learning_points(result, laps)
    assert list(points.columns) == POINT_COLUMNS
    assert points.groupby(["product", "worker"]).size().max() <= 60
    seen = points[~points["ahead"].astype(bool)]
    used = laps[~result.laps["suspicious"]]
    assert seen["laps"].sum() == len(used)
    total = (seen["observed_seconds"] * seen["pieces"]).sum()
    assert total == pytest.approx(used["seconds"].sum())
    assert (points["fitted_low"] < points["fitted_seconds"]).all()
    assert (points["fitted_seconds"] < points["fitted_high"]).all()
    assert points[points["ahead"].astype(bool)]["observed_seconds"].isna().all()


def test_learning_loads_no_slow_library():
    """statsmodels and scipy.stats take longer to import than all else together."""
    code = (
        "import sys; sys.path.insert(0, '.');"
        "from tests.study.known_truth import *; from analysis.study.learning import fit_learning;"
        "fit_learning(laps_of(Truth())[0]);"
        "assert not {'statsmodels', 'scipy.stats', 'scipy.optimize'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
