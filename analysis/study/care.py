"""Care that pays later: do batches that got more time at one operation need less mending later?

`care` is the main path: laps -> time and faults of each batch at each operation -> pairs of an
operation and a later one -> a regression over batches and a permutation test -> what can be said.

For batch b with n pieces through the later operation, y of them at fault:
    log-odds of a fault = intercept + slope x,    x = log(seconds / expected seconds)
of the whole batch at the earlier operation: 0 as its curve expects, 0.1 a tenth more time. It is
an association between batches, not proof: on a careful day everything may be done with care. What
settles it is an experiment, half a batch one way and half the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.frames import Row
from analysis.study.logistic import LogisticFit, chance, fit_logistic
from analysis.study.power import errors_to_tell, pieces_each_way
from analysis.study.rates import clusters, codes, is_activity, is_regular, ratio
from analysis.study.spoilage import SIGNIFICANCE, WEAK_SPREAD, holm

KEYS = ("product", "batch", "operation")
MORE = np.log(1.1)  # a tenth more time
TRIAL_MORE = np.log(1.5)  # half as much again, in an experiment: a small change tells little
FEWEST_BATCHES = 6  # of fewer, the scatter between batches says too little; as rates.py
NOTICEABLE = np.log(0.75) / MORE  # a tenth more time, a quarter fewer faults (in odds)
PAIR_COLUMNS = (
    "operation", "later", "named", "batches", "pieces", "faults", "lost", "chance", "slope",
    "slope_low", "slope_high", "p_value", "p_holm", "mending_seconds", "mending_error",
    "seconds_now", "extra_seconds", "saved_seconds", "saved_low", "saved_high", "net_seconds",
    "net_low", "net_high", "batches_more", "pieces_each_way", "batches_for_trial", "verdict",
    "note",
)  # fmt: skip
POINT_COLUMNS = ("operation", "later", "product", "batch", "pace", "pieces", "faults", "lost")
NO_BATCHES = "No lap names its batch, so nothing can be followed from one operation to a later one."
FEW_BATCHES = (
    "Fewer than six batches can be followed from one operation to a later one with faults."
)


@dataclass(frozen=True)
class Care:
    """pairs: PAIR_COLUMNS, a row a pair of operations of the same batch, the surest first:

    operation, later   where time was spent, and where faults were found later in the batch
    named       True where faults at `later` name `operation` as their cause: those are counted;
                else those that name no operation
    batches, pieces, faults   followed from one to the other; lost: faults that were lost for good
    chance      share of pieces at fault
    slope       of the log-odds of a fault on the log of the batch's time at `operation` over what
                was expected; 95 % interval, robust to pieces of a batch being alike
    p_value     permutation of batches within products, p_holm: all pairs looked at allowed for
    mending_seconds, mending_error   of mending that hang on one fault at `later`: to mend a piece,
                times the share of the faults that are mended, since a lost piece takes none; and
                the standard error of that between batches. NaN where none was timed, the error
                also in one batch only
    seconds_now, extra_seconds   per piece at `operation` in the batches followed, and a tenth of it
    saved_seconds   of mending per piece at `later` that go with extra_seconds more (an
                association); 95 % interval. What lost pieces cost is not in it
    net_seconds the same less extra_seconds: above 0 the care pays back in time alone
    batches_more   about how many more batches until a quarter fewer faults with a tenth more time
                would show (power 80 %), 0 where told
    pieces_each_way, batches_for_trial   for an experiment with half as much time again to tell
                the slope found (where told, else that of a quarter fewer faults) from none
    verdict     "less mending" or "more mending" (goes with more time), "too weak"
    note        a plain sentence

    points: POINT_COLUMNS, a row a pair and batch: pace as log of seconds over expected.
    note: why nothing could be followed, "" otherwise.
    """

    pairs: pd.DataFrame
    points: pd.DataFrame
    note: str


def care(laps: pd.DataFrame) -> Care:
    """How time at one operation goes with faults later in the same batch.

    laps: `Study.laps`. Seconds are per piece; the frames' columns are PAIR_COLUMNS and
    POINT_COLUMNS, without rows, and with a note that says why, where no batch can be followed.
    """
    named = laps[(laps["batch"] != "").to_numpy()]
    if named.empty:
        return _nothing(NO_BATCHES)
    steps, faults = _steps(named), _faults(named)
    points = _points(steps, faults)
    if points.empty:
        return _nothing(FEW_BATCHES)
    pairs = _pair_frame(points, _mending_seconds(named, points))
    pairs = pairs.sort_values("p_value", kind="stable", ignore_index=True)
    return Care(pairs, points[list(POINT_COLUMNS)], "")


def _nothing(note: str) -> Care:
    pairs, points = pd.DataFrame(columns=PAIR_COLUMNS), pd.DataFrame(columns=POINT_COLUMNS)
    return Care(pairs, points, note)


def _steps(laps: pd.DataFrame) -> pd.DataFrame:
    """A row a batch and operation: pieces through, seconds, pace, and when it began (in us)."""
    regular = laps[is_regular(laps)]
    expected = (regular["expected_seconds"] * regular["units"]).to_numpy()
    timed = ~regular["suspicious"].to_numpy(bool) & np.isfinite(expected)
    began = regular["started_at"].dt.as_unit("us").astype("int64")
    table = pd.DataFrame(
        {
            **{key: regular[key] for key in KEYS},
            "pieces": regular["units"],
            "seconds": np.where(timed, regular["seconds"], 0.0),
            "expected": np.where(timed, expected, 0.0),
            "timed_pieces": np.where(timed, regular["units"], 0),
            "began": began,
        }
    )
    grouped = table.groupby(list(KEYS), observed=True)
    steps = grouped[["pieces", "seconds", "expected", "timed_pieces"]].sum()
    steps["began"] = grouped["began"].min()
    with np.errstate(invalid="ignore", divide="ignore"):
        steps["pace"] = np.log(steps["seconds"] / steps["expected"])
    steps = steps.reset_index()
    return steps.astype(dict.fromkeys(KEYS, str))


def _faults(laps: pd.DataFrame) -> pd.DataFrame:
    """A row a batch, operation where found, and operation named as the cause ("" none): pieces at
    fault, and those of them lost for good. Those flagged at the work or those mended and lost
    later, whichever are more: a lap with two kinds of fault can name one cause only, its mending
    laps each their own."""
    flagged, mended = laps[is_regular(laps)], laps[is_activity(laps, "rework")]
    keys = [*KEYS, "cause_operation"]
    counted = pd.concat(
        [
            flagged[keys].assign(flagged=flagged["rework_units"], mended=0,
                                 lost=flagged["scrap_units"]),
            mended[keys].assign(flagged=0, mended=mended["units"], lost=0),
        ]
    )  # fmt: skip
    counted = counted[(counted[["flagged", "mended", "lost"]] > 0).any(axis=1)]
    table = counted.astype(dict.fromkeys(keys, str)).groupby(keys).sum().reset_index()
    table["faults"] = np.maximum(table["flagged"], table["mended"]) + table["lost"]
    return table[[*keys, "faults", "lost"]]


def _points(steps: pd.DataFrame, faults: pd.DataFrame) -> pd.DataFrame:
    """Rows of batches by pair: pairs with faults, that follow each other, in batches enough."""
    found = faults[["operation"]].drop_duplicates().rename(columns={"operation": "later"})
    later = steps.rename(columns={"operation": "later", "began": "later_began"})
    later = later[["product", "batch", "later", "pieces", "later_began"]].merge(found, on="later")
    columns = ["product", "batch", "operation", "pace", "began", "seconds", "timed_pieces"]
    earlier = steps.loc[np.isfinite(steps["pace"]), columns]
    points = earlier.merge(later, on=["product", "batch"])
    points = points[points["operation"] != points["later"]]
    pair = ["operation", "later"]
    after = (points["later_began"] > points["began"]).groupby([points[k] for k in pair])
    points = points[after.transform("mean") > 0.5]
    points = _with_faults(points, faults)
    by = points.groupby(pair)
    enough = (by["faults"].transform("sum") > 0) & (
        by["faults"].transform("size") >= FEWEST_BATCHES
    )
    good = by["pieces"].transform("sum") > by["faults"].transform("sum")
    return points[enough & good].sort_values([*pair, "product", "batch"], ignore_index=True)


def _with_faults(points: pd.DataFrame, faults: pd.DataFrame) -> pd.DataFrame:
    """Faults of the pair: those that name the earlier operation, wherever any does, else those
    that name none."""
    faults = faults.rename(columns={"operation": "later"})
    keys = ["product", "batch", "later"]
    naming = faults.rename(columns={"cause_operation": "operation"})
    pairs = naming[["operation", "later"]].drop_duplicates().assign(named=True)
    unnamed = faults[faults["cause_operation"] == ""]
    points = points.merge(pairs, on=["operation", "later"], how="left")
    points = points.merge(naming, on=[*keys, "operation"], how="left")
    counts = ["faults", "lost"]
    points = points.merge(unnamed[[*keys, *counts]], on=keys, how="left", suffixes=("", "_unnamed"))
    points["named"] = points["named"].fillna(False).astype(bool)
    for name in counts:
        counted = points[name].where(points["named"], points[f"{name}_unnamed"]).fillna(0.0)
        points[name] = np.minimum(counted, points["pieces"])
    return points


def _mending_seconds(laps: pd.DataFrame, points: pd.DataFrame) -> pd.DataFrame:
    """Mean timed seconds to mend a piece at the later operation and its standard error between
    batches, of each pair in order: of the pair's products, or, where none was timed there, of all.
    """
    mended = laps[is_activity(laps, "rework")]
    rows = mended[["product", "operation"]].astype(str).assign(
        seconds=mended["seconds"], units=mended["units"],
        cluster=clusters(mended, "UTC"),  # any zone: all of these laps name their batch
    )  # fmt: skip
    rows = rows.rename(columns={"operation": "later"})
    pairs = points.assign(pair=points.groupby(["operation", "later"]).ngroup())
    pairs, count = pairs[["pair", "product", "later"]].drop_duplicates(), pairs["pair"].max() + 1

    def rates(wanted: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
        found = wanted.merge(rows, on=keys)
        seconds, units, pair, cluster = (
            found[name].to_numpy() for name in ("seconds", "units", "pair", "cluster")
        )
        return ratio(seconds, units, pair, cluster, count)[["value", "se"]]

    own = rates(pairs, ["product", "later"])
    everywhere = rates(pairs.drop_duplicates("pair")[["pair", "later"]], ["later"])
    known = own["value"].notna().to_numpy()
    return own[known].reindex(own.index).fillna(everywhere[~known])


def _pair_frame(points: pd.DataFrame, mending: pd.DataFrame) -> pd.DataFrame:
    from scipy.special import stdtrit  # scipy takes a moment to import

    by = points.groupby(["operation", "later"])
    pair = by.ngroup().to_numpy()
    table = by.agg(
        named=("named", "first"), batches=("pieces", "size"), pieces=("pieces", "sum"),
        faults=("faults", "sum"), lost=("lost", "sum"), seconds=("seconds", "sum"),
        timed_pieces=("timed_pieces", "sum"),
    ).reset_index()  # fmt: skip
    table["chance"] = table["faults"] / table["pieces"]
    x = points["pace"].to_numpy()
    y, n = points["faults"].to_numpy(float), points["pieces"].to_numpy(float)
    batch = codes(*(points[k].astype("category").cat.codes for k in ("product", "batch")))
    held = [1e-6, 1 / WEAK_SPREAD**2]
    fit = fit_logistic([np.ones(len(x)), x], y, n, pair, len(table), batch, held)
    t = stdtrit(np.maximum(table["batches"] - 2, 1), 0.975).to_numpy()
    half = t * np.sqrt(fit.robust[:, 1, 1])
    table["slope"] = fit.beta[:, 1]
    table["slope_low"], table["slope_high"] = table["slope"] - half, table["slope"] + half
    product = points["product"].astype("category").cat.codes.to_numpy("int64")
    table["p_value"] = permutation_p(x, y, n, pair, len(table), product)
    table["p_holm"] = holm(table["p_value"])
    _add_savings(table, mending, _fewer(fit, x, n, pair, t))
    table["verdict"] = _verdicts(table)
    _add_sizes(table, fit, points)
    table["note"] = [_note(row) for row in table.itertuples()]
    return table[list(PAIR_COLUMNS)]


def permutation_p(
    x: np.ndarray, y: np.ndarray, n: np.ndarray, pair: np.ndarray, pairs: int, product: np.ndarray
) -> np.ndarray:
    """p-value per pair of no association, batches exchanged within products.

    The statistic is the correlation r of x with the residual y - n p, both about their means
    within product, p the share of the product. Over all permutations of m batches in c products r
    is spread as (Pitman 1937) r sqrt((m - c - 1) / (1 - r^2)) is as t with m - c - 1 degrees of
    freedom, to the first moments.
    """
    from scipy.special import stdtr

    cell = codes(pair, product)
    share = (np.bincount(cell, y) / np.bincount(cell, n))[cell]
    count = np.bincount(cell)
    residual = y - n * share
    dx = x - (np.bincount(cell, x) / count)[cell]
    residual = residual - (np.bincount(cell, residual) / count)[cell]
    squares = np.bincount(pair, dx**2, pairs) * np.bincount(pair, residual**2, pairs)
    with np.errstate(invalid="ignore", divide="ignore"):
        r = np.bincount(pair, dx * residual, pairs) / np.sqrt(squares)
        first = np.unique(cell, return_index=True)[1]
        products = np.bincount(pair[first], minlength=pairs)
        freedom = np.bincount(pair, minlength=pairs) - products - 1
        t = r * np.sqrt(freedom / np.maximum(1 - r**2, 1e-12))
    told = np.isfinite(t) & (freedom > 0)
    return np.where(told, 2 * stdtr(np.maximum(freedom, 1), -np.abs(np.nan_to_num(t))), 1.0)


def _add_savings(
    table: pd.DataFrame,
    mending: pd.DataFrame,
    fewer: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """saved = mending seconds x (share at fault now - with a tenth more time), with the errors of
    both factors, taken as independent; net = saved - the tenth more.

    mending seconds of a fault = seconds to mend a piece x (faults - lost) / faults: as large a
    part of the faults that are spared would have been lost as of those there were.
    """
    share, error, t = fewer
    mended = 1 - table["lost"] / table["faults"]
    seconds, doubt = ((mending[name] * mended).to_numpy(float) for name in ("value", "se"))
    table["mending_seconds"], table["mending_error"] = seconds, doubt
    table["seconds_now"] = table["seconds"] / table["timed_pieces"]
    table["extra_seconds"] = table["seconds_now"] * 0.1
    saved = seconds * share
    half = t * np.hypot(seconds * error, np.nan_to_num(doubt) * share)
    for name, value in (("seconds", saved), ("low", saved - half), ("high", saved + half)):
        table[f"saved_{name}"] = value
        table[f"net_{name}"] = value - table["extra_seconds"]


def _fewer(
    fit: LogisticFit, x: np.ndarray, n: np.ndarray, pair: np.ndarray, t: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(share of pieces no longer at fault with a tenth more time, its error, t) by pair:
        d = sum n (p(x) - p(x + log 1.1)) / sum n,
    the error by the delta method from the robust covariance of intercept and slope."""
    intercept, slope = fit.beta[pair, 0], fit.beta[pair, 1]
    now, then = chance(intercept + slope * x), chance(intercept + slope * (x + MORE))
    bend_now, bend_then = now * (1 - now), then * (1 - then)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.bincount(pair, n * values) / np.bincount(pair, n)

    by_intercept = mean(bend_now - bend_then)
    by_slope = mean(bend_now * x - bend_then * (x + MORE))
    gradient = np.stack([by_intercept, by_slope], axis=1)
    variance = np.einsum("gi,gij,gj->g", gradient, fit.robust, gradient)
    return mean(now - then), np.sqrt(variance), t


def _verdicts(table: pd.DataFrame) -> np.ndarray:
    shown = table["p_holm"] < SIGNIFICANCE
    return np.select(
        [shown & (table["slope_high"] < 0), shown & (table["slope_low"] > 0)],
        ["less mending", "more mending"],
        "too weak",
    )


def _add_sizes(table: pd.DataFrame, fit: LogisticFit, points: pd.DataFrame) -> None:
    """How many more batches, and how large an experiment."""
    told = table["verdict"] != "too weak"
    more = table["batches"] * (
        errors_to_tell(len(table)) ** 2 * fit.robust[:, 1, 1] / NOTICEABLE**2 - 1
    )
    more = np.ceil(np.maximum(more, table["batches"] / 4))
    table["batches_more"] = np.where(told, 0.0, more)
    slope = np.where(told, table["slope"], NOTICEABLE)
    moved = chance(np.log(table["chance"] / (1 - table["chance"])) + slope * TRIAL_MORE)
    each = pieces_each_way(table["chance"], moved)
    size = points.groupby(["operation", "later"])["pieces"].median().to_numpy()
    table["pieces_each_way"] = each
    table["batches_for_trial"] = np.ceil(2 * each / size)


def _note(row: Row) -> str:
    if row.verdict == "too weak":
        return (
            f"Too weak to tell in {row.batches} batches; about {row.batches_more:,.0f} more would "
            f"show whether a tenth more time at {row.operation} means a quarter fewer faults at "
            f"{row.later}."
        )
    less, fewer = ("less", "fewer") if row.verdict == "less mending" else ("more", "more")
    low, high = row.saved_low, row.saved_high
    if row.verdict == "more mending":
        low, high = -high, -low
    # What mending takes may be too uncertain to tell the seconds, though the faults are told.
    range_ = f"{low:.1f} to {high:.1f}" if low >= 0 else f"up to {high:.1f}"
    went = f"{range_} s {less} mending a piece at {row.later}"
    if not row.mending_seconds > 0:  # never timed, or all of them lost
        went = f"{fewer} faults at {row.later}"
    pays = ""
    if row.net_low > 0:
        pays = " In time alone the care pays for itself."
    elif row.net_high < 0:
        pays = " In time alone that does not pay."
    if row.lost:
        pays += (
            f" {row.lost:,.0f} of the {row.faults:,.0f} faults were lost pieces, which no mending "
            "saves: their work and material come on top."
        )
    return (
        f"Batches that got {row.extra_seconds:.1f} s a piece more at {row.operation} had {went}."
        f"{pays} They go together, which does not prove that one makes the other: half a batch "
        f"with half as much time again, {row.pieces_each_way:,.0f} pieces each way, would show it."
    )
