"""What the first screen reads out: what each week's hours earned, and where hours leak away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.begun import begun
from analysis.study.cost_of_quality import per_piece, untimed_mending, work_in_pieces
from analysis.study.rates import is_activity, is_regular
from analysis.study.weeks import FEWEST_WEEKS, individuals_chart, week_starts

if TYPE_CHECKING:
    from analysis.study.summary import Study

LEAK_COLUMNS = [
    "kind",
    "what",
    "hours_per_week",
    "hours_low",
    "hours_high",
    "material_per_week",
    "share_of_bench_time",
    "weeks",
]
LEAK_WEEKS = 8
INTERRUPTIONS, WALKS, PUTTING_RIGHT = "interruptions", "walks", "putting right"


@dataclass(frozen=True)
class WeekFigures:
    """What the first screen reads out: the `earnings` of each week and the `pay` to come out of
    them, the `leaks` and how many pieces were put right in those weeks while no mending was timed
    (`untimed`), the batches `begun`, and the `shelf` with what is on its way there."""

    earnings: pd.DataFrame
    pay: pd.DataFrame
    leaks: pd.DataFrame
    untimed: int
    begun: pd.DataFrame
    shelf: pd.DataFrame


def week_figures(study: Study) -> WeekFigures:
    """The figures of the first screen."""
    weeks = with_standard_hours(earnings(study), study)
    worked, recent = _last_worked(study, LEAK_WEEKS)  # all laps are gone through once for both
    leaking, untimed = _leaks_of(worked, recent, study), untimed_mending(recent)
    return WeekFigures(weeks, pay(study), leaking, untimed, begun(study), shelf(study.stock))


def earnings(study: Study) -> pd.DataFrame:
    """The weeks of a study, and what an hour at the bench left in each.

    Adds to `study.weeks`: earned_per_hour = (sum of good pieces x (price - material) - overhead) /
    bench hours: what an hour left before anybody's pay, in money, NaN where a price or a material
    cost is not known (overhead not given counts as 0, as in the cost of a piece); earned_centre,
    earned_lower, earned_upper: an individuals chart of it over the weeks worked. Material is taken
    through yield, as in the cost of a piece; the overhead is one week's, however many hours were
    worked, where the cost of a piece carries its share at ordinary hours; apart from that it is the
    `earned_per_hour` of `study.cost`.
    """
    weeks = study.weeks
    margins = _margins(study)
    made = study.week_products.merge(margins, on=["product", "variant"], how="left")
    left = (made.good_units * made.margin).groupby(made.week_start).sum(skipna=False)
    left = left.reindex(weeks.week_start).fillna(0.0).to_numpy() if len(left) else 0.0
    unknown = made.week_start[made.margin.isna()].unique()
    overhead = study.shop.overhead_per_week
    hours = weeks.bench_hours.where(weeks.bench_hours > 0)
    earned = (left - (overhead or 0.0)) / hours
    earned = earned.mask(weeks.week_start.isin(unknown))
    return _with_limits(weeks.assign(earned_per_hour=earned), earned, "earned")


def with_standard_hours(weeks: pd.DataFrame, study: Study) -> pd.DataFrame:
    """The weeks with the standard hours of their good pieces for each hour logged.

    standard_hours_per_bench_hour = sum of good pieces x standard seconds of a piece / 3600 / bench
    hours (the trade's earned hours over worked hours), which does not move when long and short
    products change places; NaN in a week with a piece whose standard time is not known in every
    operation. standard_centre, standard_lower, standard_upper: an individuals chart of it, from
    FEWEST_WEEKS on.
    """
    keys = ["product", "variant"]
    work = study.content.groupby(keys).standard_seconds.agg(lambda part: part.sum(skipna=False))
    made = study.week_products.merge(work.reset_index(), on=keys, how="left")
    hours = made.good_units * made.standard_seconds / 3600
    earned = hours.groupby(made.week_start).sum(skipna=False).reindex(weeks.week_start)
    idle = ~weeks.week_start.isin(made.week_start)  # nothing finished is nothing earned
    earned = pd.Series(earned.to_numpy(), weeks.index).mask(idle, 0.0)
    rate = earned / weeks.bench_hours.where(weeks.bench_hours > 0)
    return _with_limits(weeks.assign(standard_hours_per_bench_hour=rate), rate, "standard")


def _with_limits(weeks: pd.DataFrame, values: pd.Series, name: str) -> pd.DataFrame:
    """The weeks with `name`_centre, _lower and _upper: the individuals chart of the values."""
    known = values.dropna()
    chart = individuals_chart(known if len(known) >= FEWEST_WEEKS else [])
    limits = {"centre": chart.centre, "lower": chart.lower, "upper": chart.upper}
    return weeks.assign(**{f"{name}_{end}": value for end, value in limits.items()})


def shelf(stock: pd.DataFrame) -> pd.DataFrame:
    """`study.stock` with how long it lasts once what is packed or begun has come to the shelf.

    Adds on_its_way (pieces packed and on the bench), on_its_way_days = 7 x on_its_way / demand per
    week, and lasts_in_all_days = 7 x (stock + on_its_way) / demand per week, by which make_rank
    orders.
    """
    on_its_way = stock.packed_not_put_away.fillna(0) + stock.in_progress.fillna(0)
    each = 7 / stock.demand_per_week.where(stock.demand_per_week > 0)
    days, in_all = on_its_way * each, (stock.stock + on_its_way) * each
    return stock.assign(on_its_way=on_its_way, on_its_way_days=days, lasts_in_all_days=in_all)


def pay(study: Study) -> pd.DataFrame:
    """What the logged hours of a week cost in pay, for those whose hour has a price on Shop.

    Columns: week_start, worker, hours, cost_per_hour, of_each_hour (hours x cost_per_hour / all
    bench hours of the week): what this pay takes of what each hour left.
    """
    rates = {worker.name: worker.cost_per_hour for worker in study.shop.workers}
    start = week_starts(study.laps.started_at, study.timezone)
    hours = study.laps.seconds.groupby([start, study.laps.worker.astype("str")]).sum() / 3600
    table = hours.rename_axis(["week_start", "worker"]).rename("hours").reset_index()
    whole = table.groupby("week_start").hours.transform("sum")
    table["cost_per_hour"] = table.worker.map(rates).astype("float")
    table["of_each_hour"] = table.hours * table.cost_per_hour / whole
    return table[table.cost_per_hour.notna()].reset_index(drop=True)


def _margins(study: Study) -> pd.DataFrame:
    """Price less material of a good piece, by product and variant."""
    cost = study.cost.reindex(columns=["product", "variant", "price", "material"])
    return cost.assign(margin=cost.price - cost.material)[["product", "variant", "margin"]]


def leaks(study: Study, weeks: int = LEAK_WEEKS) -> pd.DataFrame:
    """Bench hours a week that made no good piece, over the last worked weeks, largest first.

    Columns: kind, what (the cause of an interruption, the operation that spoiled), hours_per_week
    with hours_low and hours_high (95 %), material_per_week (money; NaN where no price of material
    is known), share_of_bench_time, weeks (how many were looked at).

    Interruptions count by cause, walks together, putting right by the operation that made the
    fault: the time of mending, and for each lost piece the mean observed time of the work in it, as
    in `cost_of_quality`. The interval is mean +- t(.975, n-1) s / sqrt(n) of the n weekly sums,
    which takes weeks as alike but for chance; it is NaN below three weeks.
    """
    return _leaks_of(*_last_worked(study, weeks), study)


def _leaks_of(worked: pd.DataFrame, laps: pd.DataFrame, study: Study) -> pd.DataFrame:
    """The leaks among these laps, over these weeks with work."""
    parts = [_interruptions(laps), _walks(laps), _mending(laps), _lost(laps, study)]
    lost = pd.concat(parts, ignore_index=True)
    if lost.empty or worked.empty:
        return pd.DataFrame(columns=LEAK_COLUMNS)
    return _by_leak(lost, worked)


def _last_worked(study: Study, weeks: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The last so many weeks with work, and their laps with the week_start of each."""
    worked = study.weeks[study.weeks.bench_hours > 0].tail(weeks)
    laps = study.laps.assign(week_start=week_starts(study.laps.started_at, study.timezone))
    return worked, laps[laps.week_start.isin(worked.week_start)]


def _interruptions(laps: pd.DataFrame) -> pd.DataFrame:
    gone = laps[laps.activity == "delay"]
    cause = gone.cause.astype("str").replace("", "no cause given")
    return _hours(gone, INTERRUPTIONS, cause, gone.seconds)


def _walks(laps: pd.DataFrame) -> pd.DataFrame:
    gone = laps[laps.activity == "transport"]
    return _hours(gone, WALKS, "", gone.seconds)


def _mending(laps: pd.DataFrame) -> pd.DataFrame:
    gone = laps[laps.activity == "rework"]
    return _hours(gone, PUTTING_RIGHT, _made_in(gone), gone.seconds)


def _lost(laps: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Pieces lost at work or in mending, at the work that was in them, and at their material."""
    steps = ["product", "variant", "operation"]
    may_lose = is_regular(laps) | is_activity(laps, "rework")
    gone = laps[(laps.scrap_units > 0) & may_lose].astype(dict.fromkeys(steps, "str"))
    work = work_in_pieces(gone[steps].drop_duplicates(), study, per_piece(study))
    joined = gone.merge(work, on=steps, how="left")
    price = study.cost.reindex(columns=["product", "variant", "material", "lost_material"])
    price = price.assign(material=price.material - price.lost_material.fillna(0))
    joined = joined.merge(price[["product", "variant", "material"]], how="left")
    seconds = joined.scrap_units * joined.work_seconds
    found = _hours(joined, PUTTING_RIGHT, _made_in(joined), seconds)
    return found.assign(material=(joined.scrap_units * joined.material).to_numpy())


def _made_in(laps: pd.DataFrame) -> pd.Series:
    """The operation that made the fault: the one named as its cause, else where it was found."""
    named = laps.cause_operation.astype("str")
    return named.where(named != "", laps.operation.astype("str"))


def _hours(
    laps: pd.DataFrame, kind: str, what: pd.Series | str, seconds: pd.Series
) -> pd.DataFrame:
    parts = {"week_start": laps.week_start, "kind": kind, "what": what, "hours": seconds / 3600}
    return pd.DataFrame(parts).assign(material=np.nan)


def _by_leak(lost: pd.DataFrame, worked: pd.DataFrame) -> pd.DataFrame:
    from scipy.special import stdtrit  # a tenth of the time scipy.stats takes to import

    n = len(worked)
    weekly = lost.groupby(["kind", "what", "week_start"]).hours.sum()
    weekly = weekly.unstack("week_start").reindex(columns=worked.week_start).fillna(0.0)
    mean, spread = weekly.mean(axis=1), weekly.std(axis=1, ddof=1)
    half = stdtrit(n - 1, 0.975) * spread / np.sqrt(n) if n >= 3 else np.nan
    material = lost.groupby(["kind", "what"]).material.sum(min_count=1) / n
    table = pd.DataFrame(
        {
            "hours_per_week": mean,
            "hours_low": (mean - half).clip(lower=0),
            "hours_high": mean + half,
            "material_per_week": material,
            "share_of_bench_time": mean * n / worked.bench_hours.sum(),
            "weeks": n,
        }
    ).reset_index()
    return table.sort_values("hours_per_week", ascending=False, ignore_index=True)[LEAK_COLUMNS]
