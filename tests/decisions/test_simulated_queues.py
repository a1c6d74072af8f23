"""Simulated weeks against queueing theory, where the answer is known exactly.

Formulas FROM MEMORY after Gross & Harris, Fundamentals of Queueing Theory, recomputed here; serial
lines without room between stations: Hillier & Boling 1967, Operations Research 15, 286-303.
Each mean may lie four of its own standard errors (between runs) from the formula.
"""

import math

import numpy as np
import pytest

from analysis.decisions.shop_model import WEEK_SECONDS, Hand, Line, ShopModel, Skill, Step
from analysis.decisions.simulate import simulate
from tests.decisions.estimates import FARTHEST, away, ratio

SERVICE = 600.0
WARM_UP = 2  # weeks of 1,008 services: from empty, all but e^-20 of the way at a load of 0.8
QUICK = {"weeks": 10, "runs": 60}
LONG = {"weeks": 40, "runs": 1000}


def queue(load: float, servers: int, scatter: str) -> ShopModel:
    """Customers come at random to servers who are always there."""
    per_week = load * servers / SERVICE * WEEK_SECONDS
    line = Line("job", "", (Step("serve"),), 1, per_week, release="orders")
    hands = tuple(Hand(f"server {n}") for n in range(servers))
    skills = {(hand.name, "job", "serve"): Skill(SERVICE, scatter=scatter) for hand in hands}
    return ShopModel((line,), skills, hands)


def serial_line(stations: int) -> ShopModel:
    """One hand a station, work always waiting, no room between: a piece blocks its station."""
    steps = tuple(
        Step(f"step {n}", ((n - 1, 0.0),) if n else (), f"station {n}", stays_until_taken=True)
        for n in range(stations)
    )
    line = Line("piece", "", steps, 1, release="always")
    hands = tuple(Hand(f"hand {n}") for n in range(stations))
    skills = {
        (f"hand {n}", "piece", f"step {n}"): Skill(SERVICE, scatter="exponential")
        for n in range(stations)
    }
    return ShopModel((line,), skills, hands, {f"station {n}": 1 for n in range(stations)})


def erlang_wait(load: float, servers: int) -> float:
    """Mean time in system of M/M/c in services: 1 + C / (c (1 - load)), C Erlang's chance to wait
    a^c / c! / ((1 - load) sum_{k<c} a^k / k! + a^c / c!), a = c load."""
    a = servers * load
    top = a**servers / math.factorial(servers)
    below = (1 - load) * sum(a**k / math.factorial(k) for k in range(servers))
    return 1 + top / (below + top) / (servers * (1 - load))


QUEUES = [
    ("M/M/1 at 0.5", 0.5, 1, "exponential", 2.0),
    ("M/M/1 at 0.8", 0.8, 1, "exponential", 5.0),
    ("M/M/2 at 0.8", 0.8, 2, "exponential", erlang_wait(0.8, 2)),
    ("M/M/3 at 0.7", 0.7, 3, "exponential", erlang_wait(0.7, 3)),
    ("M/D/1 at 0.8", 0.8, 1, "none", 1 + 0.8 / (2 * 0.2)),  # Pollaczek-Khinchine
]
# 2/3 and 22/39 exactly; the last as published, to four places.
SERIAL_LINES = [(2, 2 / 3, 0.0), (3, 22 / 39, 0.0), (4, 0.5148, 5e-5)]


def time_in_system(runs) -> tuple[float, float]:
    """In services."""
    lead = runs.lead_time_seconds_sum[:, WARM_UP:].sum(axis=1) / SERVICE
    return ratio(lead, runs.batches_finished[:, WARM_UP:].sum(axis=1))


def check_queue(load, servers, scatter, known, size, seed):
    runs = simulate(queue(load, servers, scatter), seed=seed, **size)
    assert away(time_in_system(runs), known) < FARTHEST
    seconds = (size["weeks"] - WARM_UP) * WEEK_SECONDS
    number = runs.in_process_seconds[:, WARM_UP:].sum(axis=1) / seconds
    assert away(ratio(number, np.ones(len(number))), load * servers * known) < FARTHEST
    return runs


def check_line(stations, known, known_error, size, seed):
    runs = simulate(serial_line(stations), seed=seed, **size)
    made = runs.good[:, WARM_UP:].sum(axis=(1, 2)) * SERVICE
    seconds = np.full(len(made), (size["weeks"] - WARM_UP) * WEEK_SECONDS)
    assert away(ratio(made, seconds), known, known_error) < FARTHEST


@pytest.mark.parametrize(("load", "servers", "scatter", "known"),
                         [q[1:] for q in QUEUES], ids=[q[0] for q in QUEUES])  # fmt: skip
def test_waiting_times_are_those_of_queueing_theory(load, servers, scatter, known):
    check_queue(load, servers, scatter, known, QUICK, 1)


@pytest.mark.parametrize(("stations", "known", "known_error"), SERIAL_LINES)
def test_a_line_without_room_between_stations_loses_what_hillier_and_boling_say(
    stations, known, known_error
):
    check_line(stations, known, known_error, QUICK, 2)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("load", "servers", "scatter", "known"),
                         [q[1:] for q in QUEUES], ids=[q[0] for q in QUEUES])  # fmt: skip
def test_waiting_times_hold_over_a_thousand_runs(load, servers, scatter, known, seed):
    check_queue(load, servers, scatter, known, LONG, 10 + seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("stations", "known", "known_error"), SERIAL_LINES)
def test_serial_lines_hold_over_a_thousand_runs(stations, known, known_error, seed):
    check_line(stations, known, known_error, LONG, 20 + seed)


def test_batches_under_way_are_their_rate_times_their_stay_in_every_run():
    """Little's law L = lambda W, which holds of every path and not only on average: the time that
    batches were under way, summed moment by moment, is the sum of their stays."""
    for model in (queue(0.8, 2, "exponential"), serial_line(3)):
        runs = simulate(model, weeks=5, runs=20, seed=3)
        stays = runs.lead_time_seconds_sum.sum(axis=1) + runs.unfinished_age_seconds
        assert runs.batches_finished.sum(axis=1).min() > 1000
        np.testing.assert_allclose(runs.in_process_seconds.sum(axis=1), stays, rtol=1e-9)
