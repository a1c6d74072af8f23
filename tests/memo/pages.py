"""Answers to print: the bindery's four scenarios, and a shop whose names are hostile."""

from dataclasses import replace
from functools import cache

import pytest

from analysis.decisions.answer import Answer
from analysis.decisions.model_of import model_of
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.what_if import what_if
from analysis.records.scenario import Helper, Scenario, read_scenario, sure
from tests import demo
from tests.decisions.shops import box_shop

SAMPLES = demo.SAMPLES
RUNS = 7
SCENARIOS = tuple(sorted(path.stem for path in SAMPLES.glob("what_if_*.toml")))
TOLD_SHORT_AND_LONG = (
    "what_if_big_order",
    "what_if_move",
)  # the least and the most there is to say
BY_SCENARIO = tuple(
    pytest.param(name, marks=[] if name in TOLD_SHORT_AND_LONG else [pytest.mark.slow])
    for name in SCENARIOS
)
HOSTILE = (
    '#import "x" <script>alert(1)</script> *bold* _em_ @ref $x^2$ `raw` \\u{41} [a](b) {{ y }} '
    "</style> <img src=x onerror=y> & &amp; // /* 'quoted' --- #{1+1} = ] } ~"
)
LONG = "Werkzeugmaschinen" * 12


@cache
def _bindery() -> tuple[ShopModel, str]:
    shop = demo.shop()
    return model_of(demo.studied(), demo.routing(), shop), shop.currency


@cache
def sample_answer(name: str) -> Answer:
    """By the name of the scenario's file; few runs, since what it says is all the same here."""
    model, currency = _bindery()
    scenario = read_scenario(SAMPLES / f"{name}.toml")
    (answer,) = what_if(model, [scenario], runs=RUNS, currency=currency)
    return answer


@cache
def named(name: str) -> Answer:
    """An answer in which scenario, helper and product bear the name."""
    model = box_shop(300.0)
    line = replace(model.lines[0], product=name)
    skills = {(hand, name, step): skill for (hand, _, step), skill in model.skills.items()}
    skills = {key: replace(skill, level_doubt=0.1) for key, skill in skills.items()}
    helper = Helper(hours_per_week=10, cost_per_hour=12.0, name=name, operations=("cut",))
    scenario = Scenario(name=name, horizon_weeks=12, helper=replace(
        helper, first_unit_factor=sure(1.2)
    ))  # fmt: skip
    (answer,) = what_if(
        replace(model, lines=(line,), skills=skills), [scenario], runs=8, currency="EUR"
    )
    return answer
