"""Whatever was logged, pace, care and trials answer, and what they say holds together."""

import warnings

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.study.best_pace import best_paces, rushed_below_seconds, stakes
from analysis.study.care import care
from analysis.study.spoilage import VERDICTS, spoilage
from analysis.study.summary import study
from analysis.study.trial import VERDICTS as TRIAL_VERDICTS
from analysis.study.trial import compare_ways
from tests.examples import examples
from tests.study.building import laps_frame
from tests.study.test_any_laps import LAPS, ROUTING, SHOP


@settings(max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(LAPS, st.booleans(), st.booleans())
def test_any_laps_get_an_honest_answer(rows, with_routing, with_shop):
    laps = laps_frame(rows)
    routing = ROUTING if with_routing else None
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        found = study(laps, routing, SHOP if with_shop else None)
        curves, at_stake = spoilage(found.laps, np.random.default_rng(0)), stakes(found)
        paces, followed = best_paces(curves, at_stake), care(found.laps)
        rushed = rushed_below_seconds(curves, at_stake, found.learning.cells)
        ways = pd.DataFrame(
            {"lap_id": laps["lap_id"], "way": np.resize(["A", "A", "B"], len(laps))}
        )
        tried = compare_ways(found.laps, ways)
    assert curves.curves["verdict"].isin(VERDICTS).all()
    assert (curves.curves["note"].str.len() > 0).all()
    assert curves.curves["faults"].sum() <= curves.curves["pieces"].sum()
    assert len(rushed) == len(found.learning.cells) and len(paces) == len(at_stake)
    assert bool(followed.note) == followed.pairs.empty
    assert tried["verdict"].isin(TRIAL_VERDICTS).all()
