"""What now, what next, and batches of which size: the answers a maker acts on."""

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from analysis.flow.batch_size import Costs, batch_sizes, practice_in_batch
from analysis.flow.make_next import Line, make_next
from analysis.flow.now import what_now
from analysis.flow.present import change_seconds, present_seconds
from analysis.flow.work import Batch, work_of
from analysis.records.laps import read_laps
from tests import demo
from tests.flow.routings import frame
from tests.flow.test_order import row

START = datetime(2026, 3, 23, 8, 0, tzinfo=ZoneInfo("UTC"))
ROWS = [
    row("sew", 60, skill="maker"),
    row("glue", 30, "sew", wait_seconds=1200),
    row("trim", 20, "glue", setup_seconds=120),
]


def laps(*rows):
    """Laps of batch 7 in turn from START on: operation, activity, units, seconds, lost."""
    lines, at = ["started_at,seconds,product,operation,batch,activity,units,scrap_units"], START
    for operation, activity, units, seconds, lost in rows:
        lines.append(f"{at.isoformat()},{seconds},book,{operation},7,{activity},{units},{lost}")
        at += timedelta(seconds=seconds)
    return read_laps(("\n".join(lines) + "\n").encode()).frame, at


def now(log, at, here=("maker",), units=4):
    work = work_of(frame(ROWS), [Batch("book", units)], ["maker", "helper"])
    return what_now(work, log, ["7"], here, at)


def test_the_next_task_follows_from_what_is_logged():
    log, at = laps(("sew", "operation", 4, 240, 0))
    answer = now(log, at)
    assert (answer.next[0].operation, answer.next[0].pieces) == ("glue", 4)
    assert answer.next[0].sentence == "maker: glue, 4 of book (about 2 min, until 08:06)."


def test_while_glue_dries_the_setup_is_done_and_then_the_first_dry_piece_awaited():
    log, at = laps(("sew", "operation", 4, 240, 0), ("glue", "operation", 4, 120, 0))
    answer = now(log, at)
    assert answer.waiting[0].pieces == 4
    assert answer.waiting[0].until == at + timedelta(seconds=1200)
    assert (answer.next[0].activity, answer.next[0].operation) == ("setup", "trim")
    log, at = laps(("sew", "operation", 4, 240, 0), ("glue", "operation", 4, 120, 0),
                   ("trim", "setup", 1, 120, 0))  # fmt: skip
    answer = now(log, at)
    assert answer.next[0].activity == "wait"
    assert answer.next[0].starts_at == START + timedelta(seconds=240 + 30 + 1200)
    assert "nothing until 08:24; then trim" in answer.next[0].sentence


def test_a_lost_piece_is_not_waited_for():
    log, at = laps(("sew", "operation", 4, 240, 1))
    assert now(log, at).next[0].pieces == 3


def test_a_piece_lost_late_stands_for_none_that_still_waits_for_an_earlier_operation():
    """Of 10 sewn, 8 were glued and trimmed, and 2 of these lost: 2 wait for glue, none to trim."""
    log, at = laps(("sew", "operation", 10, 600, 0), ("glue", "operation", 8, 240, 0),
                   ("trim", "setup", 1, 1500, 0), ("trim", "operation", 8, 160, 2))  # fmt: skip
    answer = now(log, at, units=10)
    assert (answer.next[0].operation, answer.next[0].pieces) == ("glue", 2)


def test_what_nobody_here_can_do_is_named_and_the_rest_is_planned():
    log, at = laps(("sew", "operation", 2, 120, 0))
    answer = now(log, at, here=["helper"])
    assert (answer.next[0].operation, answer.next[0].pieces) == ("glue", 2)
    assert answer.left_out == ("sew", "glue", "trim")


def test_when_all_is_done_it_says_so():
    log, at = laps(("sew", "operation", 1, 60, 0), ("glue", "operation", 1, 30, 0),
                   ("trim", "setup", 1, 120, 0), ("trim", "operation", 1, 20, 0))  # fmt: skip
    assert now(log, at, units=1).next[0].sentence == "maker: nothing left to do here."


def test_present_times_replace_planned_ones_where_laps_know_better():
    present = present_seconds(demo.laps())
    work = work_of(demo.routing(), [Batch("pocket notebook", 25, "linen")], seconds=present)
    sew = next(o for o in work.operations if o.name == "sew")
    assert sew.duration == round(100 * present["pocket notebook", "sew"])
    assert 200 < present["pocket notebook", "sew"] < 280  # truth.json: 247 s at the end


def test_a_setup_makes_small_batches_dear_and_the_flat_region_is_said():
    """Work per good piece is (setup / n + seconds) / good share, in minutes."""
    rows = [row("stamp", 60, setup_seconds=600)]
    sizes = batch_sizes(frame(rows), "book", costs=Costs(30.0, 2.0, 0.9, 20.0))
    table = sizes.table.set_index("units")
    for units in (1, 10, 200):
        assert table.worker_minutes[units] == pytest.approx((600 / units + 60) / 60 / 0.9)
        assert table.material[units] == pytest.approx(2 / 0.9)
    assert table.money[1] > table.money[50]
    low, high = sizes.flat
    assert low <= sizes.best_units <= high
    assert table.money[table.in_flat_region].max() <= table.money.min() * 1.02


def test_money_tied_up_ends_the_gain_of_ever_larger_batches():
    """Little setup, dear material, slow sales: the least money is at no end of the range."""
    rows = [row("stamp", 60, setup_seconds=60)]
    costs = Costs(30.0, 400.0, 1.0, 1.0, rate_per_year=0.5)
    sizes = batch_sizes(frame(rows), "book", costs=costs, flat_share=0.0)
    assert 1 <= sizes.best_units < 10


def test_where_money_is_not_known_worker_minutes_decide():
    sizes = batch_sizes(frame([row("stamp", 60, setup_seconds=60)]), "book", sizes=(1, 10, 50))
    assert sizes.judged_by == "worker_minutes"
    assert sizes.table.money.isna().all()


def test_a_rack_too_small_for_the_batch_is_marked():
    rows = [row("coat", 60, wait_seconds=600, rack="line", rack_places=20)]
    table = batch_sizes(frame(rows), "book", sizes=(10, 20, 30)).table
    assert list(table.fits) == [True, True, False]
    assert table.most_waiting.max() <= 20


def test_practice_within_a_batch_makes_the_mean_piece_of_a_larger_one_quicker():
    seconds = practice_in_batch(demo.studied().learning, "pocket notebook")
    assert seconds(50)["pocket notebook", "sew"] < seconds(1)["pocket notebook", "sew"]
    assert np.isfinite(list(seconds(10).values())).all()


LINES = [
    Line("book", "linen", stock=50, demand_per_week=10, batch_size=25, earning=8.0,
         bottleneck_seconds=900),
    Line("book", "silk", stock=0, demand_per_week=10, batch_size=25, earning=4.0,
         bottleneck_seconds=900),
    Line("card", "", stock=5, demand_per_week=40, batch_size=50, earning=2.0,
         bottleneck_seconds=120),
    Line("box", "", stock=0, demand_per_week=None, batch_size=10, earning=9.0,
         bottleneck_seconds=60),
    Line("tag", "", stock=0, demand_per_week=9, batch_size=10, earning=-1.0,
         bottleneck_seconds=60),
]  # fmt: skip


def test_what_runs_out_comes_first_then_what_earns_most_an_hour():
    answer = make_next(LINES, 20.0)
    assert [(m.product, m.variant) for m in answer.make] == [("book", "silk"), ("card", "")]
    assert answer.make[1].earning_per_bottleneck_hour == pytest.approx(60.0)
    assert answer.hours_used <= 20.0


def test_what_is_left_out_says_why():
    why = {(m.product, m.variant): m.why for m in make_next(LINES, 20.0).left_out}
    assert why["book", "linen"] == "what is there lasts 5.0 weeks"
    assert why["box", ""] == "no demand known"
    assert why["tag", ""] == "each piece loses money"


def test_the_last_batch_is_cut_to_the_hours_left():
    answer = make_next(LINES, 5.0)
    assert answer.make[0].pieces == 20
    assert "cut from 25" in answer.make[0].why
    assert answer.hours_used <= 5.0
    assert make_next(LINES, 0.0).make == ()


def test_a_change_of_task_costs_what_the_first_pieces_after_it_take_longer():
    cells = demo.studied().learning.cells
    by_hand = [
        seconds * sum(math.expm1(effect / 2**k) for k in range(12))
        for effect, seconds in zip(cells["restart_effect"], cells["present_seconds"], strict=True)
        if math.isfinite(effect * seconds)
    ]
    assert change_seconds(cells) == pytest.approx(np.median(by_hand))
    assert change_seconds(cells.iloc[:0]) == 30.0
