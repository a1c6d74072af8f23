"""A helper who begins at piece 1: their times, taken from the shop's own people and from studies.

For each operation of each product that the shop's people do:
- the first piece takes the geometric mean of their first pieces, times `first_unit_factor`;
- it falls along t = c + (a - c) n^b (de Jong 1957) towards c, the present time of the quickest
  person in the shop: nobody is promised to be faster than the best is today;
- b is what the shop's own curves of this operation say, weighed with the shop's other operations
  and the published spread of learning rates (`study/pooling.py`), or the scenario's learning rate;
- an operation whose practice does not show in the shop's laps takes the same time from the start.

How people differ: the standard deviation of output between people in simple jobs is 19 % of the
mean (Hunter, Schmidt & Judiesch 1990, Journal of Applied Psychology 75(1); from memory). One draw a
run moves all times of the helper together, another all practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from analysis.decisions.money import NORMAL_95, doubt_of
from analysis.decisions.naming import learning_name, pace_name, skill_name
from analysis.decisions.shop_model import SharedDoubt, ShopModel, Skill
from analysis.records.scenario import Estimate, Helper
from analysis.study.pooling import PUBLISHED_SPREAD, ExponentGuess, guess_at_exponent

PEOPLE_DIFFER = 0.19  # standard deviation of log pace between people, see above

Skills = Mapping[tuple[str, str, str], Skill]


def newcomer_skills(model: ShopModel, helper: Helper, name: str) -> dict:
    """The helper's skills by (name, product, operation), of all that the shop's people do."""
    by_work: dict[tuple[str, str], list[Skill]] = {}
    for (_, product, operation), skill in model.skills.items():
        by_work.setdefault((product, operation), []).append(skill)
    guess = shop_guess(model.skills)
    return {
        (name, product, operation): _newcomer(own, helper, guess)
        for (product, operation), own in by_work.items()
        if not helper.operations or operation in helper.operations
    }


def newcomer_doubts(
    skills: Skills, helper: Helper, guess: ExponentGuess
) -> tuple[SharedDoubt, ...]:
    """The helper's pace and learning, each one draw a run for all that they do."""
    (name,) = {key[0] for key in skills}
    learns = [key for key, skill in skills.items() if skill.curve != "constant"]
    people = [key for key, skill in skills.items() if skill.source != "given"]
    pace = doubt_of(helper.first_unit_factor) or PEOPLE_DIFFER
    if helper.learning_rate:
        learning = exponent_doubt(helper.learning_rate)
    else:
        learning = guess.deviation
    doubts = (
        SharedDoubt(pace_name(name), pace, _figures("time", people)),
        SharedDoubt(learning_name(name), learning, _figures("practice", learns)),
    )
    return tuple(doubt for doubt in doubts if doubt.doubt > 0 and doubt.figures)


def _figures(kind: str, keys: Iterable[tuple[str, str, str]]) -> frozenset[str]:
    return frozenset(skill_name(kind, key) for key in keys)


def shop_guess(skills: Skills) -> ExponentGuess:
    """The guess at a newcomer's exponent from the shop's own curves and the published spread."""
    learned = [skill for skill in skills.values() if _shows_practice(skill)]
    return guess_at_exponent(
        np.array([skill.exponent for skill in learned]),
        np.array([skill.exponent_doubt for skill in learned]),
    )


def _shows_practice(skill: Skill) -> bool:
    return skill.curve != "constant" and skill.exponent < 0 and skill.source == "measured"


def _newcomer(own: list[Skill], helper: Helper, guess: ExponentGuess) -> Skill:
    """One operation's skill of the newcomer, from those of the shop's people."""
    if own[0].source == "given":  # a machine sets the time
        return own[0]
    own = [skill for skill in own if skill.source == "measured"] or own
    usual = math.exp(np.mean([math.log(skill.first_unit_seconds) for skill in own]))
    first = usual * helper.first_unit_factor.typical
    floor = min(first, *(present_seconds(skill) for skill in own))
    return Skill(
        first_unit_seconds=first,
        curve="plateau" if floor < first else "constant",
        exponent=_exponent(own, helper, guess) if floor < first else 0.0,
        plateau_seconds=floor if floor < first else 0.0,
        retention_per_week=_mean(own, "retention_per_week"),
        restart_effect=_mean(own, "restart_effect"),
        piece_log_sd=_mean(own, "piece_log_sd"),
        batch_log_sd=_mean(own, "batch_log_sd"),
        level_doubt=_mean(own, "level_doubt"),
        loss_doubt=_mean(own, "loss_doubt"),
        scatter=own[0].scatter,
        source="pooled",
    )


def _exponent(own: list[Skill], helper: Helper, guess: ExponentGuess) -> float:
    """b: log2 of the scenario's rate, else own curves and the shop's spread by their weights.

    Weights 1 / (e_i^2 + s^2) of the own curves (standard error e_i, people differing by s) and
    1 / deviation^2 of the guess.
    """
    if helper.learning_rate:
        return math.log2(helper.learning_rate.typical)
    shown = [skill for skill in own if _shows_practice(skill)]
    weights = [1 / (skill.exponent_doubt**2 + PUBLISHED_SPREAD**2) for skill in shown]
    values = [skill.exponent for skill in shown]
    weights, values = [*weights, guess.deviation**-2], [*values, guess.exponent]
    return float(np.average(values, weights=weights))


def _mean(own: list[Skill], figure: str) -> float:
    return float(np.mean([getattr(skill, figure) for skill in own]))


def exponent_doubt(learning_rate: Estimate) -> float:
    """Standard deviation of b for a range of learning rates; 0 for a sure one."""
    return (math.log2(learning_rate.high) - math.log2(learning_rate.low)) / (2 * NORMAL_95)


def present_seconds(skill: Skill) -> float:
    """Mean seconds of the next go: the formulas of `study/curves.py` at n = experience + 1."""
    n, b, first = skill.experience + 1, skill.exponent, skill.first_unit_seconds
    if skill.curve == "constant":
        return first
    if skill.curve == "unit":
        return first * n**b
    if skill.curve == "cumulative_average":
        return first * (n ** (1 + b) - (n - 1) ** (1 + b))
    if skill.curve == "plateau":
        return skill.plateau_seconds + (first - skill.plateau_seconds) * n**b
    return first * ((n + skill.prior_pieces) / (1 + skill.prior_pieces)) ** b


def skilled(model: ShopModel, helper: Helper, name: str) -> ShopModel:
    """The model with the helper's skills and what is in doubt about them."""
    skills = newcomer_skills(model, helper, name)
    doubts = newcomer_doubts(skills, helper, shop_guess(model.skills)) if skills else ()
    return replace(
        model,
        skills={**model.skills, **skills},
        shared_doubts=model.shared_doubts + doubts,
    )
