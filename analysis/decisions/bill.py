"""The money of a change, part by part and by the calendar: what is paid, what comes in, when.

Every line is read out of the ledger that the net present value is the sum of, so the lines add up
to it: worth of the last line = sum of the others' = mean net present value.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.decisions.answer import Answer, MoneyLine, Stretch, finite_spread
from analysis.decisions.change import HOUR
from analysis.decisions.ledger import Ledger
from analysis.decisions.sentences import payback_words, span
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.simulate import Runs
from analysis.records.figures import figure
from analysis.records.shop import WEEKS_PER_YEAR

TOGETHER = "All together"
CALENDAR_NOTE = (
    "Means of the runs, not discounted; what comes back at the end (resale, deposit) is in the "
    "last line, while the chart leaves it out."
)
STRETCH_ENDS = (0, 13, 26, 52)  # weeks; from then on each year's
SAME = 1e-9  # of the largest: what adding floats may leave between equal amounts


def bill_of(ledger: Ledger) -> tuple[MoneyLine, ...]:
    """A line for each part of the money, in the ledger's order, and all together as the last."""
    weeks = len(ledger.discount) - 1
    lines = [_line(ledger, part, flows) for part, flows in _parts(ledger).items() if flows.any()]
    if not lines:
        return ()
    worth = float(ledger.net_present_values.mean())
    total = MoneyLine(
        TOGETHER, f"over {span(weeks)}", finite_spread(ledger.flows.sum(axis=1)), worth
    )
    return (*lines, total)


def stretches_of(ledger: Ledger) -> tuple[Stretch, ...]:
    """The same money by quarters and half-years, later by years; none where none flows."""
    last, flows = len(ledger.discount) - 1, ledger.flows
    if not flows.any():
        return ()
    so_far = np.cumsum(flows, axis=1)
    later = range(STRETCH_ENDS[-1] + WEEKS_PER_YEAR, last, WEEKS_PER_YEAR)
    ends = [end for end in (*STRETCH_ENDS, *later) if end < last] + [last]
    firsts = [0, *(end + 1 for end in ends)]
    if not flows[:, 0].any():  # nothing is paid at the start
        ends, firsts = ends[1:], firsts[1:]
    return tuple(
        Stretch(first, end, float(flows[:, first : end + 1].sum(axis=1).mean()),
                finite_spread(so_far[:, end]))
        for first, end in zip(firsts, ends, strict=False)
    )  # fmt: skip


def _parts(ledger: Ledger) -> dict[str, np.ndarray]:
    """Part -> flows (runs, weeks + 1); what is paid and got back again are two parts."""
    parts: dict[str, np.ndarray] = {}
    for entry in ledger.entries:
        split = {entry.part or entry.name: entry.flows}
        if entry.back:
            split = {
                entry.part: np.minimum(entry.flows, 0.0), entry.back: np.maximum(entry.flows, 0.0)
            }  # fmt: skip
        for part, flows in split.items():
            parts[part] = parts.get(part, 0.0) + flows
    return parts


def _line(ledger: Ledger, part: str, flows: np.ndarray) -> MoneyLine:
    worth = float((flows @ ledger.discount).mean())
    return MoneyLine(part, _when(flows), finite_spread(flows.sum(axis=1)), worth)


def _when(flows: np.ndarray) -> str:
    """`at the start`, `end of week 104`, `60 a week`, `200 a week, weeks 1 to 10`; where it is not
    the same in all of them `every week`, and `in 14 weeks of 7 to 27` where not all have any.

    flows: (runs, weeks + 1); a week's amount is the mean over the runs.
    """
    weeks = np.flatnonzero(flows.any(axis=0))
    first, last, end = int(weeks[0]), int(weeks[-1]), flows.shape[1] - 1
    if first == last:
        return f"end of week {first}" if first else "at the start"
    paid = flows[:, weeks]
    same = np.ptp(paid, axis=1).max() <= SAME * np.abs(paid).max()
    each = f"{figure(abs(float(paid.mean())), 3)} a week" if same else "every week"
    if len(weeks) < last - first + 1:
        some = f"in {len(weeks)} weeks of {first} to {last}"
        return f"{each} {some}" if same else some
    return each if (first, last) == (1, end) else f"{each}, weeks {first} to {last}"


def shown(lines: tuple[MoneyLine, ...]) -> Iterator[tuple[int, int]]:
    """(amount, worth) of each line in whole units, so that what is shown adds up to the last line.

    Rounded apart, parts and their sum may differ by one or two; what is missing is put where it
    changes a figure least (largest remainder).
    """
    if not lines:
        return
    amounts = _adding_up([line.amount.mean for line in lines])
    worths = _adding_up([line.worth for line in lines])
    yield from zip(amounts, worths, strict=True)


def by_calendar(stretches: tuple[Stretch, ...]) -> Iterator[tuple[Stretch, int, int]]:
    """Each with (money, so far) in whole units; money is the difference of what stands so far."""
    before = 0
    for stretch in stretches:
        so_far = round(stretch.so_far.mean)
        yield stretch, so_far - before, so_far
        before = so_far


def weeks_words(stretch: Stretch) -> str:
    """`weeks 1 to 13`, `at the start`."""
    first, last = stretch.first_week, stretch.last_week
    if not last:
        return "at the start"
    return f"week {last}" if first == last else f"weeks {first} to {last}"


def _adding_up(values: list[float]) -> list[int]:
    """Parts and, last, their sum, as whole numbers that add up."""
    *parts, total = values
    low = np.floor(parts)
    missing = round(total) - int(low.sum())
    nearest_above = np.argsort(low - parts, kind="stable")
    low[nearest_above[:missing]] += 1
    return [*map(int, low), round(total)]


def notes_of(answer: Answer) -> tuple[str, ...]:
    """What a list of the money does not say by itself: when it is paid back, and what walks saved
    count as. Nothing where there is no money."""
    if not answer.bill:
        return ()
    back = payback_words(answer.money)
    notes = [f"{back[:1].upper()}{back[1:]}. Figures are means of the runs."]
    if answer.walk_hours_saved:
        way = "saved" if answer.walk_hours_saved > 0 else "added"
        notes.append(
            f"Walks {way}: about {figure(abs(answer.walk_hours_saved))} hours a week; hours bring "
            "money only by what is sold more, and so are in the sales."
        )
    return tuple(notes)


def walk_hours(runs: Runs, model: ShopModel) -> float:
    """Hours a week, mean over runs, of walking with batches: batches begun x walks of each."""
    batches = runs.started.mean(axis=(0, 1)) / [line.batch_size for line in model.lines]
    walks = [sum(step.transport_seconds for step in line.steps) for line in model.lines]
    return float(batches @ np.array(walks)) / HOUR
