"""Two ways of working, tried on halves of a batch: which takes less time, which spoils less.

Time is compared within batches and against what practice let expect of each lap, so that neither
the batch, nor practice, nor the slow first pieces after a start favour a way. A run is a stretch of
one worker's laps of one way; what else changes with the hour changes between runs, so runs, not
laps, are what the comparison is made of, wherever there are enough.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.pace import made_here
from analysis.study.power import laps_each_way, pieces_each_way
from analysis.study.quality import wilson
from analysis.study.rates import FEWEST_CLUSTERS, clusters, codes, is_regular

WAYS = ("A", "B")
# Marks say which way, not which trial: after a longer pause they belong to another; of our own, no
# source. Two trials of one operation closer together count as one unless taken batch by batch.
NEW_TRIAL_DAYS = 14.0
FEWEST_FREEDOM = 2  # of runs; with fewer, laps are taken for as good as independent, and it is said
WORTH_TELLING = np.log(1.05)  # of time
TRIAL_COLUMNS = (
    "operation", "products", "batch", "first_at", "last_at", "batches", "runs", "laps_a", "laps_b",
    "pieces_a", "pieces_b", "seconds_a", "seconds_b", "less_time_percent", "less_time_low",
    "less_time_high", "faults_a", "faults_b", "fault_share_a", "fault_share_b", "fault_likeness",
    "fewer_faults", "fewer_faults_low", "fewer_faults_high", "laps_needed", "pieces_needed",
    "verdict", "note",
)  # fmt: skip
VERDICTS = ("B better", "A better", "faster but spoils more", "cannot tell", "one way only")


def compare_ways(
    laps: pd.DataFrame, ways: pd.DataFrame, by_batch: bool = False, timezone: str = "UTC"
) -> pd.DataFrame:
    """TRIAL_COLUMNS, a row a trial at an operation, the latest first; B against A.

    laps: `Study.laps`; ways: lap_id, way ("A" or "B"), as `store.trials.trial_ways` gives them;
    timezone: of the shop, whose days stand for batches where none is named.
    A mark names no trial: all marks at an operation without a pause of NEW_TRIAL_DAYS between them
    are taken for one, over as many batches as it has, which is wrong where A and B meant other
    things in the next batch; then take each batch for a trial (by_batch).

    batch           the one batch of the trial, "" where it has several or none is named
    seconds_*       per piece, as timed, suspicious laps left out
    less_time_*     percent of time that B takes less than A, 95 % interval (t); NaN with one way
    fault_share_*   of pieces to be mended or lost; fewer_faults = share A - share B with Newcombe's
                    interval (1998, his tenth: from Wilson's of the two shares), both widened by
                    fault_likeness (`_fault_likeness`), as far as faults come in clumps
    laps_needed     laps each way, in runs as long as these, to tell a difference of 5 % in time;
                    pieces_needed: pieces each way to tell the larger share of faults from half of
                    it (power 80 %); NaN where the laps do not say how much they scatter, or there
                    was no fault
    verdict         "B better", "A better" (in time or faults, and shown worse in neither),
                    "faster but spoils more" (whichever way), "cannot tell", "one way only"
    """
    marked = laps.merge(ways[ways["way"].isin(WAYS)], on="lap_id", validate="one_to_one")
    marked = marked[is_regular(marked)].sort_values(["operation", "started_at"], kind="stable")
    if marked.empty:
        return pd.DataFrame(columns=list(TRIAL_COLUMNS))
    marked = marked.assign(block=clusters(marked, timezone), pace=_pace(marked))
    rows = [_row(trial) for _, trial in marked.groupby(_trials(marked, by_batch), sort=True)]
    table = pd.DataFrame(rows, columns=list(TRIAL_COLUMNS))
    return table.sort_values("last_at", ascending=False, kind="stable", ignore_index=True)


def noted_ways(laps: pd.DataFrame) -> pd.DataFrame:
    """lap_id, way of laps whose note says "trial:A" or "trial:B", as a file can carry the marks."""
    way = laps["note"].str.extract(r"\btrial:([AB])\b", expand=False)
    return pd.DataFrame({"lap_id": laps["lap_id"], "way": way})[way.notna()]


def _pace(laps: pd.DataFrame) -> np.ndarray:
    """log of seconds over expected, NaN where suspicious."""
    with np.errstate(invalid="ignore", divide="ignore"):
        pace = np.log(laps["seconds"] / laps["units"] / laps["expected_seconds"])
    return np.where(laps["suspicious"].astype(bool), np.nan, pace)


def _trials(marked: pd.DataFrame, by_batch: bool) -> np.ndarray:
    """A code per trial: an operation, until NEW_TRIAL_DAYS without a mark; or each of its batches
    (laps that name none: each day)."""
    if by_batch:
        return marked.groupby(["operation", "block"], observed=True).ngroup().to_numpy()
    operation = marked["operation"].cat.codes.to_numpy("int64")
    days = marked["started_at"].diff().dt.total_seconds().to_numpy() / 86400
    begins = (np.diff(operation, prepend=-1) != 0) | (days > NEW_TRIAL_DAYS)
    return np.cumsum(begins)


def _row(trial: pd.DataFrame) -> dict:
    row = {
        "operation": str(trial["operation"].iloc[0]),
        "products": ", ".join(sorted(set(trial["product"].astype(str)))),
        "batch": _only(trial["batch"]),
        "first_at": trial["started_at"].min(), "last_at": trial["started_at"].max(),
        "batches": trial["block"].nunique(),
    }  # fmt: skip
    trial = trial.sort_values(["block", "worker", "started_at"], kind="stable")
    faults = np.where(made_here(trial), trial["rework_units"] + trial["scrap_units"], 0)
    for way in WAYS:
        own, at = (trial["way"] == way).to_numpy(), way.lower()
        timed = own & np.isfinite(trial["pace"].to_numpy())
        row[f"laps_{at}"] = int(own.sum())
        row[f"pieces_{at}"] = int(trial["units"][own].sum())
        row[f"faults_{at}"] = int(faults[own].sum())
        units = trial["units"][timed].sum()
        row[f"seconds_{at}"] = trial["seconds"][timed].sum() / units if units else np.nan
    row |= _time(trial) | _faults(row, _fault_likeness(trial, faults))
    row["verdict"] = _verdict(row)
    row["note"] = _note(row)
    return row


def _only(names: pd.Series) -> str:
    """The one name that all have, "" where they have several."""
    found = set(names.astype(str))
    return found.pop() if len(found) == 1 else ""


def _time(trial: pd.DataFrame) -> dict:
    """Least squares of pace on way with an effect of each batch, over means of runs weighted by
    their laps; over laps where runs leave less than FEWEST_FREEDOM degrees of freedom."""
    from scipy.special import stdtrit  # scipy takes a moment to import

    trial = trial[np.isfinite(trial["pace"].to_numpy())]
    is_b, block, run = _runs(trial)
    nothing = dict.fromkeys(
        ("less_time_percent", "less_time_low", "less_time_high", "laps_needed"), np.nan
    )
    if len(set(is_b)) < 2:
        return nothing | {"runs": len(set(run)), "seldom": False}
    laps = pd.DataFrame({"run": run, "block": block, "is_b": is_b, "pace": trial["pace"]})
    runs = laps.groupby("run").agg(
        block=("block", "first"), is_b=("is_b", "first"), pace=("pace", "mean"),
        laps=("pace", "size"),
    )  # fmt: skip
    by_run = _within_blocks(runs["block"], runs["is_b"], runs["pace"], runs["laps"])
    by_lap = _within_blocks(laps["block"], laps["is_b"], laps["pace"], np.ones(len(laps)))
    told = by_run[2] >= FEWEST_FREEDOM
    effect, error, freedom, _ = by_run if told else by_lap
    half = stdtrit(freedom, 0.975) * error if freedom > 0 else np.nan
    percent = 100 * -np.expm1([effect, effect + half, effect - half])
    # Laps of a run are alike: of as long runs as these, so many more laps are needed.
    spread = max(by_lap[3], by_run[3]) if told else by_lap[3]
    return dict(zip(nothing, percent, strict=False)) | {
        "runs": len(runs),
        "seldom": not told,
        "laps_needed": laps_each_way(WORTH_TELLING, spread) if spread > 0 else np.nan,
    }


def _runs(trial: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of laps by block, worker and time: (1 for way B else 0, block, number of the run)."""
    is_b = (trial["way"] == "B").to_numpy().astype(float)
    block, worker = trial["block"].to_numpy(), trial["worker"].cat.codes.to_numpy("int64")
    begins = [np.diff(column, prepend=-1) != 0 for column in (is_b, block, worker)]
    if not _both_in_one(block, is_b):  # no batch was shared: batches are then compared as they are
        block = np.zeros_like(block)
    return is_b, block, np.cumsum(np.any(begins, axis=0))


def _both_in_one(block: np.ndarray, is_b: np.ndarray) -> bool:
    table = pd.Series(is_b).groupby(block)
    return bool((table.nunique() > 1).any())


def _within_blocks(
    block: np.ndarray, x: np.ndarray, y: np.ndarray, weight: np.ndarray
) -> tuple[float, float, int, float]:
    """(effect of x, its standard error, degrees of freedom, deviation of a lap), weighted, with an
    effect of each block."""
    block = codes(np.asarray(block, "int64"))
    x, y, weight = (np.asarray(value, float) for value in (x, y, weight))
    total = np.bincount(block, weight)
    x = x - (np.bincount(block, weight * x) / total)[block]
    y = y - (np.bincount(block, weight * y) / total)[block]
    squares = (weight * x * x).sum()
    effect = (weight * x * y).sum() / squares
    freedom = len(x) - len(total) - 1
    if freedom <= 0:
        return effect, np.nan, 0, np.nan
    variance = (weight * (y - effect * x) ** 2).sum() / freedom
    return effect, np.sqrt(variance / squares), freedom, np.sqrt(variance)


def _fault_likeness(trial: pd.DataFrame, faults: np.ndarray) -> float:
    """How much more the faults of runs scatter than those of independent pieces would, >= 1:
        sum (y - m)^2 / (m (1 - m / n)) / (runs - blocks - 1),    m = n p_way Y_block / E_block,
    Pearson's measure of overdispersion (McCullagh & Nelder 1989), p_way the share of the way, Y and
    E the faults found and expected by it in the block; blocks without a fault tell nothing. 1 with
    fewer than FEWEST_CLUSTERS degrees of freedom.
    """
    is_b, block, run = _runs(trial)
    block = codes(np.asarray(block, "int64"))
    units = trial["units"].to_numpy(float)
    share = np.bincount(is_b.astype(int), faults, 2) / np.maximum(
        np.bincount(is_b.astype(int), units, 2), 1
    )
    expected = units * share[is_b.astype(int)]
    found = np.bincount(block, faults)
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = expected * (found / np.bincount(block, expected))[block]
    counted = (found > 0)[block]
    run = codes(run[counted])
    if not len(run):
        return 1.0
    n, y, m = (np.bincount(run, values[counted]) for values in (units, faults, expected))
    freedom = len(n) - (found > 0).sum() - 1
    variance = m * (1 - np.minimum(m / n, 1))
    if freedom < FEWEST_CLUSTERS:
        return 1.0
    told = variance > 0
    return max(float(((y - m)[told] ** 2 / variance[told]).sum() / freedom), 1.0)


def _faults(row: dict, likeness: float) -> dict:
    pieces = np.array([row["pieces_a"], row["pieces_b"]], float)
    found = np.array([row["faults_a"], row["faults_b"]], float)
    low, high = wilson(found, pieces, likeness)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = found / pieces
    fewer = share[0] - share[1]
    most = np.nanmax(share)
    return {
        "fault_share_a": share[0], "fault_share_b": share[1], "fault_likeness": likeness,
        "fewer_faults": fewer,
        "fewer_faults_low": fewer - np.hypot(share[0] - low[0], high[1] - share[1]),
        "fewer_faults_high": fewer + np.hypot(high[0] - share[0], share[1] - low[1]),
        "pieces_needed": (
            np.ceil(likeness * pieces_each_way(most, most / 2)) if most > 0 else np.nan
        ),
    }  # fmt: skip


def _verdict(row: dict) -> str:
    if not row["laps_a"] or not row["laps_b"]:
        return "one way only"
    time = _side(row["less_time_low"], row["less_time_high"])
    faults = _side(row["fewer_faults_low"], row["fewer_faults_high"])
    if time * faults < 0:
        return "faster but spoils more"
    return {1: "B better", -1: "A better"}.get(np.sign(time + faults), "cannot tell")


def _side(low: float, high: float) -> int:
    """1 where the whole interval is above 0 (B better), -1 below, 0 where it holds 0."""
    return int(low > 0) - int(high < 0)


def _note(row: dict) -> str:
    if row["verdict"] == "one way only":
        return "Only one of the two ways has laps so far."
    parts = [_time_note(row), _fault_note(row)]
    if row["seldom"]:
        parts.append(
            "The ways changed over too seldom to tell them from whatever else changed meanwhile: "
            "take turns of five."
        )
    return " ".join(parts)


def _time_note(row: dict) -> str:
    low, high = row["less_time_low"], row["less_time_high"]
    if low > 0 or high < 0:
        way, (low, high) = ("B", (low, high)) if low > 0 else ("A", _turned(low, high))
        return f"Way {way} takes {low:.0f} to {high:.0f} % less time."
    if not np.isfinite(row["laps_needed"]):
        return "Too few laps to compare their time."
    if max(high, -low) < 5:
        return "They take the same time, to within 5 %."
    return (
        f"Which takes less time cannot be told yet; about {row['laps_needed']:,.0f} laps each way "
        "would show 5 %."
    )


def _turned(low: float, high: float) -> tuple[float, float]:
    """Percent less that A takes than B, from percent less that B takes than A."""
    return 100 * (1 - 1 / (1 - high / 100)), 100 * (1 - 1 / (1 - low / 100))


def _fault_note(row: dict) -> str:
    low, high = row["fewer_faults_low"], row["fewer_faults_high"]
    if low > 0 or high < 0:
        way, ends = ("B", (low, high)) if low > 0 else ("A", (-high, -low))
        return (
            f"Of 100 pieces {100 * ends[0]:.0f} to {100 * ends[1]:.0f} fewer are spoiled in {way}."
        )
    if not np.isfinite(row["pieces_needed"]):
        return f"No piece was spoiled either way ({row['pieces_a']} and {row['pieces_b']} pieces)."
    return (
        f"Which spoils fewer cannot be told yet; about {row['pieces_needed']:,.0f} pieces each way "
        "would show half as many."
    )
