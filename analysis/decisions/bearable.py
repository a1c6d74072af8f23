"""The most that a change's own price may come to: rent, an hour's pay, what a machine costs.

Every flow of such an entry is in proportion to its price, so nothing is simulated again:

    net present value(price) = net present value without the entry - price x worth of a price of 1

which is 0 at the run's own break-even price; its mean is 0 at the mean of these. Fixed at less than
`at_most`, at least DO_SHARE of the runs gain, and all together do: the verdict's own rule
(`sentences.py`), which draws a price that is given as a range.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from analysis.decisions.answer import Bearable
from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.sentences import DO_SHARE

ROUNDING = 1e-9  # of a count of runs: 1 - 0.8 is a little less than a fifth


def bearable_prices(ledger: Ledger) -> tuple[Bearable, ...]:
    """One for each price that the change itself asks for; none of a change without any."""
    return tuple(_found(ledger))


def _found(ledger: Ledger) -> Iterator[Bearable]:
    values = ledger.net_present_values
    for entry in ledger.entries:
        paid_for_one = 0.0 if entry.asked is None else -float(entry.asked @ ledger.discount)
        if paid_for_one:
            yield _bearable(entry, (values - ledger.worth(entry)) / paid_for_one)


def _bearable(entry: Entry, prices: np.ndarray) -> Bearable:
    """prices: of each run, at which it neither gains nor loses."""
    mean = float(prices.mean())
    low, high = np.quantile(prices, [0.05, 0.95], method="inverted_cdf")
    may_lose = math.floor((1 - DO_SHARE) * len(prices) + ROUNDING)
    most = float(np.partition(prices, may_lose)[may_lose])
    return Bearable(
        name=entry.name, per=entry.per, given=entry.drawn, at_most=min(most, mean),
        breaks_even=mean, low=float(low), high=float(high),
        is_range=entry.estimate is not None and entry.estimate.is_range,
    )  # fmt: skip
