"""Laps that come in any order and in any parts are the laps of one file."""

import re
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.records.laps import read_laps
from analysis.store.moving import copy_store
from analysis.store.store import Store, open_store
from tests.properties.demo import (
    CLOSE,
    MOST_LAPS,
    SAMPLES,
    answered,
    by,
    few,
    numbers,
    plain,
    some_laps,
)

seeds = st.integers(0, 2**32 - 1)


@few
@given(seeds)
def test_the_order_of_the_rows_of_a_file_changes_no_figure_of_its_laps(seed):
    laps = some_laps()
    order = np.random.default_rng(seed).permutation(len(laps))
    found = answered(laps.iloc[order].reset_index(drop=True))
    for part in ("operations", "quality"):
        old = by(plain()[part], "product", "operation")
        new = by(found[part], "product", "operation")
        assert set(old) == set(new)
        for key, row in old.items():
            for column in ("observed_seconds", "units", "first_pass_yield", "scrap_rate"):
                if column in row:
                    assert new[key][column] == pytest.approx(row[column], rel=CLOSE), (key, column)
    for column in ("good_units", "bench_hours"):
        assert numbers(found["weeks"], column) == pytest.approx(
            numbers(plain()["weeks"], column), rel=CLOSE
        )


def lines(kind: str) -> list[bytes]:
    """The demo's first lines, heading first, as files come: with all, or without offsets or ids."""
    some = (SAMPLES / "laps.csv").read_bytes().splitlines(keepends=True)[: MOST_LAPS + 1]
    if kind == "no offsets":
        return [re.sub(rb"(T\d\d:\d\d:\d\d)[+-]\d\d:\d\d,", rb"\1,", line) for line in some]
    return [line.partition(b",")[2] for line in some] if kind == "no ids" else some


def two_files(kind: str, seed: int) -> tuple[list[bytes], list[bytes]]:
    """Each lap in the one, in the other or in both."""
    heading, *laps = lines(kind)
    sides = np.random.default_rng(seed).choice(["one", "other", "both"], len(laps))
    one, other = (
        [heading, *(lap for lap, side in zip(laps, sides, strict=True) if side in (name, "both"))]
        for name in ("one", "other")
    )
    assert len(one) + len(other) > len(laps) + 2  # some laps are in both
    return one, other


def new_store(url: Path | str) -> Store:
    store = open_store(str(url))
    store.save_shop((SAMPLES / "shop.toml").read_text("utf-8"))
    return store


def take_in(store: Store, file: list[bytes]) -> int:
    """How many laps were new."""
    return store.import_laps(read_laps(b"".join(file), store.shop(), "laps.csv")).new


def told(store: Store) -> tuple[pd.DataFrame, dict]:
    """Its laps by id, and its answer; the store is closed. No two of these laps begin at once:
    among those that do, the one taken in first counts as the first."""
    laps, of_shop = store.laps(), store.shop()
    store.close()
    assert not laps.started_at.duplicated().any()
    plainly = laps.astype(dict.fromkeys(laps.select_dtypes("category"), str))
    return plainly.sort_values("lap_id", ignore_index=True), answered(laps, of_shop)


@cache
def whole(kind: str) -> tuple[pd.DataFrame, dict]:
    """What a store tells that took in all the laps from one file."""
    with tempfile.TemporaryDirectory() as folder:
        store = new_store(Path(folder) / "whole")
        assert take_in(store, lines(kind)) == MOST_LAPS
        return told(store)


def same(found: tuple[pd.DataFrame, dict], wanted: tuple[pd.DataFrame, dict]) -> None:
    pd.testing.assert_frame_equal(found[0], wanted[0])
    assert found[1] == wanted[1]


KINDS = ["all columns", "no offsets", "no ids"]
once = settings(few, max_examples=1)


@pytest.mark.parametrize("kind", KINDS)
@once
@given(seed=seeds, turned=st.booleans())
def test_two_files_in_either_order_are_one_file_and_what_both_have_counts_once(
    tmp_path_factory, kind, seed, turned
):
    folder = tmp_path_factory.mktemp("files")
    files = two_files(kind, seed)
    parts = new_store(folder / "parts")
    new = [take_in(parts, file) for file in (files[::-1] if turned else files)]
    assert sum(new) == MOST_LAPS
    same(told(parts), whole(kind))


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
@once
@given(kind=st.sampled_from(KINDS), seed=seeds)
def test_two_stores_brought_together_are_one_store(database, request, tmp_path_factory, kind, seed):
    """One is copied into an empty store, the other's laps are exported and imported there."""
    folder = tmp_path_factory.mktemp("stores")
    one, other = (new_store(folder / name) for name in ("one", "other"))
    for store, file in zip((one, other), two_files(kind, seed), strict=True):
        take_in(store, file)
    both = open_store(
        str(folder / "both") if database == "sqlite" else request.getfixturevalue("postgres_url")
    )
    copy_store(one, both)
    other.export_laps(folder / "other.csv")
    report = both.import_laps(read_laps(str(folder / "other.csv"), both.shop()))
    assert report.new + report.already_there == other.lap_count()
    same(told(both), whole(kind))
    for store in (one, other):
        store.close()
