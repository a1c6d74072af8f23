"""The demo's first laps and their study, for properties that hold of any laps; whoever asks is
given a copy of their own."""

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, Phase, settings

from analysis.records.shop import Shop
from analysis.study.contract import as_contract
from analysis.study.summary import study
from tests import demo

SAMPLES, shop = demo.SAMPLES, demo.shop
MOST_LAPS = 120  # a study of them takes a part of a second
few = settings(
    max_examples=2, phases=[Phase.generate], deadline=None, suppress_health_check=list(HealthCheck)
)
# Sums are taken in another order and in other units: 1e-6 is far above rounding and far below
# anything a maker could see. Fitted curves stop at their own tolerance and are left out.
CLOSE = 1e-6


def some_laps() -> pd.DataFrame:
    """The demo's first laps."""
    return demo.laps().iloc[:MOST_LAPS]


def answered(laps: pd.DataFrame, of_shop: Shop | None = None) -> dict:
    """What `study --json` prints of laps and a shop, the demo's where none is given."""
    return as_contract(study(laps, None, of_shop or shop()))


@demo.made_once
def plain() -> dict:
    """The answer of the laps and the shop as they are."""
    return answered(some_laps())


def by(rows: list[dict], *keys: str) -> dict:
    return {tuple(row[key] for key in keys): row for row in rows}


def numbers(rows: list[dict], column: str) -> list:
    return [np.nan if row[column] is None else row[column] for row in rows]
