"""The order of work on the clock: one row an operation; work, setting up and waiting told apart
by a symbol strewn over each as well as by shade. Hours in which the shop is closed are drawn as
narrow strips, so that a night takes no more of a phone's width than it is worth.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look
from analysis.charts.stretches import Kind, fill, strewn
from analysis.records.figures import clock

CLOSED_SHARE = 0.03  # of the open hours' width: what a lunch or a night is drawn as
MOST_TICKS = 6
READ_OUT = 14
SETUP = Kind("setting up", look.ORANGE, "upright")
WAIT = Kind("waits, no hands needed", "#D9D9D9", "level")
_WORKER_SYMBOLS = (None, "circle", "cross", "diamond", "triangle-right", "square")
_WORKER_COLOURS = (look.SKY, look.GREEN, look.PURPLE, look.VERMILION, look.BLUE, look.GREY)


def schedule_chart(
    timeline: pd.DataFrame, start: datetime, open_spans: Sequence[tuple[float, float]]
) -> alt.Chart:
    """The stretches of `timeline` (see flow/timeline.py) from `start` (aware) on.

    open_spans: when the shop is open, seconds from `start`; none at all = always. Raises ValueError
    on an empty frame.
    """
    look.refuse_nothing(timeline, "the schedule")
    width = _Width(timeline, open_spans)
    kinds = _kinds(timeline)
    drawn = _drawn(timeline, start, width, kinds)
    rows = list(dict.fromkeys(drawn["row"]))
    y = alt.Y("row:N", sort=rows, title=None)
    x = alt.X(
        "start:Q",
        title="time on the clock",
        scale=alt.Scale(domain=[0, width.end], nice=False, zero=True),
        axis=_clock_axis(start, width),
    )
    shown = [kind for kind in kinds.values() if kind.words in set(drawn["said"])]
    columns = 2 if len(shown) > 2 else 3
    bars = _bars(drawn, x, y, fill(shown, columns))
    symbols = strewn(drawn, "row", y, shown, columns)
    layers = alt.layer(*_closed_hours(width, x), bars, symbols)
    return look.finished(layers, _in_words(drawn), alt.Step(look.ROW_PIXELS))


def _closed_hours(width: "_Width", x: alt.X) -> list[alt.Chart]:
    """A strip over each stretch in which the shop is closed; none where it never is."""
    if not width.closed:
        return []
    strips = alt.Chart(pd.DataFrame(width.closed, columns=["start", "end"])).mark_rect(
        opacity=0.18, fill=look.INK, stroke=look.INK, strokeDash=[2, 2], strokeWidth=0.6
    )
    return [strips.encode(x=x, x2="end:Q")]


def _bars(drawn: pd.DataFrame, x: alt.X, y: alt.Y, colours: alt.Fill) -> alt.Chart:
    tooltip = [
        alt.Tooltip("row:N", title="operation"),
        alt.Tooltip("said:N", title="what"),
        alt.Tooltip("begins:N", title="from"),
        alt.Tooltip("ends:N", title="to"),
        alt.Tooltip("pieces:Q", title="pieces"),
    ]
    bars = alt.Chart(drawn).mark_bar(stroke=look.INK, strokeWidth=0.6)
    return bars.encode(y=y, x=x, x2="end:Q", fill=colours, tooltip=tooltip)


class _Width:
    """Where a moment stands on the chart: open hours to scale, closed ones in a narrow strip."""

    def __init__(self, timeline: pd.DataFrame, open_spans: Sequence[tuple[float, float]]):
        last = float(timeline["end_seconds"].max())
        spans = [(max(a, 0.0), min(b, last)) for a, b in open_spans if b > 0 and a < last]
        self.spans = spans or [(0.0, last)]
        if self.spans[0][0] > 0:
            self.spans = [(0.0, 0.0), *self.spans]
        if self.spans[-1][1] < last:
            self.spans = [*self.spans, (last, last)]
        worked = sum(b - a for a, b in self.spans)
        strip = CLOSED_SHARE * max(worked, 1.0)
        moments, places = [0.0], [0.0]
        self.closed: list[tuple[float, float]] = []
        for a, b in self.spans:
            if a > moments[-1]:
                before = places[-1]
                places.append(before + min(strip, a - moments[-1]))
                moments.append(a)
                self.closed.append((before / 60, places[-1] / 60))
            moments.append(b)
            places.append(places[-1] + b - a)
        self.moments, self.places = np.array(moments), np.array(places)

    def at(self, seconds: float | np.ndarray) -> np.ndarray:
        """Where moments stand, in minutes along the chart's width; of the shape of `seconds`."""
        return np.interp(seconds, self.moments, self.places) / 60

    @property
    def end(self) -> float:
        """The chart's whole width, in minutes along it."""
        return float(self.places[-1] / 60)


def _kinds(timeline: pd.DataFrame) -> dict[str, Kind]:
    """The kinds of stretches by worker, "setup" and "wait"."""
    people = list(dict.fromkeys(timeline.loc[timeline["activity"] == "operation", "worker"]))
    count = len(_WORKER_SYMBOLS)
    kinds = {
        name: Kind(
            f"{name} at work" if len(people) > 1 else "at work",
            _WORKER_COLOURS[i % count], _WORKER_SYMBOLS[i % count],
        )
        for i, name in enumerate(people)
    }  # fmt: skip
    return kinds | {" setup": SETUP, " wait": WAIT}


def _drawn(timeline: pd.DataFrame, start: datetime, width: _Width, kinds: dict) -> pd.DataFrame:
    """Rows as drawn: waits first, so that work lies over them."""
    key = timeline["worker"].where(timeline["activity"] == "operation", " " + timeline["activity"])
    label = row_labels(timeline)
    frame = pd.DataFrame(
        {
            "row": label,
            "said": key.map({name: kind.words for name, kind in kinds.items()}),
            "start": width.at(timeline["start_seconds"].to_numpy(float)),
            "end": width.at(timeline["end_seconds"].to_numpy(float)),
            "begins": [_clock(start, s) for s in timeline["start_seconds"]],
            "ends": [_clock(start, s) for s in timeline["end_seconds"]],
            "pieces": timeline["units"],
        }
    )
    return frame[frame["end"] > frame["start"]].reset_index(drop=True)


def row_labels(timeline: pd.DataFrame) -> pd.Series:
    """The operation, with a letter for its batch where there are several; a setup that several
    batches share has none."""
    batches = sorted(set(timeline.loc[timeline["batch"] >= 0, "batch"]))
    if len(batches) < 2:
        return timeline["operation"].astype(str)
    letters = timeline["batch"].map({batch: f" {letter(batch)}" for batch in batches}).fillna("")
    return timeline["operation"].astype(str) + letters


def letter(batch: int) -> str:
    """A, B, C … for the batches of a session."""
    return chr(ord("A") + batch % 26)


def _clock(start: datetime, seconds: float) -> str:
    moment = _moment(start, seconds)
    return f"{moment:%a} {clock(moment)}"


def _moment(start: datetime, seconds: float) -> datetime:
    return (start.astimezone(UTC) + timedelta(seconds=float(seconds))).astimezone(start.tzinfo)


def _clock_axis(start: datetime, width: _Width) -> alt.Axis:
    """Ticks at each day's opening and at whole hours between, their words looked up by place."""
    ticks = _ticks(start, width)
    words = "{" + ",".join(f"'{place}':{lines}" for place, lines in ticks.items()) + "}"
    return alt.Axis(
        values=list(ticks), labelExpr=f"{words}[datum.value]", labelOverlap="greedy",
        labelFlush=True, grid=False, tickSize=6, labelAlign="left",
    )  # fmt: skip


def _ticks(start: datetime, width: _Width) -> dict[int, list[str]]:
    """Whole minutes along the width -> the two lines of the label (time, day)."""
    room = width.end / MOST_TICKS
    days: dict[int, list[str]] = {}
    last = None
    for a, b in width.spans:
        moment = _moment(start, a)
        if b > a and moment.date() != last:
            days[round(float(width.at(a)))] = [clock(moment), f"{moment:%a} {moment.day}"]
            last = moment.date()
    hours: dict[int, list[str]] = {}
    for seconds in _whole_hours(start, width):
        place = round(float(width.at(seconds)))
        near = [abs(place - other) for other in (*days, *hours)]
        if min(near, default=room) >= room and width.end - place > room / 3:
            hours[place] = [clock(_moment(start, seconds)), ""]
    return dict(sorted((days | hours).items()))


def _whole_hours(start: datetime, width: _Width) -> Iterator[float]:
    """Every whole hour in which the shop is open, as seconds from the start."""
    for a, b in width.spans:
        moment = _moment(start, a)
        past = moment.minute * 60 + moment.second
        first = a + (3600 - past) % 3600
        yield from np.arange(first, b, 3600.0)


def _in_words(drawn: pd.DataFrame) -> str:
    """What a screen reader says in place of the picture."""
    work = drawn[drawn["said"] != WAIT.words].sort_values("start", kind="stable")
    lines = [f"{row.begins} to {row.ends} {row.row}, {row.said}"
             for row in work.head(READ_OUT).itertuples()]  # fmt: skip
    more = f"; and {len(work) - READ_OUT} more" if len(work) > READ_OUT else ""
    return (
        f"Schedule of {len(set(drawn['row']))} operations on the clock, one row each. "
        + "; ".join(lines) + more + "."
    )  # fmt: skip
