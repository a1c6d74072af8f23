"""The shop floor as one record of memory: what the kernel reads and what it moves.

One record, because machine code then follows one pointer; arrays of Python objects or many arrays
side by side made the kernel ten times slower and a minute to compile. Its lists have fixed lengths,
in sizes of which the smallest that holds the shop is taken (each compiled once).

Places: line, step (of all lines in one row; `lines.first_step` is a line's first), skill, hand.
Behind the real steps of each line stands one more, *the end*: it needs nobody and follows every
step that nothing else follows, so that a batch is finished when the last wait is over. `local` is
a step's place within its line.
"""

from __future__ import annotations

import numpy as np

from analysis.decisions.shop_model import ShopModel
from analysis.problems import Problem

STOCK, ORDERS, ALWAYS = range(3)  # the order of shop_model.RELEASES
LOGNORMAL, EXPONENTIAL, NONE = range(3)  # the order of shop_model.SCATTERS

SLOW_GOES = 12  # after a start; the restart effect is then 1 / 4096 of the first go's

LINE = np.dtype([
    # as given
    ("code", "u8"), ("first_step", "i8"), ("end", "i8"), ("batch_size", "i8"), ("release", "i8"),
    ("stock_at_first", "f8"), ("cover_weeks", "f8"), ("demand_spread", "f8"),
    # of this run and week
    ("demand_factor", "f8"), ("demand", "f8"), ("orders_now", "f8"), ("orders_ahead", "f8"),
    # as it stands
    ("stock", "f8"), ("made", "f8"), ("asked", "f8"), ("under_way", "f8"),
    ("batches", "i8"), ("orders", "i8"), ("next_order", "f8"),
    ("started", "f8"), ("good", "f8"), ("scrapped", "f8"),
], align=True)  # fmt: skip

STEP = np.dtype([
    ("code", "u8"), ("rank", "i8"), ("befores", "i8"), ("first_after", "i8"), ("afters", "i8"),
    ("is_first", "i8"), ("station", "i8"), ("held_wait", "f8"), ("stays", "i8"),
    ("pieces_at_once", "i8"), ("setup", "f8"), ("setup_wait", "f8"), ("transport", "f8"),
    ("rework_seconds", "f8"),
    # of this run
    ("time_factor", "f8"), ("setup_factor", "f8"), ("rework_chance", "f8"), ("scrap_chance", "f8"),
], align=True)  # fmt: skip

FOLLOWER = np.dtype([("step", "i8"), ("wait", "f8")], align=True)

SKILL = np.dtype([
    ("curve", "i8"), ("scatter", "i8"), ("prior", "f8"), ("plateau_share", "f8"),
    ("experience", "f8"),
    ("slowness", "f8", (SLOW_GOES,)), ("cost_of_start", "f8"), ("piece_log_sd", "f8"),
    ("batch_log_sd", "f8"),
    # of this run
    ("level", "f8"), ("exponent", "f8"), ("loss", "f8"),
    # as it stands
    ("goes", "f8"), ("last", "f8"),
], align=True)  # fmt: skip

STATION = np.dtype([("places", "i8"), ("used", "i8")], align=True)

HAND = np.dtype([
    ("end", "f8"),  # of the work in hand, infinity when free
    ("wake", "f8"),  # when a free hand comes to the bench, infinity when there
    ("slot", "i8"), ("local", "i8"), ("doing", "i8"), ("lost", "i8"), ("stretch", "i8"),
    ("share", "f8"),  # of the task, 1 unless it was taken over
    ("work", "f8"),  # seconds of that share, as taken up
], align=True)  # fmt: skip

BATCH = np.dtype([
    ("line", "i8"), ("number", "i8"), ("sequence", "i8"), ("pieces", "i8"), ("released_at", "f8"),
], align=True)  # fmt: skip

TASK = np.dtype([
    ("missing", "i8"),  # steps that must be done before
    ("ready_at", "f8"), ("set_up", "i8"),
    ("keeps_place", "i8"),  # done, and lying in its station until taken up
], align=True)  # fmt: skip

DUE = np.dtype([("time", "f8"), ("slot", "i8"), ("local", "i8")], align=True)
READY = np.dtype([("key", "i8"), ("slot", "i8"), ("local", "i8"), ("step", "i8")], align=True)
FREEING = np.dtype([("time", "f8"), ("station", "i8")], align=True)

SMALLEST = {
    "lines": 32, "steps": 512, "local_steps": 32, "followers": 1024, "skills": 1024,
    "stations": 32, "hands": 16, "batches": 128, "waiting": 2048,
}  # fmt: skip
SIZES = (1, 8, 64)
BLOCK = 128  # goes drawn together


def floor_dtype(size: int) -> np.dtype:
    """The record, with lists `size` times as long as the smallest."""
    most = {name: size * number for name, number in SMALLEST.items()}
    most["local_steps"] = SMALLEST["local_steps"] * min(size, 8)
    return np.dtype([
        ("lines", LINE, (most["lines"],)), ("steps", STEP, (most["steps"],)),
        ("followers", FOLLOWER, (most["followers"],)), ("skills", SKILL, (most["skills"],)),
        ("skill_of", "i4", (SMALLEST["hands"] * min(size, 2), most["steps"])),  # -1: cannot
        ("stations", STATION, (most["stations"],)),
        ("hands", HAND, (SMALLEST["hands"] * min(size, 2),)),
        ("batches", BATCH, (most["batches"],)),
        ("tasks", TASK, (most["batches"], most["local_steps"])),
        ("free_slots", "i8", (most["batches"],)),
        ("dues", DUE, (most["waiting"],)), ("ready", READY, (most["waiting"],)),
        ("freeing", FREEING, (most["waiting"],)),
        ("bits", "u8", (BLOCK,)), ("scatter", "f8", (BLOCK,)), ("usual", "f8", (BLOCK,)),
        ("power", "f8", (BLOCK + 1,)),  # these four of the goes of one task
        ("line_count", "i8"), ("step_count", "i8"), ("skill_count", "i8"), ("hand_count", "i8"),
        ("station_count", "i8"), ("slots", "i8"),
        ("due_count", "i8"), ("ready_count", "i8"), ("freeing_count", "i8"),
        ("open", "i8"), ("next_sequence", "i8"), ("start", "u8"), ("now", "f8"), ("week", "i8"),
        ("full", "i8"), ("next_order", "f8"), ("rest_share", "f8"), ("delay_share", "f8"),
        ("finished", "i8"), ("lead_time", "f8"), ("in_process", "f8"),
    ], align=True)  # fmt: skip


def fits(model: ShopModel, size: int) -> bool:
    """Whether the lists of a size hold the model; the largest must."""
    counts = [len(line.steps) + 1 for line in model.lines]
    most = {name: number * size for name, number in SMALLEST.items()}
    held = (
        len(model.lines) <= most["lines"]
        and sum(counts) <= most["steps"]
        and max(counts, default=0) <= SMALLEST["local_steps"] * min(size, 8)
        and sum(len(s.before) + 1 for line in model.lines for s in line.steps) <= most["followers"]
        and len(model.skills) <= most["skills"]
        and len(model.stations) <= most["stations"]
        and len(model.hands) <= SMALLEST["hands"] * min(size, 2)
    )
    if not held and size == SIZES[-1]:
        raise Problem(
            "the shop has more products, steps or people than weeks can be simulated for; leave "
            "out those without demand"
        )
    return held
