"""A batch begun is gone on with where it stands, by counts made by hand."""

import pytest

from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.study.begun import begun
from analysis.study.summary import study

ROUTE = (
    b"product,operation,after,seconds\ncard box,cut,,60\ncard box,glue,cut,60\n"
    b"card box,fold,glue,60\n"
)
HEADER = "started_at,seconds,product,operation,batch,activity,units,scrap_units\n"
DONE = "2026-03-02T08:00:00Z,600,card box,cut,001,operation,10,0\n"


def next_of(rows: str):
    """Batch, operation and pieces left of each batch begun."""
    laps = read_laps((HEADER + rows).encode()).frame
    found = begun(study(laps, read_routing(ROUTE)))
    return list(found[["batch", "operation", "pieces_left"]].itertuples(index=False, name=None))


@pytest.mark.parametrize(
    ("rows", "operation", "left"),
    [
        ("", "glue", 10),
        ("2026-03-02T09:00:00Z,600,card box,glue,001,operation,4,0\n", "glue", 6),
        ("2026-03-02T09:00:00Z,600,card box,glue,001,operation,10,0\n", "fold", 10),
        ("2026-03-02T09:00:00Z,600,card box,glue,001,operation,4,1\n", "glue", 6),
        ("2026-03-02T09:00:00Z,600,card box,glue,001,operation,10,3\n", "fold", 7),
        ("2026-03-02T09:00:00Z,600,card box,glue,001,setup,1,0\n", "glue", 10),
    ],
    ids=["not begun", "in the middle", "done", "one lost on the way", "lost ones", "only set up"],
)
def test_a_begun_batch_goes_on_with_the_first_operation_that_has_pieces_left(rows, operation, left):
    assert next_of(DONE + rows) == [("001", operation, left)]


def test_a_piece_lost_in_mending_is_waited_for_nowhere():
    rows = (
        "2026-03-02T09:00:00Z,600,card box,glue,001,operation,10,0\n"
        "2026-03-02T09:30:00Z,60,card box,glue,001,rework,1,1\n"
    )
    assert next_of(DONE + rows) == [("001", "fold", 9)]


def test_pieces_lost_further_on_do_not_hide_those_that_still_wait_before():
    """Of 10 cut, 8 were glued and 5 of these folded, 2 to be lost: 2 wait for glue, 3 glued ones
    for folding."""
    rows = (
        "2026-03-02T09:00:00Z,600,card box,glue,001,operation,8,0\n"
        "2026-03-02T09:30:00Z,600,card box,fold,001,operation,5,2\n"
    )
    assert next_of(DONE + rows) == [("001", "glue", 2)]
    glued = "2026-03-02T10:00:00Z,600,card box,glue,001,operation,2,0\n"
    assert next_of(DONE + rows + glued) == [("001", "fold", 5)]


def test_pieces_of_a_begun_batch_are_those_not_lost():
    rows = "2026-03-02T09:00:00Z,600,card box,glue,001,operation,4,1\n"
    laps = read_laps((HEADER + DONE + rows).encode()).frame
    assert begun(study(laps, read_routing(ROUTE))).pieces.tolist() == [9]


def test_no_laps_are_no_batch_begun():
    assert next_of("") == []


def test_what_is_finished_is_not_begun_and_the_older_batch_comes_first():
    finished = "".join(
        f"2026-03-02T{hour:02}:00:00Z,600,card box,{operation},001,operation,10,0\n"
        for hour, operation in ((8, "cut"), (9, "glue"), (10, "fold"))
    )
    begun_later = DONE.replace("001", "003").replace("T08", "T12")
    begun_first = DONE.replace("001", "002").replace("T08", "T11")
    found = next_of(finished + begun_later + begun_first)
    assert found == [("002", "glue", 10), ("003", "glue", 10)]
    assert next_of(finished) == []


@pytest.mark.parametrize(
    ("folded", "later", "short"),
    [
        (9, "2026-03-04T08:00:00Z", True),
        (9, "2026-03-02T12:00:00Z", False),  # the same day: it may still be folded
        (7, "2026-03-04T08:00:00Z", False),  # three of ten are no slip
    ],
)
def test_a_batch_that_ended_a_piece_short_days_ago_is_told_from_one_under_way(folded, later, short):
    rows = (
        "2026-03-02T09:00:00Z,600,card box,glue,001,operation,10,0\n"
        f"2026-03-02T10:00:00Z,600,card box,fold,001,operation,{folded},0\n"
        f"{later},600,card box,cut,002,operation,10,0\n"
    )
    found = begun(study(read_laps((HEADER + DONE + rows).encode()).frame, read_routing(ROUTE)))
    first = found.iloc[0]
    assert (first.batch, first.operation, first.pieces_left) == ("001", "fold", 10 - folded)
    assert (bool(first.short), first.before) == (short, "glue")
