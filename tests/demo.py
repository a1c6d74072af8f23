"""The demo's files and their study, read and made once in each process of the tests.

The same laps give the same study to the last digit (tests/study/test_contract.py); tests read it
and leave it as it is.
"""

from functools import cache
from pathlib import Path

import pandas as pd

from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.shop import Shop, read_shop
from analysis.study.summary import Study, study

SAMPLES = Path(__file__).parents[1] / "data_samples"


@cache
def shop() -> Shop:
    return read_shop(SAMPLES / "shop.toml")


@cache
def routing() -> pd.DataFrame:
    return read_routing(SAMPLES / "routing.csv")


@cache
def laps() -> pd.DataFrame:
    return read_laps(SAMPLES / "laps.csv", shop()).frame


@cache
def studied() -> Study:
    return study(laps(), routing(), shop())


def studied_once(of_laps: pd.DataFrame, of_routing=None, of_shop=None) -> Study:
    """`study`, but that of the demo's own three files is at hand; any others are studied."""
    same = of_shop == shop() and of_routing is not None and of_routing.equals(routing())
    if same and of_laps.equals(laps()):
        return studied()
    return study(of_laps, of_routing, of_shop)
