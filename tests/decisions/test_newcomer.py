"""A helper foretold from the maker's laps alone, against the helper's true curves of the demo."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.decisions.model_of import model_of
from analysis.decisions.money import NORMAL_95
from analysis.decisions.newcomer import PEOPLE_DIFFER, newcomer_skills
from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.scenario import Helper
from analysis.records.shop import read_shop
from analysis.study.curves import piece_seconds
from analysis.study.summary import study

SAMPLES = Path(__file__).parents[2] / "data_samples"
TRUTH = json.loads((SAMPLES / "truth.json").read_text())


def seconds(curve, first, exponent, plateau, prior, pieces):
    """All pieces together, from the first."""
    n = np.arange(1, pieces + 1.0)
    return float(np.sum(piece_seconds(curve, n, first, exponent, plateau or 0.0, prior or 0.0)))


@pytest.fixture(scope="module")
def compared():
    """log(true / foretold) and true seconds of each of the helper's operations.

    Foretold from the seven weeks in which the maker worked alone.
    """
    shop = read_shop(SAMPLES / "shop.toml")
    alone = replace(shop, workers=tuple(w for w in shop.workers if w.name == "maker"))
    laps, routing = (
        read_laps(SAMPLES / "laps.csv", shop).frame,
        read_routing(SAMPLES / "routing.csv"),
    )
    start = pd.Timestamp(TRUTH["helper_starts"], tz=shop.timezone).tz_convert("UTC")
    model = model_of(study(laps[laps["started_at"] < start], routing, alone), routing, alone)
    skills = newcomer_skills(model, Helper(10.0, 18.0), "new")
    rows = []
    for cell in TRUTH["cells"]:
        if cell["worker"] == "helper":
            new = skills["new", cell["product"], cell["operation"]]
            made = cell["pieces_made"]
            true = seconds(
                cell["curve"],
                cell["first_unit_seconds"],
                math.log2(cell["learning_rate"]),
                cell["plateau_seconds"],
                cell["prior_pieces"],
                made,
            )
            foretold = seconds(
                new.curve,
                new.first_unit_seconds,
                new.exponent,
                new.plateau_seconds,
                new.prior_pieces,
                made,
            )
            rows.append((math.log(true / foretold), true, foretold))
    return np.array(rows)  # fmt: skip


def test_a_helpers_bench_time_is_foretold_within_the_range_stated(compared):
    true, foretold = compared[:, 1].sum(), compared[:, 2].sum()
    assert abs(math.log(true / foretold)) < NORMAL_95 * PEOPLE_DIFFER


def test_nine_in_ten_operations_of_a_helper_are_foretold_within_the_range_stated(compared):
    assert len(compared) > 10
    assert (np.abs(compared[:, 0]) < NORMAL_95 * PEOPLE_DIFFER).mean() >= 0.9
