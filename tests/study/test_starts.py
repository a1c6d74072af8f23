"""Pieces to start, against a published table, scipy, and batches drawn at random."""

import json
import pathlib

import numpy as np
import pytest
from scipy.stats import binom, nbinom

from analysis.study.quality import quality
from analysis.study.route import routes
from analysis.study.starts import pieces_in_doubt, pieces_to_start, starts
from analysis.study.summary import study
from tests.study.building import laps_frame

REFERENCE = json.loads((pathlib.Path(__file__).parents[1] / "reference/quality.json").read_text())


@pytest.mark.parametrize("case", REFERENCE["negative_binomial"]["cases"])
def test_a_published_table_of_trials_is_found_again(case):
    for chance, pieces in case["pieces"].items():
        got = pieces_to_start(case["more_than"] + 1, case["good_share"], float(chance))
        assert got == pieces


def test_the_number_is_scipy_s_negative_binomial_quantile():
    good, share = np.meshgrid([1, 3, 25, 50, 400], [0.3, 0.8, 0.95, 0.999])
    got = pieces_to_start(good, share)
    assert np.array_equal(got, good + nbinom.ppf(0.95, good, share))
    assert (binom.sf(good - 1, got.astype(int), share) >= 0.95).all()
    assert (binom.sf(good - 1, got.astype(int) - 1, share) < 0.95)[got > good].all()


def test_no_loss_needs_no_spare_and_nothing_but_loss_has_no_number():
    assert pieces_to_start(25, 1.0) == 25
    assert np.isnan(pieces_to_start(25, 0.0))
    assert pieces_to_start(0, 0.5) == 0


def test_doubt_about_the_share_asks_for_more_pieces_than_the_share_itself():
    rng = np.random.default_rng(3)
    shares = rng.beta(45, 5, 4000)
    sure, doubtful = pieces_to_start(50, 0.9), pieces_in_doubt(50, shares)
    assert doubtful > sure
    drawn = rng.binomial(int(doubtful), rng.beta(45, 5, 200_000))
    # 200,000 draws of a chance of .95 stray by .0005; the 4,000 shares behind the number by .003.
    assert (drawn >= 50).mean() >= 0.95 - 4 * 0.0035
    assert pieces_in_doubt(50, np.full(10, 0.9)) == sure


def two_steps(scrap: int, batches: int = 10):
    """Batches of 20 that are cut and glued; every batch loses `scrap` pieces in gluing."""
    rows = []
    for batch in range(batches):
        rows += [
            {"operation": "cut", "seconds": 60, "units": 20, "batch": str(batch),
             "rework_units": 5},
            {"operation": "glue", "seconds": 60, "units": 20, "batch": str(batch),
             "scrap_units": scrap},
        ]  # fmt: skip
    return study(laps_frame(rows))


def counted(found, good: int = 20):
    table = starts(found.quality, found.route, {("box", ""): good}, np.random.default_rng(1))
    return table.iloc[0]


def test_pieces_put_right_are_not_lost_on_the_way():
    """A quarter needs mending, a tenth is lost: only the tenth counts."""
    row = counted(two_steps(scrap=2))
    assert row["good_share"] == pytest.approx(0.9)
    assert row["pieces"] == pieces_to_start(20, 0.9) == 25
    assert row["pieces_low"] <= row["pieces"] <= row["pieces_high"]


def test_no_loss_so_far_is_not_taken_for_no_loss_ever():
    row = counted(two_steps(scrap=0, batches=1))
    assert row["pieces"] == 20
    assert row["good_share_low"] < 1 and row["pieces_high"] > 20


def test_everything_lost_is_said_and_asks_for_no_number():
    row = counted(two_steps(scrap=20))
    assert np.isnan(row["pieces"])
    assert "every piece so far was lost" in row["note"]


def test_batches_good_and_bad_by_turns_ask_for_more_spare_than_even_ones():
    """A batch in five loses eight of twenty, against one of twenty-five in every batch."""

    def rows(losses):
        return [{"operation": "glue", "seconds": 60, "units": 25, "batch": str(batch),
                 "scrap_units": lost} for batch, lost in enumerate(losses)]  # fmt: skip

    uneven = counted(study(laps_frame(rows([0, 0, 0, 0, 10] * 6))))
    even = counted(study(laps_frame(rows([2] * 30))))
    assert uneven["good_share"] == even["good_share"]
    assert uneven["pieces"] == even["pieces"]
    assert uneven["pieces_with_doubt"] > even["pieces_with_doubt"]


def test_an_operation_without_laps_is_named_as_not_known():
    from tests.study.building import routing_frame

    routing = routing_frame([{"operation": "glue"}, {"operation": "wrap", "after": "glue"}])
    laps = laps_frame([{"operation": "glue", "seconds": 60, "units": 20, "scrap_units": 2}])
    row = counted(study(laps, routing))
    assert "1 of 2 operations have no laps" in row["note"]


@pytest.mark.slow
@pytest.mark.parametrize("alike", [0.0, 0.05])
def test_the_number_to_be_sure_is_enough_in_nineteen_of_twenty_next_batches(alike):
    """400 workshops whose true scrap rate is drawn anew, 20 batches of 25 logged in each, and the
    next batch of `pieces_with_doubt` made at that truth; seed fixed beforehand.

    Over 400 runs x 200 next batches the share that comes out with 25 good has a standard error of
    about a point (the workshops count, not the batches). Starting by the measured rates alone is
    printed beside it.
    """
    rng, enough, plain = np.random.default_rng(2026), [], []
    for _ in range(400):
        truth = rng.beta(2, 40)
        chances = np.full(20, truth)
        strength = 1 / alike - 1 if alike else np.inf
        if alike:
            chances = rng.beta(truth * strength, (1 - truth) * strength, 20)
        rows = [
            {
                "operation": "glue",
                "seconds": 60,
                "units": 25,
                "batch": str(n),
                "scrap_units": int(k),
            }
            for n, k in enumerate(rng.binomial(25, chances))
        ]
        laps = laps_frame(rows)
        found = quality(laps, "UTC")
        table = starts(found, routes(laps, None, "UTC"), {("box", ""): 25}, rng).iloc[0]
        after = np.full(200, truth)
        if alike:
            after = rng.beta(truth * strength, (1 - truth) * strength, 200)
        for pieces, kept in ((table["pieces_with_doubt"], enough), (table["pieces"], plain)):
            kept.append((rng.binomial(int(pieces), 1 - after) >= 25).mean())
    print(f"likeness {alike}: in doubt {np.mean(enough):.1%}, measured alone {np.mean(plain):.1%}")
    assert np.mean(enough) >= 0.95 - 2.5 * np.std(enough) / 20
