"""Work content: what a good piece takes at each operation, and how sure that is.

Every figure is a value and a sheaf of draws from what the laps leave open: the present time of
each operation, the scrap, mending, setup and walking rates. Intervals of whatever is made of them
(takt load, cost) are quantiles of the same draws, so that they agree with each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.records.shop import Shop
from analysis.study.frames import Number
from analysis.study.quality import share_draws
from analysis.study.rates import cell_codes, clusters, is_activity, is_regular, ratio
from analysis.study.time_study import (
    KEYS,
    DelayRate,
    normal_by_operation,
    retention_errors,
    standard_seconds,
)

DRAWS = 1000
PLAN_DOUBT = 0.15  # sd of the log of a planned time: 19 in 20 lie within about -25 and +34 percent;
# common practice, no source
RATES = ("standard_seconds", "setup_per_batch", "transport_rate", "rework_rate", "scrap_rate")
COLUMNS = (
    "product", "variant", "operation", "position", "station", "share", "pieces_per_good_piece",
    "standard_seconds", "good_seconds", "setup_seconds", "transport_seconds", "rework_seconds",
    "total_seconds", "source",
)  # fmt: skip


@dataclass(frozen=True)
class Parts:
    """Seconds per good piece at each route row, by what they go into: arrays n x rows.

    standard: of one piece; good: through downstream scrap, so that one comes out good.
    through: pieces that must pass the row for one good piece; good_share: of the pieces started
    on the row's route, those that come out good.
    """

    standard: np.ndarray
    good: np.ndarray
    setup: np.ndarray
    transport: np.ndarray
    rework: np.ndarray
    through: np.ndarray
    good_share: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """Seconds per good piece, all kinds of work together."""
        return self.good + self.setup + self.transport + self.rework


@dataclass(frozen=True)
class Content:
    """Work content by route row: as a frame (COLUMNS), its values (1 x rows), and draws of them."""

    frame: pd.DataFrame
    values: Parts
    draws: Parts


def content(
    laps: pd.DataFrame,
    present: pd.DataFrame,
    quality: pd.DataFrame,
    routes: pd.DataFrame,
    shop: Shop,
    delay: DelayRate,
    rng: np.random.Generator,
) -> Content:
    """Seconds per good piece by product, variant and operation.

    standard: normal time at the present level of practice, with personal and fatigue allowance
    and the logged rate of interruptions (the contingency allowance only where none is logged);
    times the pieces that must pass here for one to come out good, the product over this and the
    later operations of 1 / (1 - scrap rate); a planned time is known to PLAN_DOUBT. setup: mean
    seconds per batch set up / batch size, the route's own plan where none was logged. transport
    and rework: logged seconds per piece at the operation, times those pieces.
    """
    table = _operation_rates(laps, present, quality, routes, shop)
    table["standard_seconds"] = table["normal_seconds"] * _allowance_factor(shop, delay.percent)
    rows = routes.reset_index(drop=True)
    at = cell_codes(rows, KEYS, table)
    value = {name: table[name].to_numpy()[None, :] for name in RATES}
    drawn = _draw(table, retention_errors(present, table), shop, delay, rng)
    values, draws = (_parts(rates, at, rows, table, shop) for rates in (value, drawn))
    frame = rows[["product", "variant", "operation", "position", "station"]].assign(
        share=_variant_shares(rows, laps, shop),
        pieces_per_good_piece=values.through[0],
        standard_seconds=values.standard[0],
        good_seconds=values.good[0],
        setup_seconds=values.setup[0],
        transport_seconds=values.transport[0],
        rework_seconds=values.rework[0],
        total_seconds=values.total[0],
        source=table["source"].to_numpy()[at],
    )
    return Content(frame[list(COLUMNS)], values, draws)


def _parts(
    rates: dict[str, np.ndarray],
    at: np.ndarray,
    rows: pd.DataFrame,
    table: pd.DataFrame,
    shop: Shop,
) -> Parts:
    """Seconds per good piece of the route rows, from the rates (n x operations) `at` theirs."""
    first = _first_of_route(rows)
    through = _through(1 - rates["scrap_rate"][:, at], first)
    standard = rates["standard_seconds"][:, at] * _own_plan(rows, table.iloc[at])
    logged = table["setup_logged"].to_numpy()[at]
    setup = np.where(logged, rates["setup_per_batch"][:, at], rows["setup_seconds"].to_numpy(float))
    return Parts(
        standard=standard,
        good=standard * through,
        setup=setup / batch_sizes(rows, shop),
        transport=rates["transport_rate"][:, at] * through,
        rework=rates["rework_rate"][:, at] * through,
        through=through,
        good_share=1 / through[:, first],
    )


def _own_plan(rows: pd.DataFrame, table: pd.DataFrame) -> np.ndarray:
    """Where an operation is only planned, the variant's own plan over the operation's first one."""
    plan, first_plan = rows["planned_seconds"].to_numpy(), table["planned_seconds"].to_numpy()
    planned = (table["source"] == "planned").to_numpy() & (first_plan > 0)
    return np.where(planned, plan / np.where(planned, first_plan, 1.0), 1.0)


def _operation_rates(
    laps: pd.DataFrame,
    present: pd.DataFrame,
    quality: pd.DataFrame,
    routes: pd.DataFrame,
    shop: Shop,
) -> pd.DataFrame:
    """One row per product and operation of any route: its rates and their standard errors."""
    table = routes.groupby(KEYS, sort=True)[["planned_seconds"]].first().reset_index()
    normal = normal_by_operation(present)
    table = table.merge(normal[[*KEYS, "normal_seconds", "se_log"]], on=KEYS, how="left")
    columns = ["units", "lost_units", "scrap_rate", "scrap_likeness"]
    table = table.merge(quality[[*KEYS, *columns]], on=KEYS, how="left")
    table["source"] = np.where(
        table["normal_seconds"].notna(),
        "laps",
        np.where(table["planned_seconds"].notna(), "planned", "none"),
    )
    timed = table["normal_seconds"].fillna(table["planned_seconds"])
    table["normal_seconds"] = timed.fillna(0.0)
    table["se_log"] = table["se_log"].fillna(PLAN_DOUBT)
    nothing = {"units": 0, "lost_units": 0, "scrap_rate": 0.0, "scrap_likeness": 1.0}
    table = table.fillna(nothing)
    setup = _setup_per_batch(laps, table)
    table["setup_logged"] = setup["clusters"] > 0
    table["setup_per_batch"], table["setup_se"] = setup["value"].fillna(0.0), setup["se"]
    for name in ("transport", "rework"):
        rate = _rate_per_piece(laps, table, name, shop.timezone)
        table[f"{name}_rate"], table[f"{name}_se"] = rate["value"], rate["se"]
    return table


def _allowance_factor(shop: Shop, delay_percent: Number) -> Number:
    """Standard over normal time, the logged interruptions in place of the contingency allowance.

    Interruptions are logged in percent of work; as a share of the working day (work,
    interruptions and rest R) they are delay (1 - R) / (1 + delay).
    """
    allowance = shop.allowance
    rest = allowance.personal_percent + allowance.fatigue_percent
    if not np.any(delay_percent):
        percent: Number = rest + allowance.contingency_percent
    elif allowance.convention == "of working day":
        percent = rest + delay_percent * (100 - rest) / (100 + delay_percent)
    else:
        percent = rest + delay_percent
    return standard_seconds(1.0, percent, allowance.convention)


def _setup_per_batch(laps: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Mean setup seconds of the batches that were set up for, its se, and how many batches."""
    setups = laps[is_activity(laps, "setup")]
    cell = cell_codes(setups, KEYS, table)
    setups, cell = setups[cell >= 0], cell[cell >= 0]
    unnamed = (setups["batch"] == "").to_numpy()
    batch = setups["batch"].cat.codes.to_numpy().astype("int64")
    # Setups of no named batch stand each for a batch of its own.
    cluster = np.where(unnamed, len(laps) + np.arange(len(setups)), batch)
    pairs = pd.DataFrame({"cell": cell, "cluster": cluster, "seconds": setups["seconds"]})
    per_batch = pairs.groupby(["cell", "cluster"])["seconds"].sum()
    told = per_batch.groupby("cell").agg(["mean", "sem", "size"]).reindex(range(len(table)))
    told["sem"] = told["sem"].fillna(0.0)
    return told.set_axis(["value", "se", "clusters"], axis=1).fillna({"clusters": 0})


def _rate_per_piece(
    laps: pd.DataFrame, table: pd.DataFrame, activity: str, timezone: str
) -> pd.DataFrame:
    """Seconds of an activity per piece that passed its operation, with the se between batches.

    Where no piece passes there (a walk that is a step of its own), per piece of the operation of
    the product that most pieces passed.
    """
    wanted = laps[is_activity(laps, activity) | is_regular(laps)]
    cell = cell_codes(wanted, KEYS, table)
    wanted, cell = wanted[cell >= 0], cell[cell >= 0]
    counted = is_activity(wanted, activity)
    seconds = np.where(counted, wanted["seconds"], 0.0)
    pieces = np.where(counted, 0.0, wanted["units"])
    rate = ratio(seconds, pieces, cell, clusters(wanted, timezone), len(table))
    total = np.bincount(cell, seconds, len(table))
    most = table.groupby("product")["units"].transform("max").to_numpy(float)
    own = table["units"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.where(total > 0, total / np.where(own > 0, own, most), 0.0)
    se = np.where((own > 0) & (total > 0), rate["se"], 0.0)
    return pd.DataFrame({"value": np.nan_to_num(value, posinf=0), "se": np.nan_to_num(se)})


def _draw(
    table: pd.DataFrame,
    forgetting: np.ndarray,
    shop: Shop,
    delay: DelayRate,
    rng: np.random.Generator,
) -> dict[str, np.ndarray]:
    """DRAWS x operations of every rate: times lognormal, other rates normal cut at 0.

    What is in doubt for all operations at once is drawn once for all: the rate of interruptions,
    and each worker's retention (`forgetting`, operations x workers); the rest of an operation's
    error is its own.
    """
    shape = (DRAWS, len(table))
    own = np.maximum(table["se_log"].to_numpy() ** 2 - (forgetting**2).sum(axis=1), 0.0)
    delays = np.maximum(delay.percent + rng.normal(size=(DRAWS, 1)) * delay.se, 0.0)
    logs = rng.normal(size=shape) * np.sqrt(own)
    logs = logs + rng.normal(size=(DRAWS, forgetting.shape[1])) @ forgetting.T
    times = table["normal_seconds"].to_numpy() * np.exp(logs) * _allowance_factor(shop, delays)

    scrap = share_draws(table["lost_units"], table["units"], table["scrap_likeness"], DRAWS, rng)

    def spread(value: str, se: str) -> np.ndarray:
        return np.maximum(
            table[value].to_numpy() + rng.normal(size=shape) * table[se].to_numpy(), 0.0
        )

    return {
        "standard_seconds": times,
        "scrap_rate": np.minimum(scrap, 1 - 1e-9),  # a draw of 1 would be one of rounding
        "setup_per_batch": spread("setup_per_batch", "setup_se"),
        "transport_rate": spread("transport_rate", "transport_se"),
        "rework_rate": spread("rework_rate", "rework_se"),
    }


def _first_of_route(rows: pd.DataFrame) -> np.ndarray:
    """For each row, the place of the first row of its route (rows of a route stand together)."""
    starts = np.flatnonzero(rows["position"].to_numpy() == 0)
    return np.repeat(starts, np.diff(np.append(starts, len(rows))))


def _through(passing: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Pieces that must pass each row for one good piece: 1 / product of `passing` from it on.

    NaN where every piece was lost: no number of pieces makes a good one.
    """
    through = np.empty((len(passing), len(first)))
    starts = np.unique(first)
    for begin, end in zip(starts, np.append(starts, len(first))[1:], strict=True):
        tail = np.cumprod(passing[:, begin:end][:, ::-1], axis=1)[:, ::-1]
        through[:, begin:end] = 1 / np.where(tail > 0, tail, np.nan)
    return through


def batch_sizes(rows: pd.DataFrame, shop: Shop) -> np.ndarray:
    """Pieces started together by the shop, for each row's product and variant, float64."""
    pairs = zip(rows["product"], rows["variant"], strict=True)
    return np.array([shop.batch_size(product, variant) for product, variant in pairs], float)


def _variant_shares(rows: pd.DataFrame, laps: pd.DataFrame, shop: Shop) -> np.ndarray:
    """Each route's share of its product: by the demand of variants, else by the pieces made. What
    is asked of the product beyond its variants is for those without a demand of their own."""
    pairs = rows[["product", "variant"]].drop_duplicates()
    several = set(pairs.loc[pairs["variant"] != "", "product"])
    demand = [
        np.nan if product in several and not variant else _demand(shop, product, variant)
        for product, variant in pairs.itertuples(index=False)
    ]
    rest = [_demand_of_rest(shop, name) if name in several else np.nan for name in pairs["product"]]
    regular = laps[is_regular(laps)]
    most = regular.groupby(["product", "variant", "operation"], observed=True)["units"].sum()
    made = most.groupby(["product", "variant"], observed=True).max()
    made = made.set_axis([(str(p), str(v)) for p, v in made.index]) if len(made) else made
    pairs = pairs.assign(
        demand=np.array(demand, float),
        made=[float(made.get(pair, 0)) for pair in pairs.itertuples(index=False, name=None)],
    )
    open_to_rest = pairs["demand"].isna() & np.isfinite(rest)
    own = _parts_of(pairs["made"].where(open_to_rest, 0.0), open_to_rest, pairs["product"])
    pairs["demand"] = pairs["demand"].where(~open_to_rest, own * np.array(rest, float))
    sizes = rows.groupby(["product", "variant"], sort=False).size().to_numpy()
    return np.repeat(_shares_within_product(pairs), sizes)


def _parts_of(made: pd.Series, asked: pd.Series, product: pd.Series) -> pd.Series:
    """Each one's part of its product's pieces made; of none made, all `asked` for have as much."""
    nothing = made.groupby(product).transform("sum") == 0
    weight = made.mask(nothing, asked.astype(float))
    total = weight.groupby(product).transform("sum")
    return weight / total.where(total > 0, 1.0)


def _shares_within_product(pairs: pd.DataFrame) -> np.ndarray:
    by = pairs.groupby("product", sort=False)
    demanded = (by["demand"].transform("sum") > 0) & (by["made"].transform("size") > 1)
    weight = pairs["demand"].fillna(0.0).where(demanded, pairs["made"])
    total = weight.groupby(pairs["product"]).transform("sum")
    weight = weight.where(total > 0, 1.0)  # neither demand nor pieces: all alike
    return (weight / weight.groupby(pairs["product"]).transform("sum")).to_numpy(float)


def _demand(shop: Shop, product: str, variant: str) -> float:
    for row in shop.products:
        if (row.name, row.variant) == (product, variant) and row.demand_per_week is not None:
            return row.demand_per_week
    return np.nan


def _demand_of_rest(shop: Shop, product: str) -> float:
    """Demand for a product beyond that for its variants: what others of it are for.

    NaN where no variant has a demand of its own.
    """
    rows = [row for row in shop.products if row.name == product and row.variant]
    known = [row.demand_per_week for row in rows if row.demand_per_week is not None]
    return max(_demand(shop, product, "") - sum(known), 0.0) if known else np.nan
