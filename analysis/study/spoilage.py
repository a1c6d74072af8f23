"""Pace against spoilage: how the chance that a piece is spoiled changes with how fast it is worked.

`spoilage` is the main path: laps -> paces -> a logistic curve per operation, in two readings ->
what the operations tell of each other -> what can be said, and what other explanation shows.

The chance of a fault at pace x (log of seconds over expected seconds) is, per operation, over all
products, variants and workers,
    chance(x) = 1 / (1 + exp(-(intercept + slope x))),
binomial in the pieces of each lap, clustered by batch. x is the pace just before (pace.py). Which
of its two readings holds, carried or steady, is weighed by their likelihoods; draws are of both.

Pace is told against the fitted curve, whose level takes in how quick the sessions happened to be;
the chance at so many seconds, which is what can be chosen, is free of that.

What is held before the laps are seen: a slope is normal about 0 with a spread of one of SPREADS,
each operation having its own; how common each spread is at this bench is learnt from all its
operations (a scale mixture by empirical Bayes, Laird 1978; Stephens 2017), beginning from all
alike, with the weight of GUESS_WEIGHS_AS operations. So a chance association in few data is drawn
to 0 where other operations show none, and a strong one is left as it is. 0 is the centre because
that haste spoils at THIS operation is for its own laps to show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.study.frames import Row, Values
from analysis.study.logistic import LogisticFit, chance, fit_logistic
from analysis.study.pace import paces
from analysis.study.power import errors_to_tell
from analysis.study.quality import wilson
from analysis.study.rates import Z95, codes

SPREADS = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
GUESS_WEIGHS_AS = 4.0  # operations
WEAK_SPREAD = 16.0  # of a slope in the fits before pooling: 10 % faster, odds up to fivefold
NOTICEABLE = -np.log(1.5) / np.log(10 / 9)  # a tenth less time, half as many faults again, in odds
SIGNIFICANCE = 0.05
DRAWS = 1000
BINS = 6
LINE = 25
SCATTER = (np.arange(9) + 0.5) / 9
SEEN = (0.05, 0.95)  # the paces the middle nine tenths of the pieces were made at
LEAST_WIDTH = 0.01  # of that range: below, everything was worked at one pace

CURVE_COLUMNS = (
    "operation", "laps", "pieces", "faults", "scrap_share", "batches", "workers", "pace_low",
    "pace_high", "usual_pace", "usual_chance", "usual_chance_low", "usual_chance_high", "slope",
    "slope_low", "slope_high", "slope_alone", "slope_alone_low", "slope_alone_high", "p_value",
    "p_holm", "own_slope", "own_slope_low", "own_slope_high", "within_batch_slope",
    "within_batch_low", "within_batch_high", "within_worker_slope", "within_worker_low",
    "within_worker_high", "differs", "steady_weight", "reliability", "laps_more", "verdict", "note",
)  # fmt: skip
POINT_COLUMNS = ("operation", "measure", "pace", "pieces", "faults", "chance", "low", "high")
LINE_COLUMNS = ("operation", "pace", "chance", "low", "high")
VERDICTS = ("haste spoils", "slowness spoils", "hardly matters", "cannot tell", "no fault yet",
            "nothing good yet", "no pace before")  # fmt: skip


@dataclass(frozen=True)
class Spoilage:
    """curves: CURVE_COLUMNS, a row an operation, those with the surest effect first:

    laps, pieces, faults, batches, workers   those with pieces just before them (faults that name
        another operation as their cause are left out); scrap_share: of
        the faults, the share that is lost
    pace_low, pace_high   range of the pace seen (SEEN), as log of seconds over expected
    usual_pace, usual_chance   mean pace just before, and the chance of a fault at it
    slope    of the log-odds on pace: below 0 haste spoils. Pooled; interval over both readings
    slope_alone   this operation's laps alone, carried reading, cluster-robust by batch, t
    p_value, p_holm   of slope_alone; p_holm allows for the operations looked at (Holm 1979)
    own_slope   on the lap's own pace: fooled by the spoiled piece's own time, to be shown so
    within_batch_slope, within_worker_slope   against pieces of the same worker and batch, of the
        same worker only (Neuhaus & Kalbfleisch 1998): free of what batches or
        workers differ in
    differs   "batch", "worker", "batch and worker" or "": where the slope within differs from the
        slope between (p < .01), and the pooled one may be confounded
    steady_weight   how likely the steady reading is against the carried one, by likelihood
    reliability   how well earlier laps tell the pace of the next: 1 perfectly, 0 not
    laps_more   about how many more laps until a slope of NOTICEABLE would show (power 80 %), from
        the information of the laps so far; 0 where it is told already
    verdict, note   one of VERDICTS, and a plain sentence

    points: POINT_COLUMNS: share of faults in bins of pace; measure "just before" or "own".
    line: LINE_COLUMNS: the curve with its 95 % band over the paces seen.
    draws: (DRAWS, operations, 2) of intercept and slope, in the order of curves; NaN where no
        curve can be fitted.
    scatter: (operations, len(SCATTER)) quantiles of the pace just before, less usual_pace: how
        paces scatter about the one aimed at.
    """

    curves: pd.DataFrame
    points: pd.DataFrame
    line: pd.DataFrame
    draws: np.ndarray
    scatter: np.ndarray


def spoilage(laps: pd.DataFrame, rng: np.random.Generator, timezone: str = "UTC") -> Spoilage:
    """How faults depend on pace, per operation: `Spoilage`, its frames one row an operation.

    laps: `Study.laps`. Pace is the log of seconds per piece over those expected; chances are shares
    of pieces. rng: draws behind the ranges. timezone: of the shop.
    """
    frame = paces(laps, timezone)
    names = list(frame["operation"].cat.remove_unused_categories().cat.categories)
    data = _Followed.of(frame, names)
    fits = _Fits.of(data)
    gain = fits.steady.log_likelihood - fits.carried.log_likelihood
    steady_weight = np.where(data.told, chance(gain), np.nan)
    draws = _draws(data, fits, steady_weight, rng)
    curves = _curve_frame(data, fits, steady_weight, draws)
    scatter = data.quantiles("carried", SCATTER) - curves["usual_pace"].to_numpy()[:, None]
    order = np.lexsort([curves["operation"], curves["p_value"].fillna(2.0)])
    curves, draws = curves.iloc[order].reset_index(drop=True), draws[:, order]
    return Spoilage(curves, _points(data), _line(curves, draws), draws, scatter[order])


@dataclass(frozen=True)
class _Followed:
    """The laps with pieces just before them, as arrays, and what they add up to by operation."""

    names: list[str]
    frame: pd.DataFrame
    group: np.ndarray  # over laps: the operation
    hands: np.ndarray  # code of operation and worker
    hands_in_batch: np.ndarray
    told: np.ndarray  # over operations: a curve can be fitted

    @classmethod
    def of(cls, frame: pd.DataFrame, names: list[str]) -> _Followed:
        frame = frame[frame["carried"].notna()].reset_index(drop=True)
        product, worker = (
            frame[name].cat.codes.to_numpy("int64") for name in ("product", "worker")
        )
        group = pd.Index(names).get_indexer(frame["operation"].astype(object))
        hands = codes(group, worker)
        followed = cls(names, frame, group, hands, codes(hands, frame["cluster"].to_numpy()),
                       np.zeros(len(names), bool))  # fmt: skip
        faults, pieces = followed.sums("faults"), followed.sums("pieces")
        low, high = followed.quantiles("carried", SEEN).T
        mixed = (faults > 0) & (faults < pieces) & (followed.distinct(frame["cluster"]) > 2)
        return replace(followed, told=mixed & (high - low > LEAST_WIDTH))

    def column(self, name: str) -> np.ndarray:
        """A column of the laps as float64."""
        return self.frame[name].to_numpy(float)

    def sums(self, name: str) -> np.ndarray:
        """Over operations: the sum of a column."""
        return np.bincount(self.group, self.column(name), len(self.names))

    def laps(self) -> np.ndarray:
        """Over operations: how many laps."""
        return np.bincount(self.group, minlength=len(self.names))

    def distinct(self, of: pd.Series) -> np.ndarray:
        """Over operations: how many distinct codes; of: whole numbers from 0, one a lap."""
        of = np.asarray(of, "int64")
        span = int(of.max(initial=0)) + 1
        return np.bincount(np.unique(self.group * span + of) // span, minlength=len(self.names))

    def quantiles(self, name: str, shares: Sequence[float] | np.ndarray) -> np.ndarray:
        """(operations, shares) quantiles of a column; NaN where an operation has no laps."""
        order = np.lexsort([self.column(name), self.group])
        value, laps = self.column(name)[order], self.laps()
        first = (np.cumsum(laps) - laps)[:, None]
        place = np.asarray(shares) * np.maximum(laps - 1, 0)[:, None]
        below = np.floor(place).astype(int)
        above = np.minimum(below + 1, np.maximum(laps - 1, 0)[:, None])
        value = np.append(value, np.nan)
        low, high = (value[np.where(laps[:, None] > 0, first + at, -1)] for at in (below, above))
        return low + (place - below) * (high - low)


@dataclass(frozen=True)
class _Fits:
    """The regressions over all operations at once, slope last. within_*: columns between, within.
    t: by how much a t interval with the clusters at hand is wider than a normal one."""

    carried: LogisticFit
    steady: LogisticFit
    own: LogisticFit
    within_batch: LogisticFit
    within_worker: LogisticFit
    freedom: np.ndarray
    t: np.ndarray

    @classmethod
    def of(cls, data: _Followed) -> _Fits:
        from scipy.special import stdtrit  # scipy takes a moment to import

        carried = _fit(data, data.column("carried"))
        freedom = np.maximum(carried.clusters - 2, 1)
        return cls(
            carried,
            _fit(data, data.column("steady")),
            _fit(data, data.column("own")),
            _within(data, data.hands_in_batch),
            _within(data, data.hands),
            freedom,
            stdtrit(freedom, 0.975),
        )


def _fit(data: _Followed, *columns: np.ndarray) -> LogisticFit:
    """On an intercept and these columns; laps without one, and operations not told, left out."""
    used = data.told[data.group] & np.all([np.isfinite(c) for c in columns], axis=0)
    design = [np.ones(used.sum()), *(column[used] for column in columns)]
    held = [1e-6, *[1 / WEAK_SPREAD**2] * len(columns)]
    faults, pieces = data.column("faults")[used], data.column("pieces")[used]
    cluster = data.frame["cluster"].to_numpy()[used]
    return fit_logistic(design, faults, pieces, data.group[used], len(data.names), cluster, held)


def _within(data: _Followed, within: np.ndarray) -> LogisticFit:
    """Between and within: m the mean pace of the faultless laps of a code of `within`; columns m
    and x - m. Laps at fault are left out of m, since their own time is longer for the fault and
    would make x - m shorter by it."""
    own, pieces = data.column("own"), data.column("pieces")
    counted = np.where(np.isfinite(own) & (data.column("faults") == 0), pieces, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(within, counted * np.nan_to_num(own)) / np.bincount(within, counted)
    between = mean[within] if len(within) else np.zeros(0)
    return _fit(data, between, data.column("carried") - between)


@dataclass(frozen=True)
class _Pooled:
    """Posterior of every operation's slope: a mixture over SPREADS (operations x spreads)."""

    weight: np.ndarray
    mean: np.ndarray
    variance: np.ndarray


def _pooled(fit: LogisticFit, told: np.ndarray, t: np.ndarray) -> _Pooled:
    """The slopes b with variances v, seen together. weight ~ share_s normal(b; 0, v + s^2),
    mean = b s^2 / (s^2 + v), variance = v s^2 / (s^2 + v); the shares by expectation-maximisation.
    """
    slope = fit.beta[:, 1, None]
    variance = (fit.robust[:, 1, 1] * (t / Z95) ** 2)[:, None]
    marginal = variance + SPREADS**2
    density = np.exp(-0.5 * slope**2 / marginal) / np.sqrt(marginal)
    share = np.full(len(SPREADS), 1 / len(SPREADS))
    for _ in range(100):
        weight = density * share
        weight = weight / weight.sum(axis=1, keepdims=True)
        share = weight[told].sum(axis=0) + GUESS_WEIGHS_AS / len(SPREADS)
        share = share / share.sum()
    shrink = SPREADS**2 / marginal
    return _Pooled(weight, slope * shrink, variance * shrink)


def _draws(
    data: _Followed, fits: _Fits, steady_weight: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """(DRAWS, operations, 2): a reading by its weight, a slope by its posterior, an intercept by
    what the slope leaves of it."""
    carried = _drawn(fits.carried, data.told, fits.t, rng)
    steady = _steepened(_drawn(fits.steady, data.told, fits.t, rng), data, rng)
    is_steady = rng.random((DRAWS, len(data.names))) < np.nan_to_num(steady_weight)
    drawn = np.where(is_steady[:, :, None], steady, carried)
    return np.where(data.told[:, None], drawn, np.nan)


def _steepened(drawn: np.ndarray, data: _Followed, rng: np.random.Generator) -> np.ndarray:
    """The curve on the session's own pace, from that on the guess of it.

    The guess leaves a variance v, over which the curve is flattened: E chance(a + b x) is about
    chance((a + b m) / sqrt(1 + b^2 v / 2.89)) (2.89 = 1.7^2, the logistic as a normal; Carroll et
    al. 2006, from memory), so both are multiplied by 1 / sqrt(1 - b^2 v / 2.89). The guess itself
    rests on tau^2, known from m sessions to about a factor exp(+-sqrt(2 / m)), which moves slopes
    by (1 - reliability) of that.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        left, reliability = (
            data.sums(name) / data.laps() for name in ("steady_variance", "reliability")
        )
        doubt = (1 - reliability) * np.sqrt(2 / data.distinct(data.frame["cluster"]))
    flattened = np.minimum(drawn[:, :, 1] ** 2 * left / 2.89, 0.5)
    steeper = 1 / np.sqrt(1 - flattened)
    slope = drawn[:, :, 1] * steeper * np.exp(doubt * rng.standard_normal(steeper.shape))
    return np.stack([drawn[:, :, 0] * steeper, slope], axis=2)


def _drawn(
    fit: LogisticFit, told: np.ndarray, t: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    pooled = _pooled(fit, told, t)
    shape = (DRAWS, len(told))
    at = (rng.random(shape)[:, :, None] > np.cumsum(pooled.weight, axis=1)).sum(axis=2)
    at = np.minimum(at, len(SPREADS) - 1)
    operation = np.arange(len(told))
    spread = np.sqrt(pooled.variance[operation, at])
    slope = pooled.mean[operation, at] + spread * rng.standard_normal(shape)
    covariance = fit.robust * ((t / Z95) ** 2)[:, None, None]
    per_slope = covariance[:, 0, 1] / covariance[:, 1, 1]
    left = np.maximum(covariance[:, 0, 0] - per_slope * covariance[:, 0, 1], 0.0)
    intercept = fit.beta[:, 0] + per_slope * (slope - fit.beta[:, 1])
    intercept = intercept + np.sqrt(left) * rng.standard_normal(shape)
    return np.stack([intercept, slope], axis=2)


def _curve_frame(
    data: _Followed, fits: _Fits, steady_weight: np.ndarray, draws: np.ndarray
) -> pd.DataFrame:
    told, pieces, faults = data.told, data.sums("pieces"), data.sums("faults")
    table = pd.DataFrame({"operation": data.names, "laps": data.laps(), "pieces": pieces})
    table["faults"] = faults
    with np.errstate(invalid="ignore", divide="ignore"):
        table["scrap_share"] = data.sums("scrap") / faults
        table["usual_pace"] = (
            np.bincount(data.group, data.column("pieces") * data.column("carried"), len(told))
            / pieces
        )
        table["reliability"] = data.sums("reliability") / data.laps()
    table["batches"] = data.distinct(data.frame["cluster"])
    table["workers"] = data.distinct(data.frame["worker"].cat.codes)
    table["pace_low"], table["pace_high"] = data.quantiles("carried", SEEN).T
    table["steady_weight"] = steady_weight
    _add_usual_chance(table, draws, told)
    table["slope"] = np.where(told, draws[:, :, 1].mean(axis=0), np.nan)
    table["slope_low"], table["slope_high"] = np.quantile(draws[:, :, 1], [0.025, 0.975], axis=0)
    _add_slopes(table, data, fits)
    table["laps_more"] = _laps_more(table, data, fits)
    table["verdict"] = _verdicts(table, told)
    table.loc[table["verdict"].isin(VERDICTS[:3]), "laps_more"] = 0.0
    table["note"] = pd.Series([_note(row) for row in table.itertuples()], dtype="str")
    return table[list(CURVE_COLUMNS)]


def _add_usual_chance(table: pd.DataFrame, draws: np.ndarray, told: np.ndarray) -> None:
    """From the curve where there is one, else the plain share with Wilson's interval."""
    at_usual = chance(draws[:, :, 0] + draws[:, :, 1] * table["usual_pace"].to_numpy())
    low, high = np.quantile(at_usual, [0.025, 0.975], axis=0)
    plain_low, plain_high = wilson(table["faults"], table["pieces"])
    with np.errstate(invalid="ignore", divide="ignore"):
        plain = (table["faults"] / table["pieces"]).to_numpy()
    table["usual_chance"] = np.where(told, at_usual.mean(axis=0), plain)
    table["usual_chance_low"] = np.where(told, low, plain_low)
    table["usual_chance_high"] = np.where(told, high, plain_high)


def _add_slopes(table: pd.DataFrame, data: _Followed, fits: _Fits) -> None:
    from scipy.special import stdtr, stdtrit

    for name, fit in (
        ("slope_alone", fits.carried),
        ("own_slope", fits.own),
        ("within_batch_slope", fits.within_batch),
        ("within_worker_slope", fits.within_worker),
    ):
        error = np.where(data.told, np.sqrt(fit.robust[:, -1, -1]), np.nan)
        short = name.removesuffix("_slope") if name.startswith("within") else name
        table[name] = np.where(data.told, fit.beta[:, -1], np.nan)
        table[f"{short}_low"] = table[name] - fits.t * error
        table[f"{short}_high"] = table[name] + fits.t * error
        if name == "slope_alone":
            p_value = 2 * stdtr(fits.freedom, -np.abs(table[name]) / error)
    table["p_value"] = p_value
    table["p_holm"] = holm(p_value)
    batch, worker = (
        _apart(f, stdtrit(fits.freedom, 0.995)) for f in (fits.within_batch, fits.within_worker)
    )
    several = data.distinct(data.frame["worker"].cat.codes) > 1
    table["differs"] = np.where(
        data.told & batch & worker & several, "batch and worker",
        np.where(data.told & batch, "batch", np.where(data.told & worker & several, "worker", "")),
    )  # fmt: skip


def _apart(fit: LogisticFit, t: np.ndarray) -> np.ndarray:
    """Whether the slopes between and within differ: |difference| > t(.995) its standard error."""
    difference = fit.beta[:, 2] - fit.beta[:, 1]
    variance = fit.robust[:, 1, 1] + fit.robust[:, 2, 2] - 2 * fit.robust[:, 1, 2]
    return np.abs(difference) > t * np.sqrt(np.maximum(variance, 1e-12))


def holm(p_values: Values) -> np.ndarray:
    """p-values that allow for how many were looked at (Holm 1979); NaN is not counted."""
    p_values = np.asarray(p_values, float)
    order = np.argsort(p_values)  # NaN last
    looked = np.isfinite(p_values).sum()
    stepped = p_values[order] * np.maximum(looked - np.arange(len(p_values)), 1)
    adjusted = np.empty(len(p_values))
    adjusted[order] = np.minimum(np.fmax.accumulate(stepped), 1.0)
    return np.where(np.isfinite(p_values), adjusted, np.nan)


def _laps_more(table: pd.DataFrame, data: _Followed, fits: _Fits) -> np.ndarray:
    """n (z^2 v / NOTICEABLE^2 - 1) for the n laps at hand, v the variance of the slope they leave
    and z as in `errors_to_tell`, since p_holm decides; at least a quarter of them more. Where no
    curve is fitted yet v is that of as many independent pieces, 1 / (N p (1 - p) var x), p with
    half a fault added."""
    spread = pd.Series(data.column("carried")).groupby(data.group).var(ddof=0)
    spread = spread.reindex(range(len(data.names))).to_numpy()
    share = (table["faults"] + 0.5) / (table["pieces"] + 1)
    looked = data.told.sum() + ~data.told  # with this one, where it is not among them yet
    with np.errstate(invalid="ignore", divide="ignore"):
        guess = 1 / (table["pieces"] * share * (1 - share) * spread).to_numpy()
        variance = np.where(data.told, fits.carried.robust[:, 1, 1], guess)
        more = table["laps"] * (errors_to_tell(looked) ** 2 * variance / NOTICEABLE**2 - 1)
    more = np.ceil(np.maximum(more, table["laps"] / 4))
    return np.where(np.isfinite(more), more, np.nan)


def _verdicts(table: pd.DataFrame, told: np.ndarray) -> np.ndarray:
    shown = told & (table["p_holm"] < SIGNIFICANCE)
    return np.select(
        [
            table["laps"] == 0,
            table["faults"] == 0,
            table["faults"] == table["pieces"],
            shown & (table["slope_high"] < 0),
            shown & (table["slope_low"] > 0),
            told & (table["slope_alone_low"] > NOTICEABLE),
        ],
        ["no pace before", "no fault yet", "nothing good yet", *VERDICTS[:3]],
        "cannot tell",
    )


def _note(row: Row) -> str:
    """What can be said of one operation, in plain words."""
    match row.verdict:
        case "no pace before":
            return (
                "Each batch is one lap here, so there are no pieces just before to judge by: time "
                "smaller stacks."
            )
        case "no fault yet":
            return (
                f"No fault made here in {row.pieces:,.0f} pieces that had others just before them: "
                f"their chance is at most {100 * row.usual_chance_high:.1f} %, and pace cannot be "
                "judged by it."
            )
        case "nothing good yet":
            return (
                f"Every one of {row.pieces:,.0f} pieces that had others just before them is at "
                "fault: pace is not the trouble."
            )
        case "haste spoils" | "slowness spoils":
            return _shown_note(row)
        case "hardly matters":
            return (
                "As far as these laps go, working a tenth faster does not spoil half as many again."
            )
    if not np.isfinite(row.laps_more):
        return "Your data cannot tell yet: every piece was worked at the same pace."
    return (
        f"Your data cannot tell yet; about {_round_up(row.laps_more):,.0f} more laps would show "
        "whether working a tenth faster spoils half as many again."
    )


def _shown_note(row: Row) -> str:
    low, high = sorted(times_as_often(row.usual_chance, (row.slope_low, row.slope_high)))
    said = f"A piece worked a tenth faster is spoiled {low:.1f} to {high:.1f} times as often"
    if row.verdict == "slowness spoils":
        said = "The slower the pieces just before went, the more are spoiled"
    doubt = {
        "batch": "it does not show alike within one batch: batches may differ in something else",
        "worker": "it does not show alike within one worker: people may differ in something else",
        "batch and worker": "it does not show alike within one batch or one worker: something else "
        "may be behind it",
    }.get(row.differs)
    return f"{said}; but {doubt}." if doubt else f"{said}."


def times_as_often(usual_chance: float | Values, slope: float | Values) -> np.ndarray:
    """The chance at a tenth less time over the usual one p:  chance(logit p + slope log .9) / p.

    Below the ratio of the odds, .9^slope, the more so the commoner faults are.
    """
    usual = np.clip(usual_chance, 1e-9, 1 - 1e-9)
    log_odds = np.log(usual / (1 - usual)) + np.asarray(slope) * np.log(0.9)
    return chance(log_odds) / usual


def _round_up(number: float) -> float:
    """To two figures, upward."""
    unit = 10.0 ** max(np.floor(np.log10(max(number, 1.0))) - 1, 0)
    return np.ceil(number / unit) * unit


def _points(data: _Followed) -> pd.DataFrame:
    """Shares of faults in BINS of as many laps each."""
    tables = []
    for name, measure in (("carried", "just before"), ("own", "own")):
        value = data.column(name)
        used = np.isfinite(value)
        rows = pd.DataFrame(
            {
                "operation": data.group[used],
                "pace": value[used] * data.column("pieces")[used],
                "pieces": data.column("pieces")[used],
                "faults": data.column("faults")[used],
            }
        )
        rank = pd.Series(value[used]).groupby(rows["operation"]).rank(method="first", pct=True)
        rows["bin"] = np.minimum((rank * BINS).to_numpy(), BINS - 1e-9).astype(int)
        table = rows.groupby(["operation", "bin"], as_index=False).sum()
        tables.append(table.assign(measure=measure, pace=table["pace"] / table["pieces"]))
    table = pd.concat(tables, ignore_index=True)
    low, high = wilson(table["faults"], table["pieces"])
    names = np.array(data.names, object)[table["operation"]]
    table = table.assign(
        operation=names, chance=table["faults"] / table["pieces"], low=low, high=high
    )
    return table[list(POINT_COLUMNS)]


def _line(curves: pd.DataFrame, draws: np.ndarray) -> pd.DataFrame:
    told = np.flatnonzero(np.isfinite(draws[0, :, 0])) if len(curves) else np.zeros(0, int)
    low, high = curves["pace_low"].to_numpy()[told], curves["pace_high"].to_numpy()[told]
    pace = low[:, None] + np.linspace(0, 1, LINE) * (high - low)[:, None]
    drawn = chance(draws[:, told, 0, None] + draws[:, told, 1, None] * pace)
    bounds = np.quantile(drawn, [0.025, 0.975], axis=0)
    return pd.DataFrame(
        {
            "operation": np.repeat(curves["operation"].to_numpy()[told], LINE),
            "pace": pace.ravel(),
            "chance": drawn.mean(axis=0).ravel(),
            "low": bounds[0].ravel(),
            "high": bounds[1].ravel(),
        },
        columns=list(LINE_COLUMNS),
    )
