"""A decision: when it has earned itself back, what moves the answer, a week before and after."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from analysis.decisions.answer import Mover, Path, Situation


def payback_chart(path: Path, currency: str) -> alt.Chart:
    """Money so far against going on as before, by week: its middle and nine of ten runs."""
    raise NotImplementedError


def movers_chart(movers: Sequence[Mover], mean: float, currency: str) -> alt.Chart:
    """What moves the answer: a bar from one likely end to the other, the widest first.

    mean: net present value with all as it comes. ValueError where there is no mover.
    """
    raise NotImplementedError


def before_after_chart(before: Situation, after: Situation) -> alt.Chart:
    """Pieces sold, bench hours and idle hours in a week, before and after, with their ranges."""
    raise NotImplementedError
