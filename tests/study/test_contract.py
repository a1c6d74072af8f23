"""The answer an outside program reads: whole, plain, and the same every time."""

import json
import re
from dataclasses import fields

import numpy as np
import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import Shop, read_shop
from analysis.study.contract import as_contract, plain
from analysis.study.summary import Study, study
from tests import demo as files
from tests.study.building import laps_frame, routing_frame

PARTS = {"laps", "operations", "learning", "quality", "rolled_throughput_yield", "takt", "cost",
         "weeks"}  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    return files.laps(), files.shop()


@pytest.fixture(scope="module")
def once(demo):
    """The study of laps and shop, to be compared and looked at."""
    laps, shop = demo
    return study(laps, None, shop)


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


def test_the_same_laps_give_the_same_figures_and_stay_as_they_were(demo, once):
    """To the last digit."""
    laps, shop = demo
    again = study(laps, None, shop)
    assert json.dumps(as_contract(once)) == json.dumps(as_contract(again))
    pd.testing.assert_frame_equal(laps, read_laps(files.SAMPLES / "laps.csv", shop).frame)


def test_what_one_test_writes_into_the_demo_and_its_study_no_other_sees():
    for given in (files.laps(), files.studied().laps, files.routing()):
        given.loc[:, "seconds"] = 1e9
    files.studied().hours_needed["value"] = 1e9
    object.__setattr__(files.shop(), "currency", "written over")
    read = read_laps(files.SAMPLES / "laps.csv", files.shop()).frame
    pd.testing.assert_frame_equal(files.laps(), read)
    pd.testing.assert_series_equal(files.studied().laps["seconds"], files.laps()["seconds"])
    assert files.routing()["seconds"].max() < 1e9
    assert files.studied().hours_needed["value"] < 1e9
    assert files.shop().currency == read_shop(files.SAMPLES / "shop.toml").currency


def test_the_order_of_the_rows_does_not_change_the_answer(demo, once):
    laps, shop = demo
    shuffled = laps.sample(frac=1, random_state=4).reset_index(drop=True)
    other = study(shuffled, None, shop)
    pd.testing.assert_frame_equal(once.weeks, other.weeks)
    pd.testing.assert_frame_equal(once.quality, other.quality)
    pd.testing.assert_frame_equal(once.batches, other.batches)
    assert set(once.set_aside["lap_id"]) == set(other.set_aside["lap_id"])


def test_every_field_of_a_study_is_told_where_the_screens_look():
    said = Study.__doc__
    assert [field.name for field in fields(Study) if field.name not in said] == []


def test_every_column_of_a_study_is_told_where_the_screens_look(once):
    told = set(re.findall(r"[a-z_0-9]+", Study.__doc__))
    untold = [
        (field.name, column)
        for field in fields(Study)
        if field.name != "laps" and isinstance(getattr(once, field.name), pd.DataFrame)
        for column in getattr(once, field.name)
        if column not in told
    ]
    assert untold == []
