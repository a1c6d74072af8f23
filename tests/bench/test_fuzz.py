"""Anything may be sent: the answer is a plain refusal or a lap that the contract allows."""

import json
from datetime import UTC, datetime, timedelta, timezone

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from analysis.bench.posted import Malformed, Refused, check_lap
from analysis.bench.receiving import read_delivery
from analysis.problems import BadInput
from analysis.records.laps import ACTIVITIES, CATEGORIES, COUNTS, check_laps
from analysis.store import tables
from tests.bench.serving import lap

SENT = tuple(lap())
anything = some.recursive(
    some.none() | some.booleans() | some.integers() | some.floats() | some.text(),
    lambda inner: (
        some.lists(inner, max_size=4)
        | some.dictionaries(some.text(max_size=5) | some.sampled_from(SENT), inner, max_size=4)
    ),
    max_leaves=12,
)
nearly_a_lap = some.dictionaries(some.sampled_from(SENT), anything, max_size=4).map(
    lambda changes: lap() | changes
)


any_bytes = some.binary(max_size=300) | some.text(max_size=300).map(
    lambda text: text.encode("utf-8", "replace")
)


def body(entries) -> bytes:
    sent = {"device": "phone-0001", "sent_at": "2026-03-02T09:15:00+00:00", "laps": entries}
    return json.dumps(sent).encode()  # with NaN and Infinity, as only some programs write them


patient = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


@patient
@given(any_bytes)
def test_any_bytes_are_refused_plainly(raw):
    with pytest.raises(Malformed):
        read_delivery("laps", raw, 0)


@patient
@given(anything)
def test_any_json_is_refused_plainly_or_taken(content):
    try:
        read_delivery("laps", json.dumps(content).encode(), 0)
    except Malformed as problem:
        assert str(problem)


@patient
@given(some.lists(nearly_a_lap | anything, max_size=5))
def test_each_entry_is_either_taken_or_given_back(entries):
    try:
        taken = read_delivery("laps", body(entries), 0)
    except Malformed:
        return  # NaN and the like are no JSON: the whole goes back
    assert len(taken.delivery.entries) + len(taken.refused) == len(entries)
    answer = json.dumps(taken.answer(), allow_nan=False)
    assert all(one["column"] in (*SENT, "") for one in json.loads(answer)["refused"])
    for one in taken.delivery.entries:
        assert set(one.content) == (set() if one.removed else set(tables.CONTENT))


# A word as it may be typed: letters, spaces, signs, but no apostrophe in front, which a file of
# laps (and only that) takes for a guard against spreadsheets.
word = some.text(some.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=12).filter(
    lambda text: not text.strip().startswith("'")
)
moment = some.datetimes(
    datetime(1900, 1, 2), datetime(2199, 12, 30),  # noqa: DTZ001 (the zone is drawn)
    timezones=some.integers(-23 * 60, 23 * 60).map(lambda m: timezone(timedelta(minutes=m))),
)  # fmt: skip
written_lap = some.fixed_dictionaries({
    "started_at": moment.map(datetime.isoformat),
    "seconds": some.floats(-1, 90_000) | some.integers(-1, 90_000),
    "activity": some.sampled_from((*ACTIVITIES, "", "rest", "Setup")),
    **{name: word for name in CATEGORIES if name != "activity"},
    "note": word,
    **{name: some.integers(-1, 5) for name in COUNTS},
    "rating": some.floats(45, 155),
})  # fmt: skip


@patient
@given(written_lap)
def test_a_phone_s_lap_is_judged_as_a_file_s_lap_is(written):
    sent = lap(**written)
    try:
        by_phone = check_lap(sent).content
    except Refused:
        by_phone = None
    assert by_phone == _by_file(sent)


def _by_file(sent: dict) -> dict | None:
    """The lap by the rules of a file (records/laps.py), None where it is refused."""
    columns = [name for name in sent if name not in ("revision", "removed", "flags")]
    try:
        frame = check_laps(pd.DataFrame([{name: str(sent[name]) for name in columns}]), "f").frame
    except BadInput:
        return None
    row = frame.iloc[0]
    micros = (row.started_at.to_pydatetime() - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(
        microseconds=1
    )
    return {name: micros if name == "started_at" else row[name] for name in tables.CONTENT}
