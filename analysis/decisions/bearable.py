"""The most that a change's own price may come to: rent, an hour's pay, what a machine costs.

Every flow of such an entry is in proportion to its price, so nothing is simulated again:

    net present value(price) = net present value without the entry - price x worth of a price of 1

which is 0 at the run's own break-even price; where the mean is 0, at their mean. Up to `at_most` at
least DO_SHARE of the runs gain, and all together do: the verdict's own rule (`sentences.py`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.decisions.answer import Bearable
from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.sentences import DO_SHARE


def bearable_prices(ledger: Ledger) -> tuple[Bearable, ...]:
    """One for each price that the change itself asks for; none of a change without any."""
    return tuple(_found(ledger))


def _found(ledger: Ledger) -> Iterator[Bearable]:
    values = ledger.net_present_values
    for entry in ledger.entries:
        if entry.is_asked:
            yield _bearable(entry, (values - ledger.worth(entry)) / _worth_of_one(ledger, entry))


def _worth_of_one(ledger: Ledger, entry: Entry) -> float:
    """Present value of what is paid at a price of 1; the same in each run."""
    return -float(entry.flows.mean(axis=0) @ ledger.discount) / entry.drawn


def _bearable(entry: Entry, prices: np.ndarray) -> Bearable:
    """prices: of each run, at which it neither gains nor loses."""
    mean = float(prices.mean())
    low, most, high = np.quantile(prices, [0.05, 1 - DO_SHARE, 0.95], method="inverted_cdf")
    return Bearable(
        name=entry.name.removeprefix("the "), per=entry.per, given=entry.drawn,
        at_most=min(float(most), mean), breaks_even=mean, low=float(low), high=float(high),
    )  # fmt: skip
