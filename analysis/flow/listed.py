"""The order as listed: one worker, one operation for all pieces after another."""

from __future__ import annotations

from dataclasses import replace

from analysis.flow.dispatch import Rule, dispatch, overruns
from analysis.flow.plan import Block
from analysis.flow.work import Work


def as_listed(work: Work) -> tuple[list[Block], bool]:
    """The blocks of the listed order, and whether these people could work by them.

    One worker does everything; a setup as soon as that worker is free for its operation; changes
    of task are charged; waits are awaited. `max_wait` is not heeded: where it is overrun, or where
    the skills need more people, the order is a yardstick and no plan.
    """
    alone = _alone(work)
    blocks = _in_turn(alone)
    skilled = all(
        0 in (work.setups[b.index] if b.is_setup else work.operations[b.index]).workers
        for b in blocks
    )
    return blocks, skilled and not overruns(work, blocks)


def _alone(work: Work) -> Work:
    operations = tuple(replace(o, workers=(0,), max_wait=None) for o in work.operations)
    setups = tuple(replace(s, workers=(0,)) for s in work.setups)
    return replace(work, workers=work.workers[:1], operations=operations, setups=setups)


def _in_turn(work: Work) -> list[Block]:
    """One operation after another: nothing of the next is open before the last is through."""
    rule = Rule(
        tuple((float(i),) for i in range(len(work.operations))),
        tuple(o.units for o in work.operations), patience=1 << 60,
    )  # fmt: skip
    return dispatch(work, rule, in_turn=True)
