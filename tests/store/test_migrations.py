"""Stores of earlier versions: brought up to date by code that stays as it was in their day."""

import ast
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa

from analysis.store.connection import open_engine
from analysis.store.schema import MIGRATIONS, bring_up_to_date

COLUMNS = ("change_id", "ended_by", "lap_id", "started_at", "seconds", "product", "operation",
           "worker", "variant", "batch", "activity", "cause", "cause_operation", "note", "units",
           "rework_units", "scrap_units", "rating")  # fmt: skip


def micros(*moment):
    return int(datetime(*moment, tzinfo=UTC).timestamp() * 1_000_000)


def lap(lap_id, started_at, seconds, operation="sew", ended_by=None, **columns):
    given = {
        "change_id": 1, "ended_by": ended_by, "lap_id": lap_id, "started_at": started_at,
        "seconds": seconds, "product": "pocket notebook", "operation": operation,
        "worker": "maker", "activity": "operation", "units": 1, "rework_units": 0,
        "scrap_units": 0, "rating": 100.0,
    }  # fmt: skip
    return dict.fromkeys(COLUMNS, "") | given | columns


@pytest.fixture
def old(tmp_path):
    """A store of version 1, as it stood: made by its migration, filled in plain SQL."""
    engine = open_engine(str(tmp_path / "old.sqlite"))
    bring_up_to_date(engine, "0001")
    with engine.begin() as connection:
        connection.execute(sa.text("INSERT INTO change (at, kind, what) VALUES (0, 'import', '')"))
    yield engine
    engine.dispose()


def fill(engine, laps, shop=None):
    names, values = ", ".join(COLUMNS), ", ".join(f":{name}" for name in COLUMNS)
    with engine.begin() as connection:
        connection.execute(sa.text(f"INSERT INTO lap ({names}) VALUES ({values})"), laps)
        if shop is not None:
            document = "INSERT INTO document (change_id, name, text) VALUES (1, 'shop', :text)"
            connection.execute(sa.text(document), {"text": shop})


def totals(engine):
    """What the day totals say, day by day, worked out by the migration alone."""
    bring_up_to_date(engine, "0002")
    query = "SELECT day, operation, laps, units, rework_units, scrap_units, micros FROM day_total"
    with engine.connect() as connection:
        rows = connection.execute(sa.text(f"{query} ORDER BY day, operation")).all()
    return [(date.fromordinal(date(1970, 1, 1).toordinal() + row[0]), *row[1:]) for row in rows]


AUCKLAND = '[shop]\ntimezone = "Pacific/Auckland"\n'  # 13 hours ahead of UTC in March 2026


def test_an_old_stores_laps_count_on_the_days_of_the_shop_and_those_taken_away_count_nowhere(old):
    fill(
        old,
        [
            lap("a", micros(2026, 3, 2, 10, 59, 59), 60.5, units=5, rework_units=1),
            lap("b", micros(2026, 3, 2, 11), 0.1, units=25, scrap_units=2),
            lap("c", micros(2026, 3, 3, 1), 0.2, units=25),
            lap("d", micros(2026, 3, 3, 1), 30, "trim"),
            lap("e", micros(2026, 3, 3, 1), 1000, ended_by=1),
            lap("f", micros(1950, 1, 1, 0), 7),
        ],
        AUCKLAND,
    )
    assert totals(old) == [
        (date(1950, 1, 1), "sew", 1, 1, 0, 0, 7_000_000),
        (date(2026, 3, 2), "sew", 1, 5, 1, 0, 60_500_000),
        (date(2026, 3, 3), "sew", 2, 50, 0, 2, 300_000),
        (date(2026, 3, 3), "trim", 1, 1, 0, 0, 30_000_000),
    ]


@pytest.mark.parametrize("shop", [None, "", '[shop]\nname = "The bindery"\n'])
def test_an_old_store_whose_shop_names_no_zone_has_the_days_of_utc(old, shop):
    fill(old, [lap("a", micros(2026, 3, 2, 23, 59), 5), lap("b", micros(2026, 3, 3), 5)], shop)
    assert [row[0] for row in totals(old)] == [date(2026, 3, 2), date(2026, 3, 3)]


def test_an_old_store_without_laps_has_no_totals(old):
    assert totals(old) == []


def test_no_migration_changes_when_the_program_does():
    for file in (MIGRATIONS / "versions").glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.Import | ast.ImportFrom):
                named = [node.module] if isinstance(node, ast.ImportFrom) else [
                    alias.name for alias in node.names]  # fmt: skip
                assert not any((name or "analysis").startswith("analysis") for name in named), file
