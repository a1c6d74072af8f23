"""Names mean nothing to the calculations: with other names every figure stays."""

import dataclasses

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.laps import CATEGORIES
from analysis.records.shop import Shop
from tests.properties.demo import CLOSE, answered, few, plain, shop, some_laps

NAMED = {  # kind of name: the columns of the laps that hold it
    "product": ["product"], "variant": ["variant"], "operation": ["operation", "cause_operation"],
    "worker": ["worker"], "batch": ["batch"], "cause": ["cause"],
}  # fmt: skip
IN_THE_ANSWER = {"product": "product", "variant": "variant", "operation": "operation",
                 "worker": "worker", "bottleneck": "operation"}  # fmt: skip
# Drawn from one stream, operation by operation in the order of their names: with names in another
# order these differ by the noise of their draws.
DRAWN = {"work_content_ci95", "bottleneck_probability", "cost_ci95", "earned_per_hour_ci95"}
words = st.text("abzÄé19 ='\"<&%_.-", min_size=1, max_size=6).map(str.strip).filter(bool)
# What a reader of tables might take for something else than a name.
odd = st.sampled_from(["nan", "None", "NA", "0", "1e5", "true", "2026-03-02", "setup", "operation"])


def names_of(kind: str) -> list[str]:
    """All names of a kind in the laps and in the shop, in order."""
    held = {name for column in NAMED[kind] for name in some_laps()[column].astype(str)}
    of_shop = {
        "product": [one.name for one in shop().products],
        "variant": [one.variant for one in shop().products],
        "worker": [one.name for one in shop().workers],
    }
    return sorted({*held, *of_shop.get(kind, [])} - {""})


@st.composite
def other_names(draw, in_order: bool) -> dict[str, dict[str, str]]:
    """By kind, another name for each; `in_order`: they sort as those they replace."""
    found = {}
    for kind in NAMED:
        old = names_of(kind)
        new = draw(st.lists(words | odd, min_size=len(old), max_size=len(old), unique=True))
        found[kind] = {"": ""} | dict(zip(old, sorted(new) if in_order else new, strict=True))
    return found


def renamed_laps(names: dict) -> pd.DataFrame:
    laps = some_laps()
    texts = {column: laps[column].astype(str).map(names[kind])
             for kind, columns in NAMED.items() for column in columns}  # fmt: skip
    return laps.assign(**texts).astype(dict.fromkeys(CATEGORIES, "category"))


def renamed_shop(names: dict) -> Shop:
    workers = (dataclasses.replace(one, name=names["worker"][one.name]) for one in shop().workers)
    products = (
        dataclasses.replace(
            one, name=names["product"][one.name], variant=names["variant"][one.variant]
        )
        for one in shop().products
    )
    return dataclasses.replace(shop(), workers=tuple(workers), products=tuple(products))


def renamed(answer: dict, names: dict) -> dict:
    """An answer of the old names as it should be of the new ones."""

    def row(one: dict) -> dict:
        return one | {
            column: names[kind][one[column]]
            for column, kind in IN_THE_ANSWER.items()
            if one.get(column) is not None
        }

    of_products = answer["rolled_throughput_yield"].items()
    return {
        part: [row(one) for one in rows] for part, rows in answer.items() if isinstance(rows, list)
    } | {
        "laps": answer["laps"],
        "rolled_throughput_yield": {names["product"][name]: one for name, one in of_products},
    }


@few
@given(other_names(in_order=True))
def test_other_names_that_sort_alike_change_no_digit(names):
    found = answered(renamed_laps(names), renamed_shop(names))
    assert found == renamed(plain(), names)


@few
@given(other_names(in_order=False))
def test_other_names_in_any_order_change_no_figure_but_the_noise_of_what_is_drawn(names):
    found = answered(renamed_laps(names), renamed_shop(names))
    wanted = renamed(plain(), names)
    assert found["laps"] == wanted["laps"]
    assert found["rolled_throughput_yield"] == pytest.approx(wanted["rolled_throughput_yield"])
    for part in ("operations", "learning", "quality", "takt", "cost", "weeks"):
        new, old = by_name(found[part]), by_name(wanted[part])
        assert new.keys() == old.keys()
        for key, row in old.items():
            for column in row.keys() - DRAWN:
                assert new[key][column] == about(row[column]), (part, key, column)


def by_name(rows: list[dict]) -> dict[tuple, dict]:
    """The rows by all that names them; their order follows the names."""
    keys = ("product", "variant", "operation", "worker", "week_start")
    return {tuple(row.get(key) for key in keys): row for row in rows}


def about(value):
    """The same but for rounding: sums are taken in the order of the names."""
    is_number = isinstance(value, float | list)
    return pytest.approx(value, rel=CLOSE, abs=1e-12) if is_number else value
