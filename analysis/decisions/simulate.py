"""`simulate`: many runs of simulated weeks, with what they have shown so far, until told to stop.

The events themselves are in `kernel.py`, and what they are read from in `layout.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from analysis.decisions import warm
from analysis.decisions.backend import in_waves
from analysis.decisions.results import Results
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.varied import Varied, ranges
from analysis.problems import Problem

_BY_LINE = ("started", "good", "scrapped", "sold", "lost_demand", "stock_end")
_BY_WEEK = ("batches_finished", "lead_time_seconds_sum", "in_process_seconds")
FIRST_RUN_WEEKS = 200  # runs x weeks before the first report: a few hundredths of a second
MOST_RUN_WEEKS = 5000  # in one piece of work: about half a second


@dataclass(frozen=True)
class Runs:
    """What the simulated weeks were like; run i of two models shares its random numbers.

    lines, hands: names, in the order of the arrays.
    started, good, scrapped, sold, lost_demand, stock_end: pieces, (runs, weeks, lines); stock is
    that at the week's end.
    batches_finished, lead_time_seconds_sum (over those batches, from their release), and
    in_process_seconds (batches under way x seconds): (runs, weeks).
    bench_seconds: (runs, weeks, hands), rest and interruptions in it. available_seconds: (runs,
    weeks, hands), the hours they could be at the bench.
    unfinished_age_seconds: (runs,), summed over the batches under way at the end.
    pieces_open: (runs, lines), under way at the end.
    draws: name of each figure in doubt -> (runs,) standard normal draws: the figure was
    figure x exp(doubt z), a chance likewise on its odds.
    """

    lines: tuple[str, ...]
    hands: tuple[str, ...]
    started: np.ndarray
    good: np.ndarray
    scrapped: np.ndarray
    sold: np.ndarray
    lost_demand: np.ndarray
    stock_end: np.ndarray
    batches_finished: np.ndarray
    lead_time_seconds_sum: np.ndarray
    in_process_seconds: np.ndarray
    bench_seconds: np.ndarray
    available_seconds: np.ndarray
    unfinished_age_seconds: np.ndarray
    pieces_open: np.ndarray
    draws: Mapping[str, np.ndarray]

    @property
    def runs(self) -> int:
        """How many runs."""
        return len(self.started)

    @property
    def weeks(self) -> int:
        """How many weeks each run goes over."""
        return self.started.shape[1]

    @property
    def idle_seconds(self) -> np.ndarray:
        """(runs, weeks): at the bench with nothing to do, all hands together; overtime is none."""
        return np.maximum(self.available_seconds - self.bench_seconds, 0.0).sum(axis=2)

    def first(self, runs: int) -> Runs:
        """The first so many runs."""
        cut = {
            field.name: getattr(self, field.name)[:runs]
            for field in fields(self)
            if field.name not in ("lines", "hands", "draws")
        }
        return replace(self, **cut, draws={name: z[:runs] for name, z in self.draws.items()})


@dataclass(frozen=True)
class Progress:
    """runs_done of runs_wanted, and what they show."""

    runs_done: int
    runs_wanted: int
    so_far: Runs


Simulated = ShopModel | Varied  # one shop for all runs, or one for each


def simulate(
    model: Simulated,
    *,
    weeks: int,
    runs: int,
    seed: int,
    report: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    jobs: int = 1,
    backend: str | None = None,
) -> Runs:
    """Simulate `runs` runs of `weeks` weeks, each from an empty bench with the shelf as given.

    report is called with what is done so far; stop is asked in between, and where it says so the
    runs done are returned (at least the first few). jobs: threads, 0 for all cores. backend:
    "dask://HOST[:PORT]". The same seed gives the same runs to the bit, however they are done. Who
    wants reports is not kept waiting where the kernel must still be compiled (`warm.py`).
    """
    whole, done = _empty(model, weeks, runs), 0
    if report is not None and not backend:
        done = _plain_runs(model, whole, seed, report, stop)
        if done and (done == runs or (stop is not None and stop())):
            return whole.first(done)
    pieces = [(model, weeks, seed, first, count) for first, count in _pieces(done, runs, weeks)]
    for (_, _, _, first, count), (results, draws) in in_waves(
        simulate_piece, pieces, jobs, backend, stop
    ):
        _put(whole, slice(first, first + count), results, draws)
        done = first + count
        if report is not None:
            report(Progress(done, runs, whole.first(done)))
    return whole.first(done)


def _plain_runs(
    model: Simulated,
    whole: Runs,
    seed: int,
    report: Callable[[Progress], None],
    stop: Callable[[], bool] | None,
) -> int:
    """Runs done one by one, uncompiled, while another process compiles; how many."""
    if warm.machine_code_is_there():
        return 0
    compiling, done = warm.begin(), 0
    while done < whole.runs and warm.is_in_the_making(compiling):
        results, draws = simulate_piece(model, whole.weeks, seed, done, 1, plainly=True)
        _put(whole, slice(done, done + 1), results, draws)
        done += 1
        report(Progress(done, whole.runs, whole.first(done)))
        if stop is not None and stop():
            break
    return done


def _pieces(first: int, runs: int, weeks: int) -> list[tuple[int, int]]:
    """(first run, runs) of the pieces of work from `first` on: small ones lead, to answer soon."""
    pieces, run_weeks = [], FIRST_RUN_WEEKS
    while first < runs:
        count = min(max(1, run_weeks // weeks), runs - first)
        pieces.append((first, count))
        first, run_weeks = first + count, min(4 * run_weeks, MOST_RUN_WEEKS)
    return pieces


def _each_of_its_own(
    shops: Varied, weeks: int, seed: int, first_run: int, runs: int, plainly: bool
) -> tuple[Results, dict[str, np.ndarray]]:
    """As `simulate_piece`, the runs one by one, each in its own shop."""
    pieces = [
        simulate_piece(shops.of_run(run), weeks, seed, run, 1, plainly)
        for run in range(first_run, first_run + runs)
    ]
    results = type(pieces[0][0])(
        *map(np.concatenate, zip(*(one for one, _ in pieces), strict=True))
    )
    names = pieces[0][1]
    drawn = {name: np.concatenate([draws[name] for _, draws in pieces]) for name in names}
    return results, drawn | shops.draws(first_run, runs)


def simulate_piece(
    model: Simulated, weeks: int, seed: int, first_run: int, runs: int, plainly: bool = False
) -> tuple[Results, dict[str, np.ndarray]]:
    """(results, draws) of some runs: what one thread or one worker of a cluster does.

    plainly: without compiled functions, some 300 times slower, to the same bits.
    """
    from analysis.decisions.floor import SIZES  # numba takes 0.3 s to import
    from analysis.decisions.kernel import simulate_runs
    from analysis.decisions.layout import layout_of, parameters_of
    from analysis.decisions.plain import plain, simulate_runs_plainly
    from analysis.decisions.results import results_for

    if isinstance(model, Varied):
        return _each_of_its_own(model, weeks, seed, first_run, runs, plainly)
    run = simulate_runs_plainly if plainly else simulate_runs
    as_is = {"as_is": plain} if plainly else {}
    parameters, draws = parameters_of(model, seed, first_run, runs, **as_is)
    for size in SIZES:
        layout = layout_of(model, weeks, size)
        results = results_for(runs, weeks, len(model.lines), len(model.hands))
        if run(
            layout.floors, parameters, layout.stretches, layout.calendar, layout.looks,
            seed, first_run, results,
        ):  # fmt: skip
            if not plainly:
                warm.note_made()
            return results, draws
    raise Problem(
        "more batches would be under way at once than can be simulated; give a larger batch_size "
        "or a demand that can be met"
    )


def _hours(model: Simulated, weeks: int, runs: int) -> np.ndarray:
    """(runs, weeks, hands): seconds at the bench."""
    from analysis.decisions.hours import available_seconds, stretches_of

    if isinstance(model, Varied):
        shops = [model.of_run(run) for run in range(runs)]
        return np.stack([available_seconds(stretches_of(one, weeks), weeks).T for one in shops])
    hours = available_seconds(stretches_of(model, weeks), weeks).T
    return np.broadcast_to(hours, (runs, *hours.shape))


def _empty(shops: Simulated, weeks: int, runs: int) -> Runs:
    from analysis.decisions.layout import doubts_of

    model = shops.middle if isinstance(shops, Varied) else shops
    own = ranges(shops.scenario) if isinstance(shops, Varied) else ()
    lines, hands = len(model.lines), len(model.hands)
    by_line = np.zeros((len(_BY_LINE), runs, weeks, lines))
    by_week = np.zeros((len(_BY_WEEK), runs, weeks))
    return Runs(
        tuple(f"{line.product} {line.variant}".rstrip() for line in model.lines),
        tuple(hand.name for hand in model.hands),
        **dict(zip(_BY_LINE, by_line, strict=True)),
        **dict(zip(_BY_WEEK, by_week, strict=True)),
        bench_seconds=np.zeros((runs, weeks, hands)),
        available_seconds=_hours(shops, weeks, runs),
        unfinished_age_seconds=np.zeros(runs),
        pieces_open=np.zeros((runs, lines)),
        draws={name: np.zeros(runs) for name in (*doubts_of(model), *own)},
    )


def _put(whole: Runs, at: slice, results: Results, draws: Mapping[str, np.ndarray]) -> None:
    """Write the results of some runs where they belong."""
    for name in (*_BY_LINE, "pieces_open"):
        getattr(whole, name)[at] = getattr(results, name)
    whole.batches_finished[at] = results.finished
    whole.lead_time_seconds_sum[at] = results.lead_time
    whole.in_process_seconds[at] = results.in_process
    whole.bench_seconds[at] = results.bench.transpose(0, 2, 1)
    whole.unfinished_age_seconds[at] = results.unfinished_age
    for name, z in draws.items():
        whole.draws[name][at] = z
