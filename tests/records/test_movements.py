"""Stock movements: what was counted, sold and put away, and what is wrong by its row."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.problems import BadInput
from analysis.records.movements import COLUMNS, KINDS, read_movements
from analysis.records.shop import Shop

SAMPLE = Path(__file__).parents[2] / "data_samples" / "stock_movements.csv"
HEADER = "moved_at,kind,product,pieces\n"


def test_the_demos_movements_are_read_each_with_its_instant():
    movements = read_movements(SAMPLE)
    assert tuple(movements.columns) == COLUMNS
    assert set(movements["kind"]) == set(KINDS)
    assert len(movements) == len(SAMPLE.read_text().splitlines()) - 1
    assert str(movements.moved_at.dtype) == "datetime64[us, UTC]"
    assert movements.moved_at[0] == pd.Timestamp("2026-10-18T15:00:00Z")


def test_a_movement_without_an_offset_is_in_the_shops_zone():
    data = (HEADER + "2026-03-02T09:00,sale,journal,2\n").encode()
    assert read_movements(data, Shop(timezone="Europe/Vienna")).moved_at[0] == pd.Timestamp(
        "2026-03-02T08:00Z")  # fmt: skip


@pytest.mark.parametrize(
    "line, column",
    [
        ("soon,sale,journal,1", "moved_at"),
        ("0001-01-01T00:00:00,sale,journal,1", "moved_at"),
        ("2026-03-02,gift,journal,1", "kind"),
        ("2026-03-02,sale,,1", "product"),
        ("2026-03-02,sale,journal,0", "pieces"),
        ("2026-03-02,sale,journal,1.5", "pieces"),
        ("2026-03-02,count,journal,-1", "pieces"),
        ("2026-03-02,sale,journal,", "pieces"),
        ("2026-03-02,sale,journal,1e300", "pieces"),
    ],
)
def test_a_wrong_movement_is_named_by_its_row_and_column(line, column):
    with pytest.raises(BadInput) as caught:
        read_movements((HEADER + "2026-03-02,count,journal,0\n" + line + "\n").encode())
    [fault] = caught.value.faults
    assert (fault.row, fault.column) == (3, column) and fault.remedy
