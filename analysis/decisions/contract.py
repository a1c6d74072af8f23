"""An answer as the one JSON object that `whatif --json` prints: plain numbers, null for not known.

The contract's fields are `baseline`, `changed`, `difference` (each with six figures) and `money`;
all others are our own and may grow.
"""

from __future__ import annotations

import dataclasses
import math

from analysis.decisions.answer import (
    Answer,
    Assumption,
    MoneyLine,
    Mover,
    Situation,
    Spread,
    Stretch,
)


def whatif_contract(answer: Answer) -> dict:
    """The answer of the command line's `whatif`."""
    money = dataclasses.asdict(answer.money)
    return {
        "scenario": answer.name,
        "currency": answer.currency,
        "horizon_weeks": answer.horizon_weeks,
        "discount_rate_per_year": answer.discount_rate_per_year,
        "runs": answer.runs,
        "stopped": answer.stopped,
        "seed": answer.seed,
        "verdict": answer.verdict,
        "headline": answer.headline,
        "condition": answer.condition,
        "sentences": list(answer.sentences),
        "bill": [_flat(line) for line in answer.bill],
        "stretches": [_flat(stretch) for stretch in answer.stretches],
        "walk_hours_saved": answer.walk_hours_saved,
        "must_be_true": list(answer.must_be_true),
        "settle": answer.settle,
        "baseline": _situation(answer.baseline),
        "changed": _situation(answer.changed),
        "difference": _situation(answer.difference),
        "money": {name: _plain(value) for name, value in money.items()},
        "movers": [_flat(mover) for mover in answer.movers],
        "unmoving": list(answer.unmoving),
        "assumptions": [_flat(assumption) for assumption in answer.assumptions],
        "cautions": list(answer.cautions),
    }


def _situation(situation: Situation) -> dict:
    return {
        field.name: _spread(getattr(situation, field.name))
        for field in dataclasses.fields(situation)
    }


def _spread(values: Spread) -> dict:
    return {name: _plain(value) for name, value in dataclasses.asdict(values).items()}


def _flat(row: Assumption | Mover | MoneyLine | Stretch) -> dict:
    return {name: _plain(value) for name, value in dataclasses.asdict(row).items()}


def _plain(value: object) -> object:
    """None for a number that is none; the parts of a spread or a list likewise."""
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
