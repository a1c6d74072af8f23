"""Keeping pace: takt against work content, the load of people and stations, the bottleneck."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.records.shop import Shop
from analysis.study.content import Content, batch_sizes
from analysis.study.rates import is_regular

COLUMNS = (
    "product", "demand_per_week", "takt_seconds", "work_content_seconds", "work_content_low",
    "work_content_high", "workers_needed", "workers_needed_low", "workers_needed_high",
    "bottleneck", "bottleneck_probability", "note",
)  # fmt: skip
RECENT_DAYS = 28  # who does what now: the last four weeks of the laps


def takt(content: Content, shop: Shop) -> pd.DataFrame:
    """One row per product of the shop or of the routes (COLUMNS).

    takt = the shop's working seconds in a week, closed weeks spread over the year, / demand;
    workers_needed = work content / takt, not rounded;
    work content = seconds per good piece over the route, variants as demanded.
    The bottleneck is the operation that takes most of a good piece, and the share of draws in
    which it does.
    """
    rows = [_takt_row(product, content, shop) for product in _products(content, shop)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _products(content: Content, shop: Shop) -> list[str]:
    names = [row.name for row in shop.products] + list(content.frame["product"])
    return list(dict.fromkeys(names))


def _takt_row(product: str, content: Content, shop: Shop) -> tuple:
    demand = demand_of(shop, product)
    row = {
        "product": product,
        "demand_per_week": np.nan if demand is None else demand,
        "takt_seconds": (shop.mean_week_seconds or np.nan) / demand if demand else np.nan,
        "bottleneck": "",
        "note": _note(product, content, shop, demand),
    }
    value, draws = mix(content, product)
    if draws is not None:
        row |= _work_and_workers(value, draws, demand, shop.mean_week_seconds)
        longest = bottlenecks(content, product).iloc[0]
        row["bottleneck"] = longest["operation"]
        row["bottleneck_probability"] = longest["probability"]
    return tuple(row.get(name, np.nan) for name in COLUMNS)


def _work_and_workers(
    value: float, draws: np.ndarray, demand: float | None, week_seconds: float
) -> dict:
    """Work content and workers needed, each with its interval; workers = content / takt."""
    low, high = np.quantile(draws, [0.025, 0.975])
    content = (value, np.minimum(low, value), np.maximum(high, value))
    per_week = np.nan if demand is None or not week_seconds else demand / week_seconds
    ends = ("seconds", "low", "high")
    row = {f"work_content_{end}": part for end, part in zip(ends, content, strict=True)}
    names = ("workers_needed", "workers_needed_low", "workers_needed_high")
    return row | {name: part * per_week for name, part in zip(names, content, strict=True)}


def _note(product: str, content: Content, shop: Shop, demand: float | None) -> str:
    """What keeps the row from being known, or timed, in plain words."""
    own = content.frame[content.frame["product"] == product]
    planned = dict.fromkeys(own.loc[own["source"] == "planned", "operation"])
    unknown = dict.fromkeys(own.loc[own["source"] == "none", "operation"])
    notes = {
        "no laps and no routing": own.empty,
        f"planned time, not yet timed: {', '.join(planned)}": bool(planned),
        f"neither timed nor planned, counted as no time: {', '.join(unknown)}": bool(unknown),
        "every piece so far was lost": own["pieces_per_good_piece"].isna().any(),
        "no demand given": demand is None,
        "no working hours given": not shop.week_seconds,
    }
    return "; ".join(note for note, holds in notes.items() if holds)


def demand_of(shop: Shop, product: str) -> float | None:
    """Pieces a week asked of the product; its variants' together where only they have a demand,
    None where neither has."""
    own = [row for row in shop.products if row.name == product]
    whole = [row.demand_per_week for row in own if not row.variant]
    parts = [row.demand_per_week for row in own if row.variant]
    known = [part for part in parts if part is not None]
    return whole[0] if whole and whole[0] is not None else (sum(known) if known else None)


def mix(content: Content, product: str) -> tuple[float, np.ndarray | None]:
    """Seconds of work per good piece of a product, its variants as shared, and the draws."""
    own = (content.frame["product"] == product).to_numpy()
    if not own.any():
        return np.nan, None
    share = content.frame["share"].to_numpy()[own]
    value = (content.frame["total_seconds"].to_numpy()[own] * share).sum()
    return value, content.draws.total[:, own] @ share


def bottlenecks(content: Content, product: str) -> pd.DataFrame:
    """A product's operations, longest first; where every piece was lost and no seconds make a good
    one, the likeliest to be the longest.

    product, operation, seconds_per_good_piece, probability (of being the longest).
    """
    frame = content.frame
    own = np.flatnonzero((frame["product"] == product).to_numpy())
    names, place = np.unique(frame["operation"].to_numpy(str)[own], return_inverse=True)
    share = frame["share"].to_numpy()[own]
    onto = np.zeros((len(own), len(names)))
    onto[np.arange(len(own)), place] = share
    value = frame["total_seconds"].to_numpy()[own] @ onto
    longest = (content.draws.total[:, own] @ onto).argmax(axis=1)
    probability = np.bincount(longest, minlength=len(names)) / len(longest)
    table = pd.DataFrame(
        {
            "product": product,
            "operation": names,
            "seconds_per_good_piece": value,
            "probability": probability,
        }
    )
    order = ["seconds_per_good_piece", "probability"]
    return table.sort_values(order, ascending=False, kind="stable", ignore_index=True)


def all_bottlenecks(content: Content) -> pd.DataFrame:
    """The bottleneck table of every product, one under the other; chances: shares of the draws."""
    tables = [bottlenecks(content, name) for name in content.frame["product"].unique()]
    columns = ["product", "operation", "seconds_per_good_piece", "probability"]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=columns)


def worker_shares(
    laps: pd.DataFrame, present: pd.DataFrame, named: Iterable[str] = ()
) -> pd.DataFrame:
    """product, operation, worker, share: whose time an operation takes now.

    By pieces of the last RECENT_DAYS of the laps (all of them where the operation has none),
    weighted by each worker's present time per piece. Whoever has no lap in these days and is not
    `named` (on the shop's list) has left: no work is theirs any more.
    """
    days_ago = (laps["started_at"].max() - laps["started_at"]).dt.days
    here = set(named) | set(laps.loc[days_ago < RECENT_DAYS, "worker"].astype(str))
    regular = laps[is_regular(laps) & laps["worker"].isin(here).to_numpy()]
    if not len(regular):
        return pd.DataFrame({"product": [], "operation": [], "worker": [], "share": []})
    keys = ["product", "operation", "worker"]
    recent = days_ago[regular.index] < RECENT_DAYS
    made = regular.groupby(keys, observed=True)["units"].sum().rename("all")
    lately = regular[recent].groupby(keys, observed=True)["units"].sum().rename("recent")
    table = pd.concat([made, lately], axis=1).fillna(0.0).reset_index()
    table[keys] = table[keys].astype(str)
    table = table.merge(present[[*keys, "seconds"]], on=keys)
    some = table.groupby(keys[:2])["recent"].transform("sum") > 0
    table["share"] = np.where(some, table["recent"], table["all"]) * table["seconds"]
    table["share"] /= table.groupby(keys[:2])["share"].transform("sum")
    return table[[*keys, "share"]]


def week_hours(content: Content, shop: Shop) -> tuple[np.ndarray, np.ndarray]:
    """Hours a week's demand takes at each row of the content: values (rows), draws x rows.

    NaN where no product's demand is known; a product without one then asks for nothing.
    """
    hours = week_pieces(content, shop) / 3600
    return content.frame["total_seconds"].to_numpy() * hours, content.draws.total * hours


def week_pieces(content: Content, shop: Shop) -> np.ndarray:
    """Good pieces a week asks of each row's route; NaN where no demand at all is given."""
    demand = {name: demand_of(shop, name) for name in content.frame["product"].unique()}
    nothing = 0.0 if any(value is not None for value in demand.values()) else np.nan
    wanted = {name: nothing if value is None else value for name, value in demand.items()}
    return content.frame["product"].map(wanted).to_numpy(float) * content.frame["share"].to_numpy(
        float
    )


@dataclass(frozen=True)
class Load:
    """Hours one week's demand asks of people or stations: values, and draws x names."""

    names: list[str]
    hours_available: np.ndarray
    hours: np.ndarray
    draws: np.ndarray

    @property
    def load_draws(self) -> np.ndarray:
        """Needed / available, draws x names; infinite where no hours are given."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.hours_available > 0, self.draws / self.hours_available, np.inf)


def loads(
    content: Content, shop: Shop, shares: pd.DataFrame, routes: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The load of people and of stations under one week's demand, two frames.

    worker or station, hours_available, hours_needed, hours_needed_low, hours_needed_high, load
    (needed / available), probability_fullest (of being the fullest of all people and stations:
    what limits the week); for stations also held_hours.

    Work goes to those who do it now. hours_needed of a station: hands on it, setups and their
    warming up. held_hours: waits of whole batches in it (as under a press) besides; they may run
    through lunch and night, so they are not in the load.
    """
    people, stations = _people(content, shop, shares), _stations(content, shop, routes)
    full = np.concatenate([people.load_draws, stations.load_draws], axis=1)
    fullest = np.full(full.shape[1], np.nan)
    if full.size and not np.isnan(full).any():
        fullest = np.bincount(full.argmax(axis=1), minlength=full.shape[1]) / len(full)
    first = len(people.names)
    return (
        _load_table("worker", people, fullest[:first]),
        _load_table("station", stations, fullest[first:]).assign(
            held_hours=_held_hours(content, shop, routes, stations.names)
        ),
    )


def _people(content: Content, shop: Shop, shares: pd.DataFrame) -> Load:
    value, draws = week_hours(content, shop)
    names = list(dict.fromkeys([w.name for w in shop.workers] + sorted(set(shares["worker"]))))
    onto = _onto_workers(content.frame, shares, names)
    hours = np.array([shop.mean_hours(name) for name in names], float)
    return Load(names, hours, value @ onto, draws @ onto)


def _onto_workers(frame: pd.DataFrame, shares: pd.DataFrame, names: list[str]) -> np.ndarray:
    """rows x workers: whose each row's time is; what nobody has done yet is the first's."""
    onto = np.zeros((len(frame), len(names)))
    column = {name: place for place, name in enumerate(names)}
    for (product, operation), group in shares.groupby(["product", "operation"]):
        here = ((frame["product"] == product) & (frame["operation"] == operation)).to_numpy()
        for worker, share in zip(group["worker"], group["share"], strict=True):
            onto[here, column[worker]] = share
    if names:
        onto[onto.sum(axis=1) == 0, 0] = 1.0
    return onto


def _stations(content: Content, shop: Shop, routes: pd.DataFrame) -> Load:
    names = sorted(set(content.frame["station"]) - {""})
    onto = _onto_stations(content.frame, names)
    value, draws = week_hours(content, shop)
    warming = _week_batches(content, shop) * routes["setup_wait_seconds"].to_numpy(float) / 3600
    available = np.full(len(names), shop.mean_week_seconds / 3600)
    return Load(names, available, (value + warming) @ onto, (draws + warming) @ onto)


def _onto_stations(frame: pd.DataFrame, names: list[str]) -> np.ndarray:
    """rows x stations: 1 where the row's work stands."""
    return (frame["station"].to_numpy(str)[:, None] == np.array(names, str)[None, :]).astype(float)


def _week_batches(content: Content, shop: Shop) -> np.ndarray:
    """Batches a week asks of each row's route."""
    return week_pieces(content, shop) / batch_sizes(content.frame, shop)


def _held_hours(content: Content, shop: Shop, routes: pd.DataFrame, names: list[str]) -> np.ndarray:
    held = routes["wait_seconds"].to_numpy(float) * routes["wait_holds_station"].to_numpy(bool)
    return _week_batches(content, shop) * held / 3600 @ _onto_stations(content.frame, names)


def _load_table(key: str, load: Load, fullest: np.ndarray) -> pd.DataFrame:
    low, high = np.quantile(load.draws, [0.025, 0.975], axis=0) if load.names else ([], [])
    table = pd.DataFrame({
        key: load.names, "hours_available": load.hours_available, "hours_needed": load.hours,
        "hours_needed_low": np.minimum(low, load.hours),
        "hours_needed_high": np.maximum(high, load.hours),
    })  # fmt: skip
    available = table["hours_available"].where(table["hours_available"] > 0)
    return table.assign(load=table["hours_needed"] / available, probability_fullest=fullest)


def hours_needed(content: Content, shop: Shop) -> dict[str, float]:
    """Bench hours one week's demand of all products takes: value, low, high, available."""
    by_product, draws = week_hours(content, shop)
    value, total = float(by_product.sum()), draws.sum(axis=1)
    low, high = np.quantile(total, [0.025, 0.975]) if len(by_product) else (0.0, 0.0)
    return {
        "value": value,
        "low": min(float(low), value),
        "high": max(float(high), value),
        "available": float(shop.capacity_hours),
    }
