"""What faults cost: the time of putting right, and the work and material in pieces lost for good.

The trade sorts the costs of quality into prevention, appraisal, internal failure and external
failure (the prevention-appraisal-failure model of Feigenbaum 1956; BS 6143-2; ASQ). Laps tell of
inspection (appraisal), and of rework and scrap (internal failure); they have no activity for
prevention, and what happens after a piece is sold is in no lap: both are left open, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.quality import KEYS
from analysis.study.rates import cell_codes, clusters, is_activity, is_regular
from analysis.study.route import passed_operations

if TYPE_CHECKING:
    from scipy.sparse import csr_array

    from analysis.study.summary import Study

DRAWS = 1000
CELL = ["product", "operation", "variant", "cause_operation", "cause"]
PARTS = ("rework_seconds", "untimed_seconds", "scrap_seconds")
COLUMNS = (
    "rework_units", "untimed_units", "scrap_units", *PARTS, "labour", "material",
    "seconds_per_week", "seconds_low", "seconds_high", "money_per_week", "money_low", "money_high",
    "share", "cumulative_share",
)  # fmt: skip
KIND_COLUMNS = (
    "category", "kind", "seconds_per_week", "seconds_low", "seconds_high", "money_per_week",
    "money_low", "money_high", "note",
)  # fmt: skip
PRODUCT_COLUMNS = (
    "product", "good_units", "seconds_per_good_piece", "seconds_low", "seconds_high",
    "money_per_good_piece", "money_low", "money_high",
)  # fmt: skip
NO_CAUSE = "no cause given"


@dataclass(frozen=True)
class CostOfQuality:
    """What faults cost in all the weeks worked.

    kinds       KIND_COLUMNS: category (prevention, appraisal, internal failure, external failure)
                and kind of cost; NaN where it is not logged, with the reason in `note`; the row
                of kind "all" sums internal failure up
    products    PRODUCT_COLUMNS: internal failure for each good piece
    found       operation, COLUMNS: by the operation the fault was found in
    caused      operation, COLUMNS: by the operation that made it, as far as laps say so
    causes      cause, made_in, COLUMNS: the Pareto, dearest first (by money where known, else by
                time), with share and cumulative_share
    weeks       weeks worked; batches: how many the intervals rest on
    wage_known  the pay of everybody concerned is given; else labour is NaN and money is material
    unpaid      those whose pay is not given
    unpriced    products whose material cost is not given, and is left out of money
    untimed_units, untimed_basis   pieces flagged for rework whose mending no lap timed, and how
                their time was estimated: "operation", "elsewhere", "" (none), "none" (nothing to
                go by: not known, so NaN where it is all there is, and left out of sums)
    """

    kinds: pd.DataFrame
    products: pd.DataFrame
    found: pd.DataFrame
    caused: pd.DataFrame
    causes: pd.DataFrame
    weeks: int
    batches: int
    wage_known: bool
    unpaid: tuple[str, ...]
    unpriced: tuple[str, ...]
    untimed_units: float
    untimed_basis: str


@dataclass(frozen=True)
class Tally:
    """What the laps add up to, batch by batch, and what each count is worth.

    cells       one row a kind of fault (CELL), with the seconds and pay of the work in a piece
                lost there and its material
    counts      of measure -> sparse array (batches x cells)
    place       product and operation of each cell, as a code; one run of cells each
    checks, good_units   inspection seconds, pay (batches x 2) and good pieces (batches x products)
    """

    cells: pd.DataFrame
    counts: dict[str, csr_array]
    place: np.ndarray
    checks: np.ndarray
    good_units: np.ndarray
    products: list[str]


def cost_of_quality(
    study: Study, rng: np.random.Generator, draws: int = DRAWS, *, tally: Tally | None = None
) -> CostOfQuality:
    """The cost of faults in time and money, with 95 % intervals from whole batches drawn anew.

    rework      seconds of the rework laps, at the pay of those who did them
    untimed     pieces flagged for rework beyond those the rework laps cover, at the mean timed
                seconds of a piece put right in that operation (elsewhere where it has none)
    scrap       for each piece lost the mean observed seconds of the operations it had been through
                (those that must precede the one it was lost in by the routing; without one, all
                before it in the usual order), and its material, counted whole wherever it was lost
    Setups are left out: a batch is set up whether or not a piece of it is lost.

    The bootstrap takes as many batches as there are, with replacement (Efron 1979; whole clusters,
    since pieces of one batch are alike); laps without a batch go by day. Their number, and the
    weeks they are divided by, are held at those there were: the range is that of a week with as
    many batches as now, and says nothing of busier or quieter weeks. Its quantiles are those
    of the expanded percentile interval for few batches m (Hesterberg 2015, from memory):
    Phi(-+ sqrt(m / (m - 1)) t(.975, m - 1)). NaN with one batch. tally: that of the study, where
    it is there already.
    """
    tally = tally or tallied(study)
    weight = resampled(tally.good_units.shape[0], draws, rng)
    amount = amounts(tally, weight)
    return _assembled(study, tally, weight, amount)


def tallied(study: Study) -> Tally:
    """The sums by batch behind the costs."""
    laps = study.laps
    batch = clusters(laps, study.timezone)
    batches = int(batch.max(initial=-1)) + 1
    pay = _pay(laps, study)
    rework, regular = is_activity(laps, "rework"), is_regular(laps)
    faulty = (regular & (laps["rework_units"] + laps["scrap_units"] > 0).to_numpy()) | rework
    cells = laps.loc[faulty, CELL].drop_duplicates().astype(str)
    cells = cells.sort_values(CELL, ignore_index=True)
    at = cell_codes(laps[faulty], CELL, cells)
    own, mending = laps[faulty], rework[faulty]

    def counted(values: np.ndarray) -> object:
        return _sparse(batch[faulty], at, values, (batches, len(cells)))

    counts = {
        "flagged": counted(np.where(mending, 0, own["rework_units"])),
        "mended": counted(np.where(mending, own["units"], 0)),
        "seconds": counted(np.where(mending, own["seconds"], 0.0)),
        "pay": counted(np.where(mending, pay[faulty], 0.0)),
        "lost": counted(own["scrap_units"].to_numpy()),
    }
    products = list(laps["product"].cat.categories)
    good = np.zeros((batches, len(products)))
    np.add.at(good, (batch, laps["product"].cat.codes.to_numpy()), laps["good_units"].to_numpy())
    inspection = is_activity(laps, "inspection")
    checks = np.stack([
        np.bincount(batch[inspection], values[inspection], batches)
        for values in (laps["seconds"].to_numpy(), pay)
    ], axis=1)  # fmt: skip
    place = cells.groupby(KEYS, sort=False).ngroup().to_numpy()
    return Tally(_worth(cells, study), counts, place, checks, good, products)


def _pay(laps: pd.DataFrame, study: Study) -> np.ndarray:
    """Pay of each lap; NaN for those whose cost per hour is not given."""
    per_hour = {w.name: w.cost_per_hour for w in study.shop.workers if w.cost_per_hour is not None}
    names = laps["worker"].cat.categories
    rates = np.array([per_hour.get(name, np.nan) for name in names], float)
    return laps["seconds"].to_numpy() * rates[laps["worker"].cat.codes.to_numpy()] / 3600


def _sparse(
    rows: np.ndarray, columns: np.ndarray, values: np.ndarray, shape: tuple[int, int]
) -> csr_array:
    from scipy.sparse import csr_array  # imported where used: scipy is slow to import

    return csr_array((np.asarray(values, float), (rows, columns)), shape=shape)


def _worth(cells: pd.DataFrame, study: Study) -> pd.DataFrame:
    """The cells with what a piece lost there is worth: work_seconds, work_pay, material; and
    pay_rate, what a second at the operation costs."""
    each = per_piece(study)
    steps = ["product", "variant", "operation"]
    lost = work_in_pieces(cells[steps].drop_duplicates(), study, each)
    rate = each["pay"] / each["seconds"]
    known = map(study.shop.product, cells["product"], cells["variant"])
    return cells.merge(lost, on=steps, how="left").assign(
        pay_rate=rate.reindex(pd.MultiIndex.from_frame(cells[KEYS])).to_numpy(),
        material=np.array([getattr(row, "material_cost", None) for row in known], float),
    )


def per_piece(study: Study) -> pd.DataFrame:
    """Mean observed seconds and pay of a piece by product and operation, suspicious laps left out.

    The pay is NaN where one of those who did it has none given.
    """
    laps = study.laps.assign(pay=_pay(study.laps, study))
    laps = laps[is_regular(laps) & ~laps["suspicious"].to_numpy()]
    keys = [laps[key].astype(str) for key in KEYS]
    sums = laps[["seconds", "units"]].groupby(keys).sum()
    paid = laps["pay"].groupby(keys).sum(min_count=1)
    paid = paid.where(~laps["pay"].isna().groupby(keys).any())
    return pd.DataFrame({"seconds": sums["seconds"] / sums["units"], "pay": paid / sums["units"]})


def pay_per_second(study: Study) -> pd.Series:
    """Mean pay of a second by product and operation; NaN where somebody's is not given."""
    each = per_piece(study)
    return each["pay"] / each["seconds"]


def work_in_pieces(places: pd.DataFrame, study: Study, each: pd.DataFrame) -> pd.DataFrame:
    """work_seconds and work_pay of a piece lost at each product, variant and operation: of the
    operations it has been through (`route.passed_operations`) and of the one it was lost in.

    places: product, variant, operation as text, each row once; each: `per_piece`. An operation
    that no lap timed counts with its planned seconds, at no pay.
    """
    timed = dict(zip(each.index, each.to_numpy(), strict=True))
    steps = ["product", "variant", "operation"]
    planned = study.route.set_index(steps)["planned_seconds"].fillna(0.0).to_dict()
    passed = passed_operations(study.route)
    rows = []
    for product, variant, operation in places[steps].itertuples(index=False):
        through = sorted(passed.get((product, variant, operation), set()) | {operation})
        work = [
            timed.get((product, name), (planned.get((product, variant, name), 0.0), 0.0))
            for name in through
        ]
        rows.append(tuple(float(sum(part)) for part in zip(*work, strict=True)))
    work = pd.DataFrame(rows, columns=["work_seconds", "work_pay"], dtype=float)
    return places[steps].reset_index(drop=True).join(work)


def resampled(batches: int, draws: int, rng: np.random.Generator) -> np.ndarray:
    """How often each batch is taken: (1 + draws) x batches, the first row all ones (the data)."""
    if batches == 0:
        return np.ones((1 + draws, 0))
    taken = rng.integers(0, batches, (draws, batches))
    weight = np.ones((1 + draws, batches))
    for row, drawn in zip(weight[1:], taken, strict=True):
        row[:] = np.bincount(drawn, minlength=batches)
    return weight


def amounts(tally: Tally, weight: np.ndarray) -> dict[str, np.ndarray]:
    """Seconds and money of every cell, (weights x cells) each, of the batches as weighted.

    Mending never timed: of the pieces of a place (product and operation), those flagged beyond
    those mended, shared out among its cells by what each is short of.
    """
    sums = {name: (of.T @ weight.T).T for name, of in tally.counts.items()}
    cells, place = tally.cells, tally.place
    starts = np.flatnonzero(np.diff(place, prepend=-1))

    def at_place(values: np.ndarray) -> np.ndarray:
        return np.add.reduceat(values, starts, axis=1)[:, place] if len(starts) else values

    with np.errstate(invalid="ignore", divide="ignore"):
        short = np.maximum(sums["flagged"] - sums["mended"], 0.0)
        untimed = np.maximum(at_place(sums["flagged"] - sums["mended"]), 0.0)
        untimed = np.where(short > 0, untimed * short / at_place(short), 0.0)
        each, _ = seconds_to_mend(tally)
        mended = at_place(sums["mended"])
        each = np.where(mended > 0, at_place(sums["seconds"]) / mended, each)
    scrap = sums["lost"]
    price = cells["material"].to_numpy()
    estimated = untimed * np.nan_to_num(each)
    labour_of = {
        "rework": sums["pay"],
        "untimed": _times(estimated, cells["pay_rate"].to_numpy()),
        "scrap": _times(scrap, cells["work_pay"].to_numpy()),
    }
    return {
        "rework_units": sums["flagged"], "untimed_units": untimed, "scrap_units": scrap,
        "rework_seconds": sums["seconds"], "untimed_seconds": estimated,
        "scrap_seconds": scrap * cells["work_seconds"].to_numpy(),
        "material": scrap * np.nan_to_num(price), "material_as_given": _times(scrap, price),
        **{f"{name}_pay": value for name, value in labour_of.items()},
    }  # fmt: skip


def _times(count: np.ndarray, price: np.ndarray) -> np.ndarray:
    """count x price, 0 where there is nothing to pay for though its price is not known."""
    return np.where(count > 0, count * price, 0.0)


def seconds_to_mend(tally: Tally) -> tuple[np.ndarray, str]:
    """Mean timed seconds to put one piece right, for each cell, and what the worst rests on.

    Of its product and operation; where none was timed there, of the operation in other products,
    else of the whole shop; NaN where no rework lap is. The basis is that of pieces not timed.
    """
    seconds = np.asarray(tally.counts["seconds"].sum(axis=0)).ravel()
    pieces = np.asarray(tally.counts["mended"].sum(axis=0)).ravel()
    each = pd.DataFrame({"place": tally.place, "operation": tally.cells["operation"],
                         "seconds": seconds, "pieces": pieces})  # fmt: skip
    means = []
    for key in ("place", "operation"):
        sums = each.groupby(key)[["seconds", "pieces"]].transform("sum")
        means.append((sums["seconds"] / sums["pieces"].where(sums["pieces"] > 0)).to_numpy(float))
    shop = seconds.sum() / pieces.sum() if pieces.sum() else np.nan
    at_all = np.where(np.isnan(means[1]), shop, means[1])
    flagged = np.asarray(tally.counts["flagged"].sum(axis=0)).ravel()
    asked = np.isnan(means[0]) & (flagged > pieces)
    basis = (
        "none" if asked.any() and np.isnan(shop) else "elsewhere" if asked.any() else "operation"
    )
    return np.where(np.isnan(means[0]), at_all, means[0]), basis


def _assembled(study: Study, tally: Tally, weight: np.ndarray, amount: dict) -> CostOfQuality:
    cells = tally.cells
    weeks = int((study.weeks["bench_hours"] > 0).sum())
    unpaid = _unpaid(study)
    amount, wage_known = _with_money(amount, cells, bool(unpaid))
    made_in = cells["cause_operation"].where(cells["cause_operation"] != "", cells["operation"])
    why = cells["cause"].where(cells["cause"] != "", NO_CAUSE)
    lost = amount["scrap_units"][0] > 0
    untimed = float(amount["untimed_units"][0].sum())
    basis = seconds_to_mend(tally)[1] if untimed else ""
    unknown = basis == "none"

    def view(**keys: pd.Series) -> pd.DataFrame:
        return _view(pd.DataFrame(keys), amount, weeks, len(tally.good_units), unknown)

    return CostOfQuality(
        kinds=_kinds(amount, tally, weight, weeks, wage_known, unknown),
        products=_products(amount, tally, weight, unknown),
        found=view(operation=cells["operation"]),
        caused=view(operation=made_in),
        causes=view(cause=why, made_in=made_in),
        weeks=weeks,
        batches=len(tally.good_units),
        wage_known=wage_known,
        unpaid=unpaid,
        unpriced=tuple(cells["product"][lost & cells["material"].isna().to_numpy()].unique()),
        untimed_units=untimed,
        untimed_basis=basis,
    )


def _with_money(amount: dict, cells: pd.DataFrame, some_unpaid: bool) -> tuple[dict, bool]:
    """The amounts with labour, seconds and money in all, and whether the pay is known.

    Where somebody's pay is not, labour is NaN and money is the material alone, NaN where none of
    it has a price.
    """
    labour = amount["rework_pay"] + amount["untimed_pay"] + amount["scrap_pay"]
    wage_known = not np.isnan(labour[0]).any() if len(cells) else not some_unpaid
    unknown = np.full(labour.shape, np.nan)
    priced = (amount["scrap_units"][0] > 0) & cells["material"].notna().to_numpy()
    money = amount["material"] + labour if wage_known else amount["material"]
    return amount | {
        "labour": labour if wage_known else unknown,
        "seconds": sum(amount[name] for name in PARTS),
        "money": money if wage_known or priced.any() else unknown,
    }, wage_known  # fmt: skip


def _unpaid(study: Study) -> tuple[str, ...]:
    paid = {worker.name for worker in study.shop.workers if worker.cost_per_hour is not None}
    return tuple(name for name in study.laps["worker"].astype(str).unique() if name not in paid)


def untimed_mending(laps: pd.DataFrame) -> int:
    """Pieces of these laps that were flagged for rework where no rework was timed at all; 0 where
    some was. What mending them took is then not known, which is not nothing."""
    if is_activity(laps, "rework").any():
        return 0
    return int(laps["rework_units"].to_numpy()[is_regular(laps)].sum())


def _view(
    keys: pd.DataFrame, amount: dict, weeks: int, batches: int, unknown: bool
) -> pd.DataFrame:
    """The amounts of the cells added up by the columns of `keys`, dearest first. Where the time of
    mending is `unknown`, NaN in rows that have nothing else."""
    names = list(keys.columns)
    rows = keys.drop_duplicates().sort_values(names, ignore_index=True)
    group = cell_codes(keys, names, rows) if len(keys) else np.empty(0, int)
    into = _sparse(group, np.arange(len(group)), np.ones(len(group)), (len(rows), len(group)))
    whole = ("rework_units", "untimed_units", "scrap_units", *PARTS, "labour")
    table = rows.assign(**{name: into @ amount[name][0] for name in whole})
    table["material"] = into @ amount["material_as_given"][0]
    for name in ("seconds", "money"):
        ends = _ranged((into @ amount[name].T).T / max(weeks, 1), batches)
        table[f"{name}_per_week"], table[f"{name}_low"], table[f"{name}_high"] = ends
    order = "seconds_per_week" if table["money_per_week"].isna().any() else "money_per_week"
    table = table.sort_values(order, ascending=False, kind="stable", ignore_index=True)
    total = table[order].sum()
    table["share"] = table[order] / (total if total > 0 else np.nan)
    table["cumulative_share"] = table["share"].cumsum()
    mended = unknown & (table["untimed_units"] > 0)
    table["untimed_seconds"] = table["untimed_seconds"].mask(mended)
    bare = mended & (table["rework_seconds"] + table["scrap_units"] == 0)
    figures = [*COLUMNS[COLUMNS.index("seconds_per_week") :], "labour"]
    table[figures] = table[figures].mask(bare)
    return table[[*names, *COLUMNS]]


def _ranged(values: np.ndarray, batches: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The data's figure (row 0) and its 95 % interval from the other rows, by column."""
    found = values[0]
    if batches < 2 or len(values) < 2:
        return found, np.full(found.shape, np.nan), np.full(found.shape, np.nan)
    low, high = np.quantile(values[1:], tails(batches), axis=0)
    return found, np.minimum(low, found), np.maximum(high, found)


def tails(batches: int) -> tuple[float, float]:
    """The quantiles of an expanded 95 % percentile interval over so many batches (> 1)."""
    from scipy.special import ndtr, stdtrit  # imported where used: scipy is slow to import

    low = float(ndtr(-np.sqrt(batches / (batches - 1)) * stdtrit(batches - 1, 0.975)))
    return low, 1 - low


def _kinds(
    amount: dict, tally: Tally, weight: np.ndarray, weeks: int, wage_known: bool, unknown: bool
) -> pd.DataFrame:
    """One row a kind of cost, by the trade's categories (KIND_COLUMNS)."""
    batches = len(tally.good_units)
    nothing = np.full(len(weight), np.nan)
    check_seconds, check_pay = (weight @ tally.checks).T
    total = {name: amount[name].sum(axis=1) for name in amount}

    def paid(name: str) -> np.ndarray:
        return total[name] if wage_known else nothing

    priced = total["material"][0] > 0 or not np.isnan(total["material_as_given"][0])
    material = total["material"] if priced else nothing
    untimed, all_seconds, all_money = total["untimed_seconds"], total["seconds"], total["money"]
    untimed_pay, sum_note = paid("untimed_pay"), ""
    estimated = "estimated from the pieces flagged" * bool(untimed[0])
    if unknown:
        untimed, untimed_pay = nothing, nothing
        estimated, sum_note = "no mending was timed yet", "without mending, which was not timed yet"
        if not all_seconds[0] and not total["scrap_units"][0]:
            all_seconds, all_money = nothing, nothing
    failure = "internal failure"
    sorts = (
        ("prevention", "", nothing, nothing, "laps have no activity for it"),
        ("appraisal", "inspection", check_seconds, check_pay, ""),
        (failure, "rework, timed", total["rework_seconds"], paid("rework_pay"), ""),
        (failure, "rework, not timed", untimed, untimed_pay, estimated),
        (failure, "work in pieces lost", total["scrap_seconds"], paid("scrap_pay"), ""),
        (failure, "material of pieces lost", 0 * total["seconds"], material, ""),
        (failure, "all", all_seconds, all_money, sum_note),
        ("external failure", "", nothing, nothing, "what happens after the sale is in no lap"),
    )
    rows = [
        (category, kind, *_one_range(seconds / max(weeks, 1), batches),
         *_one_range(money / max(weeks, 1), batches), note)
        for category, kind, seconds, money, note in sorts
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(KIND_COLUMNS))


def _one_range(values: np.ndarray, batches: int) -> tuple[float, float, float]:
    """`_ranged` of one figure; draws in which it is not defined (no good piece) are left out."""
    spread = values if np.isnan(values[0]) else values[~np.isnan(values)]
    value, low, high = _ranged(spread[:, None], batches)
    return float(value[0]), float(low[0]), float(high[0])


def _products(amount: dict, tally: Tally, weight: np.ndarray, unknown: bool) -> pd.DataFrame:
    """Internal failure for each good piece, by product: a ratio of what was drawn to what was; NaN
    where mending is all there was and its time is `unknown`."""
    good = weight @ tally.good_units
    rows = []
    for number, product in enumerate(tally.products):
        if not tally.good_units[:, number].any() and product not in set(tally.cells["product"]):
            continue
        own = (tally.cells["product"] == product).to_numpy()
        made = np.where(good[:, number] > 0, good[:, number], np.nan)
        if (
            unknown
            and amount["untimed_units"][0, own].any()
            and not amount["seconds"][0, own].any()
        ):
            made = np.full(made.shape, np.nan)
        batches = int((tally.good_units[:, number] != 0).sum())
        seconds, money = (
            _one_range(amount[name][:, own].sum(axis=1) / made, batches)
            for name in ("seconds", "money")
        )
        rows.append((product, int(tally.good_units[:, number].sum()), *seconds, *money))
    return pd.DataFrame(rows, columns=list(PRODUCT_COLUMNS))
