"""Where a batch's time goes, for a choice of product, variant, worker or one batch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.rates import is_regular

LEFT_OUT_COLUMNS = ["operation", "laps", "timed_seconds", "counted_seconds"]
LOSSES = ("rework", "transport", "delay")  # time that makes no piece better than it should be
NO_OPERATION = "between operations"
CLOCK = ("elapsed_hours", "hours_nobody_worked", "open_hours_nobody_worked")
PER_COLUMNS = [  # a mean and its 95 % range, as `MeanRange`
    "seconds_per_piece", "per_piece_low", "per_piece_high",
    "seconds_per_batch", "per_batch_low", "per_batch_high",
]  # fmt: skip
COLUMNS = ["operation", "activity", "seconds", "laps", *PER_COLUMNS]
OPERATION_COLUMNS = ["operation", "seconds", *PER_COLUMNS]
LATELY = 6  # batches whose sizes tell the usual one, so that an odd one or an old habit does not
NEAR = 0.2  # of a size: batches so near to it lie as long; common practice, no source


@dataclass(frozen=True)
class MeanRange:
    """A mean and its 95 % range; the range is NaN where fewer than three batches tell it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Loss:
    """Mending, walking or interruptions: its bench seconds per good piece and per batch, its share
    of all time, the operation where most of it is and the share of the loss that is there."""

    activity: str
    per_piece: MeanRange
    per_batch: MeanRange
    share: float
    operation: str
    operation_share: float


@dataclass(frozen=True)
class BatchTime:
    """The bench time of the batches chosen.

    minutes              COLUMNS, operations in the order of the route; per good piece and batch
    operations           OPERATION_COLUMNS, the same of each operation in all, in the same order
    batches, pieces      finished batches counted in, and the good pieces they gave; with no
                         finished batch, what is under way (`finished` is False) and its pieces
    per_piece, per_batch bench seconds, on average
    size                 pieces of the next batch: what most of the last LATELY were started with,
                         give or take NEAR, and the latest such where sizes alternate
    next_batch           bench seconds of a next batch of that size: its pieces x the seconds per
                         piece started, with the 95 % range of one batch and not of the average
    left_out             LEFT_OUT_COLUMNS: suspicious laps by operation, what was timed and what
                         they count with instead, the mean of the other laps of the operation
    loss                 of mending, walking and interruptions the one that takes most; None where
                         nothing was lost
    alike                batches that the hours are of: the `last` finished ones of `size` give or
                         take NEAR, whichever batches those before count; with none finished, all
    elapsed_hours, idle_hours, open_idle_hours   per batch: first lap to last, nobody at work on it,
                         and that within the shop's hours; mean and range of a next batch of `size`,
                         from three finished ones alike on; no part reaches further than its whole
    """

    minutes: pd.DataFrame
    operations: pd.DataFrame
    batches: int
    pieces: float
    finished: bool
    per_piece: MeanRange
    per_batch: MeanRange
    size: float
    next_batch: MeanRange
    left_out: pd.DataFrame
    loss: Loss | None
    alike: int
    elapsed_hours: MeanRange
    idle_hours: MeanRange
    open_idle_hours: MeanRange


def batch_time(
    laps: pd.DataFrame,
    batches: pd.DataFrame,
    route: pd.DataFrame,
    product: str,
    variant: str = "",
    worker: str = "",
    batch: str = "",
    last: int | None = None,
) -> BatchTime:
    """Bench time of `product`, narrowed where variant, worker or batch is not blank.

    laps, batches, route: those of a `Study`. Without a batch chosen, the `last` finished ones
    count (None: all); an unfinished one would put its time on too few pieces. Laps that name no
    batch are left out.
    """
    pool = _pool(batches, product, variant, batch)
    finished = bool(pool["finished"].all()) and len(pool) > 0
    chosen = pool.tail(last) if finished and last is not None else pool
    own = _own_laps(
        _trusted(laps[(laps["product"] == product).to_numpy()]), chosen, variant, worker
    )
    made = chosen["good_units" if finished else "units_started"].to_numpy(float)
    minutes = _minutes(own, route, product, chosen["batch"], made)
    size = _usual_size(chosen["units_started"].to_numpy(float))
    alike = _alike(pool, size, last) if finished else pool
    return BatchTime(
        minutes,
        _operations(own, minutes, chosen["batch"], made),
        len(chosen),
        float(made.sum()),
        finished,
        *_ranges(own, chosen["batch"], made),
        size,
        _next_batch(own, chosen, size),
        _left_out(own),
        _largest_loss(minutes, own, chosen["batch"], made),
        len(alike),
        *_clock(alike, finished),
    )


def _pool(batches: pd.DataFrame, product: str, variant: str, batch: str) -> pd.DataFrame:
    """The batch named, or else the finished ones, the last one finished last; where none is
    finished, those under way."""
    chosen = batches[(batches["product"] == product) & (batches["batch"] != "")]
    if variant:
        chosen = chosen[chosen["variant"] == variant]
    if batch:
        chosen = chosen[chosen["batch"] == batch]
    chosen = _one_row_a_batch(chosen)
    if batch or not chosen["finished"].any():
        return chosen
    return chosen[chosen["finished"]].sort_values("last_at", kind="stable")


def _usual_size(started: np.ndarray) -> float:
    """The size that most of the last LATELY batches are near to, the latest such; NaN of none."""
    latest = started[: -LATELY - 1 : -1]
    if not len(latest):
        return np.nan
    return float(latest[np.argmax([_near(latest, size).sum() for size in latest])])


def _near(started: np.ndarray, size: float) -> np.ndarray:
    return (started >= (1 - NEAR) * size) & (started <= (1 + NEAR) * size)


def _alike(pool: pd.DataFrame, size: float, last: int | None) -> pd.DataFrame:
    """The `last` batches of about that size: how long one lies goes with its pieces, but not by
    so much each, so that other sizes do not tell it."""
    near = pool[_near(pool["units_started"].to_numpy(float), size)]
    return near if last is None else near.tail(last)


def _next_batch(own: pd.DataFrame, chosen: pd.DataFrame, size: float) -> MeanRange:
    """Bench seconds of a next batch of `size` pieces, by the seconds per piece started."""
    started = chosen["units_started"].to_numpy(float)
    seconds = _by_batch(own, chosen["batch"])[started > 0]
    each = next_one(seconds / started[started > 0])
    return MeanRange(size * each.value, size * each.low, size * each.high)


def _clock(alike: pd.DataFrame, finished: bool) -> tuple[MeanRange, MeanRange, MeanRange]:
    """CLOCK of the next batch; batches under way tell no range."""
    ranges = [next_one(alike[name].to_numpy(float)) for name in CLOCK]
    if not finished:
        ranges = [MeanRange(each.value, np.nan, np.nan) for each in ranges]
    elapsed, idle, open_idle = ranges
    idle = _within(idle, elapsed)
    return elapsed, idle, _within(open_idle, idle)


def _within(part: MeanRange, whole: MeanRange) -> MeanRange:
    """A part's range, no end of it above the whole's: a part that strays by a larger factor would
    reach beyond it, and none does. This lets go only of batches that outlast the whole's."""
    low, high = np.minimum((part.low, part.high), (whole.low, whole.high))
    return MeanRange(part.value, float(low), float(high))


def _one_row_a_batch(chosen: pd.DataFrame) -> pd.DataFrame:
    """Batches of several variants as one: pieces added, finished when all are good or lost, the
    clock hours those of the variant with most work. Pieces begun before they had a variant are
    those that have one later, and are not started twice."""
    chosen = chosen.sort_values("worked_hours", ascending=False, kind="stable")
    chosen = chosen.astype({"batch": str})
    blank = (chosen["variant"] == "").to_numpy()
    chosen = chosen.assign(
        unnamed=chosen["units_started"].where(blank, 0),
        named=chosen["units_started"].mask(blank, 0),
        gone=chosen["good_units"] + chosen["lost_units"],
    )
    how = dict.fromkeys([*CLOCK, "last_at"], "first") | dict.fromkeys(
        ["good_units", "unnamed", "named", "gone"], "sum"
    )
    one = chosen.groupby("batch", sort=False).agg(how).reset_index()
    started = one[["unnamed", "named"]].max(axis=1)
    return one.assign(units_started=started, finished=(one["gone"] >= started) & (started > 0))


def _trusted(laps: pd.DataFrame) -> pd.DataFrame:
    """One product's laps, the suspicious ones (a forgotten stop) with the mean seconds of the
    others of their operation, since their pieces took some time; `timed` is what the laps say."""
    doubted = laps["suspicious"].to_numpy(bool) & is_regular(laps)
    good = laps[is_regular(laps) & ~doubted]
    sums = good.groupby("operation", observed=True)[["seconds", "units"]].sum()
    mean = laps["operation"].astype(str).map((sums["seconds"] / sums["units"]).to_dict())
    usual = mean.to_numpy(float) * laps["units"].to_numpy()
    doubted &= ~np.isnan(usual)
    seconds = np.where(doubted, usual, laps["seconds"].to_numpy(float))
    return laps.assign(timed=laps["seconds"], seconds=seconds, doubted=doubted)


def _left_out(own: pd.DataFrame) -> pd.DataFrame:
    """LEFT_OUT_COLUMNS of the laps that are not counted as they were timed."""
    doubted = own[own["doubted"]].astype({"operation": str})
    return (
        doubted.groupby("operation")
        .agg(laps=("timed", "size"), timed_seconds=("timed", "sum"), counted=("seconds", "sum"))
        .reset_index()
        .set_axis(LEFT_OUT_COLUMNS, axis=1)
    )


def _own_laps(laps: pd.DataFrame, chosen: pd.DataFrame, variant: str, worker: str) -> pd.DataFrame:
    here = laps["batch"].isin(chosen["batch"].astype(str))
    if variant:
        here &= laps["variant"].isin([variant, ""])
    if worker:
        here &= laps["worker"] == worker
    return laps.loc[here, ["batch", "operation", "activity", "seconds", "timed", "doubted"]]


def _minutes(
    own: pd.DataFrame, route: pd.DataFrame, product: str, names: pd.Series, made: np.ndarray
) -> pd.DataFrame:
    keys = ["operation", "activity"]
    table = own.groupby(keys, observed=True)["seconds"].agg(["sum", "size"]).reset_index()
    table = table.astype(dict.fromkeys(keys, "str")).rename(
        columns={"sum": "seconds", "size": "laps"}
    )
    places = route[route["product"] == product].groupby("operation", observed=True)["position"]
    place = table["operation"].map(places.min().to_dict()).fillna(np.inf)
    table = table.merge(_per(own, keys, names, made), on=keys)
    table["operation"] = table["operation"].replace("", NO_OPERATION)
    order = np.lexsort([-table["seconds"], table["operation"], place])
    return table.iloc[order].reset_index(drop=True)[COLUMNS]


def _operations(
    own: pd.DataFrame, minutes: pd.DataFrame, names: pd.Series, made: np.ndarray
) -> pd.DataFrame:
    """OPERATION_COLUMNS, in the order of `minutes`."""
    seconds = minutes.groupby("operation", sort=False)["seconds"].sum().reset_index()
    per = _per(own, ["operation"], names, made)
    per["operation"] = per["operation"].replace("", NO_OPERATION)
    return seconds.merge(per, on="operation", how="left")[OPERATION_COLUMNS]


def _per(own: pd.DataFrame, keys: list[str], names: pd.Series, made: np.ndarray) -> pd.DataFrame:
    """PER_COLUMNS of the laps `own` by `keys`, over the batches named; a batch without such laps
    counts with 0 s."""
    own = own.astype(dict.fromkeys([*keys, "batch"], "str"))
    by_batch = own.pivot_table(values="seconds", index=keys, columns="batch", aggfunc="sum")
    by_batch = by_batch.reindex(columns=names.astype(str)).fillna(0.0)
    rows = []
    for seconds in by_batch.to_numpy(float):
        piece, batch = _ratio(seconds, made), _ratio(seconds, np.ones(len(made)))
        rows.append((piece.value, piece.low, piece.high, batch.value, batch.low, batch.high))
    return pd.DataFrame(rows, columns=PER_COLUMNS, index=by_batch.index).reset_index()


def _ranges(own: pd.DataFrame, names: pd.Series, made: np.ndarray) -> tuple[MeanRange, MeanRange]:
    """Seconds of the laps `own` per piece made and per batch, over the batches named."""
    seconds = _by_batch(own, names)
    return _ratio(seconds, made), _ratio(seconds, np.ones(len(made)))


def _by_batch(own: pd.DataFrame, names: pd.Series) -> np.ndarray:
    """Seconds of each of the batches named."""
    seconds = own.groupby("batch", observed=True)["seconds"].sum().reindex(names).fillna(0)
    return seconds.to_numpy(float)


def next_one(values: np.ndarray) -> MeanRange:
    """The mean of some lengths of time, and the 95 % range of one more (from three on):
    exp(m -+ t(.975, n - 1) s sqrt(1 + 1/n)), m and s those of the n logs (Hahn & Meeker,
    Statistical Intervals, 1991: one future observation), as times stray by a factor.

    The 1 is how much batches differ, the 1/n how well their mean is known. Where one took no time
    there are no logs, and the same is done with the values, 0 at least.
    """
    from scipy.special import stdtrit  # scipy is slow to import, and not every screen asks

    count = len(values)
    value = float(np.mean(values)) if count else np.nan
    if count < 3 or np.isnan(value):
        return MeanRange(value, np.nan, np.nan)
    logs = values.min() > 0
    seen = np.log(values) if logs else values
    half = stdtrit(count - 1, 0.975) * np.std(seen, ddof=1) * np.sqrt(1 + 1 / count)
    low, high = np.mean(seen) - half, np.mean(seen) + half
    if logs:
        return MeanRange(value, float(np.exp(low)), float(np.exp(high)))
    return MeanRange(value, max(low, 0.0), high)


def _ratio(top: np.ndarray, bottom: np.ndarray) -> MeanRange:
    """r = sum(top) / sum(bottom) over batches, and r -+ t(.975, m - 1) se.

    se = sqrt(m / (m - 1) sum (top - r bottom)^2) / sum(bottom) (Cochran, Sampling Techniques,
    1977, the ratio estimate); batches, not laps, are the independent pieces of evidence.
    """
    from scipy.special import stdtrit  # scipy is slow to import, and not every screen asks

    count, whole = len(top), bottom.sum()
    value = top.sum() / whole if whole else np.nan
    if count < 3 or not whole:
        return MeanRange(value, np.nan, np.nan)
    error = np.sqrt(count / (count - 1) * ((top - value * bottom) ** 2).sum()) / whole
    half = stdtrit(count - 1, 0.975) * error
    return MeanRange(value, max(value - half, 0.0), value + half)


def _largest_loss(
    minutes: pd.DataFrame, own: pd.DataFrame, names: pd.Series, made: np.ndarray
) -> Loss | None:
    lost = minutes[minutes["activity"].isin(LOSSES)]
    by_activity = lost.groupby("activity")["seconds"].sum()
    if not by_activity.sum() > 0:
        return None
    activity, seconds = by_activity.idxmax(), by_activity.max()
    rows = lost[lost["activity"] == activity]
    most = rows.loc[rows["seconds"].idxmax()]
    per_piece, per_batch = _ranges(own[own["activity"] == activity], names, made)
    return Loss(
        activity,
        per_piece,
        per_batch,
        share=seconds / minutes["seconds"].sum(),
        operation=most["operation"],
        operation_share=most["seconds"] / seconds,
    )
