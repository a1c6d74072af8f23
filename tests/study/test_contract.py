"""The answer an outside program reads: whole, plain, and the same every time."""

import json
import pathlib
import re
from dataclasses import fields

import numpy as np
import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import Shop, read_shop
from analysis.study.contract import as_contract, plain
from analysis.study.summary import Study, study
from tests.study.building import laps_frame, routing_frame

SAMPLES = pathlib.Path(__file__).parents[2] / "data_samples"
PARTS = {"laps", "operations", "learning", "quality", "rolled_throughput_yield", "takt", "cost",
         "weeks"}  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    shop = read_shop(SAMPLES / "shop.toml")
    return read_laps(SAMPLES / "laps.csv", shop).frame, shop


@pytest.mark.parametrize("shop", [None, Shop()])
@pytest.mark.parametrize("routing", [None, routing_frame([{"operation": "glue"}])])
def test_an_empty_file_has_an_empty_answer_and_no_crash(shop, routing):
    answer = as_contract(study(laps_frame([]), routing, shop))
    json.dumps(answer, allow_nan=False)
    assert set(answer) == PARTS
    assert answer["operations"] == answer["weeks"] == answer["learning"] == []
    assert answer["laps"] == {"read": 0, "used": 0, "set_aside": []}


def test_a_file_of_interruptions_only_has_hours_and_nothing_else():
    laps = laps_frame([{"product": "", "operation": "", "activity": "delay", "seconds": 1800}])
    answer = as_contract(study(laps))
    assert answer["weeks"][0]["bench_hours"] == 0.5
    assert answer["operations"] == answer["quality"] == []


def test_what_is_not_known_is_null_and_a_count_is_whole(demo):
    laps, shop = demo
    answer = as_contract(study(laps.iloc[:1].reset_index(drop=True), None, shop))
    json.dumps(answer, allow_nan=False)
    first = answer["operations"][0]
    assert first["observed_ci95"] is None and first["laps_needed"] is None
    assert isinstance(first["laps"], int)
    assert plain(np.float64("inf")) is None and plain(pd.NaT) is None
    assert plain(pd.Timestamp("2026-11-16")) == "2026-11-16"


def test_the_same_laps_give_the_same_figures_to_the_last_digit(demo):
    laps, shop = demo
    once, again = (as_contract(study(laps, None, shop)) for _ in range(2))
    assert json.dumps(once) == json.dumps(again)


def test_study_leaves_the_laps_it_was_given_as_they_were(demo):
    laps, shop = demo
    before = laps.copy(deep=True)
    study(laps, None, shop)
    pd.testing.assert_frame_equal(laps, before)


def test_the_order_of_the_rows_does_not_change_the_answer(demo):
    laps, shop = demo
    shuffled = laps.sample(frac=1, random_state=4).reset_index(drop=True)
    one, other = study(laps, None, shop), study(shuffled, None, shop)
    pd.testing.assert_frame_equal(one.weeks, other.weeks)
    pd.testing.assert_frame_equal(one.quality, other.quality)
    pd.testing.assert_frame_equal(one.batches, other.batches)
    assert set(one.set_aside["lap_id"]) == set(other.set_aside["lap_id"])


def test_every_field_of_a_study_is_told_where_the_screens_look(demo):
    said = Study.__doc__
    assert [field.name for field in fields(Study) if field.name not in said] == []


def test_every_column_of_a_study_is_told_where_the_screens_look(demo):
    laps, shop = demo
    found = study(laps, None, shop)
    told = set(re.findall(r"[a-z_0-9]+", Study.__doc__))
    untold = [
        (field.name, column)
        for field in fields(Study)
        if field.name != "laps" and isinstance(getattr(found, field.name), pd.DataFrame)
        for column in getattr(found, field.name)
        if column not in told
    ]
    assert untold == []
