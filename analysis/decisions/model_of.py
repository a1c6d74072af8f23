"""From what the laps say to the shop that is simulated: `model_of(study, routing, shop)`.

| what | where it comes from |
|---|---|
| time of an operation | the worker's fitted curve, at the level the study states for today |
| its doubt | the study's 95 % intervals of level, exponent and retention, as log-normal |
| scatter of pieces and of batches | lap noise and session noise of the fit |
| an operation a worker has no laps of | the curve, from its first piece, of the most practised of
  all who were timed there, on the shop's list or not; else the plan |
| chances of rework and scrap | the laps' shares; their doubt widened for pieces being alike |
| setup, walks | mean seconds a batch as logged; else the routing's setup |
| interruptions, rest | the logged share (else the contingency allowance); the shop's allowances |
| waits, stations, who can do it | the routing |
| weeks in which nobody is there | the shop's weeks closed in a year, spread evenly |

Not in the model: racks (they are taken as large enough), the longest a piece may wait, demand for a
product beyond that of its variants (all three are said where there are any: `left_out`), batches
under way when the weeks begin.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypedDict

import numpy as np
import pandas as pd

from analysis.decisions.shop_model import Hand, Line, ShopModel, Skill, Step
from analysis.problems import BadInput, Fault
from analysis.records.figures import figure
from analysis.records.routing import precedence, route
from analysis.records.scenario import LONGEST_WEEKS
from analysis.records.shop import DAYS, WEEKS_PER_YEAR, Product, Shop
from analysis.study.content import PLAN_DOUBT
from analysis.study.curves import piece_seconds
from analysis.study.forecast import CellFits, log_lap
from analysis.study.frames import Row
from analysis.study.rates import Z95, is_activity, is_regular
from analysis.study.regression import LOG_PRIOR
from analysis.study.retention import PUBLISHED_LOSS, PUBLISHED_SPREAD
from analysis.study.route import topological
from analysis.study.summary import Study
from analysis.study.time_study import delay_rate

PLAN_SCATTER = 0.15  # log sd from piece to piece where no laps tell; common practice, no source
INTERVAL = 2 * Z95  # a 95 % interval is so many standard errors wide

Key = tuple[str, str, str]


def model_of(
    study: Study,
    routing: pd.DataFrame,
    shop: Shop,
    *,
    routing_file: str = "the routing",
    shop_file: str = "the shop",
) -> ShopModel:
    """The model of a shop from its study, a checked routing and its shop file.

    A line for each product, or each of its variants, that is asked for. Raises BadInput where
    nothing is asked for, where a product has no route, where nobody can do a step, or where the
    shop is never open; the files' names are those told then.
    """
    asked = _lines_asked_for(shop)
    routes = [route(routing, product.name, product.variant) for product in asked]
    names = _names(study, shop)
    _check(shop, asked, routes, names, routing_file, shop_file)
    logged, fitted = _logged(study), _fitted_skills(study)
    skills: dict[Key, Skill] = {}
    for product, steps in zip(asked, routes, strict=True):
        skills |= _skills(steps, product.name, names, fitted, _most(routing, product.name))
    delay_share, delay_doubt, delay_logged = _delays(study, shop)
    return ShopModel(
        lines=tuple(
            _line(product, routing, steps, logged, study)
            for product, steps in zip(asked, routes, strict=True)
        ),
        skills=skills,
        hands=_hands(names, shop),
        stations=dict.fromkeys(sorted(set(routing["station"].astype(str)) - {""}), 1),
        open_seconds=_open_seconds(shop),
        closed=_closed(shop.weeks_closed_per_year),
        weeks_closed_per_year=shop.weeks_closed_per_year,
        weeks_logged=study.weeks_logged,
        delay_share=delay_share,
        delay_doubt=delay_doubt,
        delay_logged=delay_logged,
        rest_share=_rest_share(shop),
        overhead_per_week=shop.overhead_per_week or 0.0,
        left_out=tuple(_left_out(shop, routes)),
    )


def _check(
    shop: Shop,
    asked: list[Product],
    routes: list[pd.DataFrame],
    names: list[str],
    routing_file: str,
    shop_file: str,
) -> None:
    """Raise BadInput with all that keeps a shop from being simulated."""
    faults = []
    if not asked:
        faults.append(Fault(
            shop_file, 0, "products", "no product is asked for", "", "give demand_per_week, since "
            "what is made beyond demand earns nothing",
        ))  # fmt: skip
    if not shop.week_seconds:
        faults.append(Fault(
            shop_file, 0, "week", "the shop has no working hours", "", "give some days hours",
        ))  # fmt: skip
    for product, steps in zip(asked, routes, strict=True):
        if steps.empty:
            faults.append(Fault(
                shop_file, product.line, f"products.{product.name}",
                f"{_name(product)} is asked for, but the routing has no operation of it", "",
                "give it rows in the routing",
            ))  # fmt: skip
    rows = {row.row: row for steps in routes for row in steps.itertuples()}
    faults += [
        Fault(
            routing_file, int(number), "skill", f"nobody can do {row.operation} of {row.product}",
            str(row.skill), f"name one of the shop's people: {', '.join(names)}",
        )
        for number, row in sorted(rows.items())
        if not _able(row.skill, names)
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)


def _left_out(shop: Shop, routes: list[pd.DataFrame]) -> Iterator[str]:
    """What the simulated weeks know nothing of, where the shop has it."""
    rows = pd.concat(routes)
    racks = sorted(set(rows.loc[rows["rack_places"].notna(), "rack"].astype(str)) - {""})
    if racks:
        yield f"how many pieces fit on the {', '.join(racks)}: taken as large enough"
    hasty = sorted(set(rows.loc[rows["max_wait_seconds"].notna(), "operation"].astype(str)))
    if hasty:
        yield f"the longest that pieces may wait after {', '.join(hasty)}: taken as kept"
    for product in shop.products:
        own = [row for row in shop.products if row.name == product.name and row.variant]
        known = sum(row.demand_per_week or 0.0 for row in own)
        beyond = (product.demand_per_week or 0.0) - known
        if not product.variant and known and beyond > 0:
            yield (
                f"{figure(beyond, 3)} of the {product.name} a week that are asked for beyond what "
                "its variants are: give each variant its demand"
            )


def _name(product: Product) -> str:
    return f"{product.name} {product.variant}".rstrip()


def _lines_asked_for(shop: Shop) -> list[Product]:
    """The variants that are asked for, and the products of whose variants none is."""
    asked = []
    for product in shop.products:
        own = [row for row in shop.products if row.name == product.name and row.variant]
        known = sum(row.demand_per_week or 0.0 for row in own)
        if product.variant and product.demand_per_week:
            asked.append(product)
        if not product.variant and product.demand_per_week and not known:
            asked.append(product)
    return asked


def _names(study: Study, shop: Shop) -> list[str]:
    """The people at the bench: the shop file's, else whoever has laps, else `maker`."""
    if shop.workers:
        return [worker.name for worker in shop.workers]
    seen = sorted(set(study.learning.cells["worker"].astype(str)))
    return seen or ["maker"]


def _hands(names: list[str], shop: Shop) -> tuple[Hand, ...]:
    known = {worker.name: worker for worker in shop.workers}
    return tuple(
        Hand(name, known[name].hours_per_week, known[name].cost_per_hour)
        if name in known
        else Hand(name)
        for name in names
    )


def _open_seconds(shop: Shop) -> tuple[tuple[float, float], ...]:
    return tuple(
        (day * 86400.0 + begin, day * 86400.0 + end)
        for day, name in enumerate(DAYS)
        for begin, end in sorted(shop.week.get(name, ()))
    )


def _closed(weeks_per_year: int) -> tuple[float, ...]:
    """Share of week 0, 1, ... in which nobody is there: the year's closed weeks spread evenly, each
    in the middle of its stretch."""
    if not weeks_per_year:
        return ()
    gone = np.floor(np.arange(LONGEST_WEEKS + 1) * weeks_per_year / WEEKS_PER_YEAR + 0.5)
    return tuple(np.diff(gone).tolist())


def _delays(study: Study, shop: Shop) -> tuple[float, float, bool]:
    """(interruptions in seconds per second of work, doubt, logged): else as allowed for."""
    logged = delay_rate(study.laps, shop.timezone)
    if logged.percent > 0:
        return logged.percent / 100, logged.se / logged.percent, True
    return shop.allowance.contingency_percent / 100, 0.0, False


def _rest_share(shop: Shop) -> float:
    """Rest in seconds per second of work, from the personal and fatigue allowances.

    "of normal time": A;  "of working day": A / (1 - A).
    """
    share = (shop.allowance.personal_percent + shop.allowance.fatigue_percent) / 100
    return share / (1 - share) if shop.allowance.convention == "of working day" else share


# Skills


def _fitted_skills(study: Study) -> dict[Key, Skill]:
    """(worker, product, operation) -> the fitted skill, in seconds per piece."""
    cells, fits = study.learning.cells, study.learning.fits
    if fits is None:
        return {}
    straight_on = np.exp(log_lap(fits, fits.experience - 1).mean)
    prior = _prior_pieces(fits)
    return {
        (str(row.worker), str(row.product), str(row.operation)): _fitted(
            row, straight_on[place], prior[place]
        )
        for place, row in enumerate(cells.itertuples())
    }


def _prior_pieces(fits: CellFits) -> np.ndarray:
    """B of the prior-experience curve where it was chosen, else 0."""
    prior = np.zeros(len(fits.variance))
    for candidate in fits.candidates:
        if candidate.curve == "prior":
            prior[candidate.chosen] = np.expm1(candidate.theta[candidate.chosen, LOG_PRIOR])
    return prior


def _fitted(row: Row, straight_on_seconds: float, prior_pieces: float) -> Skill:
    """A cell of the learning frame as a skill.

    Its curve is the one chosen, moved so that the next piece, straight on, takes what the study
    says: the mean over the curves in doubt.
    """
    exponent = np.log2(row.learning_rate) if row.curve != "constant" else 0.0
    plateau = row.plateau_seconds if row.curve == "plateau" else 0.0
    known = np.isfinite(row.retention_per_week)
    skill = Skill(
        first_unit_seconds=float(row.first_unit_seconds),
        curve=row.curve,
        exponent=float(exponent),
        plateau_seconds=float(plateau),
        prior_pieces=float(prior_pieces),
        experience=float(row.effective_experience),
        retention_per_week=float(row.retention_per_week if known else np.exp(-PUBLISHED_LOSS)),
        restart_effect=float(np.nan_to_num(row.restart_effect)),
        piece_log_sd=float(row.lap_noise),
        batch_log_sd=float(row.session_noise),
        level_doubt=float(np.log(row.present_high / row.present_low) / INTERVAL),
        exponent_doubt=_exponent_doubt(row),
        loss_doubt=_loss_doubt(row) if known else PUBLISHED_SPREAD,
        source="measured",
    )
    if row.pooled or row.curve == "constant":
        return skill
    scale = straight_on_seconds / mean_seconds(skill, max(skill.experience, 1.0))
    return slowed(skill, scale)


def _exponent_doubt(row: Row) -> float:
    if row.curve == "constant" or not row.learning_rate_low > 0:
        return 0.0
    return float(np.log2(row.learning_rate_high / row.learning_rate_low) / INTERVAL)


def _loss_doubt(row: Row) -> float:
    return float(np.log(row.retention_high / row.retention_low) / INTERVAL)


def mean_seconds(skill: Skill, go: float) -> float:
    """Mean seconds of go n on a skill's curve, straight on."""
    if skill.first_unit_seconds <= 0:
        return 0.0
    return float(
        piece_seconds(skill.curve, go, skill.first_unit_seconds, skill.exponent,
                      skill.plateau_seconds, skill.prior_pieces)
    )  # fmt: skip


def slowed(skill: Skill, factor: float) -> Skill:
    """The skill with all its seconds multiplied by `factor`."""
    return replace(
        skill,
        first_unit_seconds=float(skill.first_unit_seconds * factor),
        plateau_seconds=float(skill.plateau_seconds * factor),
    )


def by_the_go(skill: Skill, at_once: int) -> Skill:
    """A skill told by the piece, told by goes of so many pieces each.

    Go g covers the pieces m (g - 1) + 1 to m g, m = at_once; all take what the middle one of them
    does, m g - (m - 1) / 2, so that (m n)^b = m^b n^b and a go counts as one from E / m -
    (m - 1) / 2 m on, 0 at least. On a cumulative average it is exact: from E / m on, and
    m^(1 + b) as much.
    """
    if at_once == 1 or skill.curve == "constant":
        return slowed(skill, at_once)
    done, b = skill.experience / at_once, skill.exponent
    if skill.curve == "cumulative_average":
        return replace(slowed(skill, at_once ** (1 + b)), experience=done)
    prior, plateau = skill.prior_pieces, skill.plateau_seconds
    falls = ((at_once + prior) / (1 + prior)) ** b  # m^b where there is no prior experience
    return replace(
        skill,
        first_unit_seconds=at_once * (plateau + (skill.first_unit_seconds - plateau) * falls),
        plateau_seconds=at_once * plateau,
        prior_pieces=prior / at_once,
        experience=max(done - (at_once - 1) / (2 * at_once), 0.0),
    )


def _skills(
    steps: pd.DataFrame,
    product: str,
    names: list[str],
    fitted: Mapping[Key, Skill],
    most: pd.DataFrame,
) -> dict[Key, Skill]:
    """The skill of everyone in every operation of a route that they may do."""
    skills = {}
    for row in steps.itertuples():
        able = _able(row.skill, names)
        known = {name: skill for (name, *work), skill in fitted.items()
                 if work == [product, row.operation]}  # fmt: skip
        for name in able:
            skill = known.get(name) or _from_a_colleague(known)
            skill = skill or _planned(most.at[row.operation, "seconds"], fitted)
            if skill.source != "planned":  # laps are per piece, plans per go
                skill = by_the_go(skill, int(most.at[row.operation, "pieces_at_once"]))
            skills[name, product, row.operation] = skill
    return skills


def _able(skill_column: str, names: list[str]) -> list[str]:
    wanted = [name.strip() for name in str(skill_column).split("|") if name.strip()]
    return [name for name in names if not wanted or name in wanted]


def _from_a_colleague(known: Mapping[str, Skill]) -> Skill | None:
    """What the most practised of them did from the first piece on; doubtful as a plan is."""
    if not known:
        return None
    skill = max(known.values(), key=lambda skill: skill.experience)
    return replace(
        skill,
        experience=0.0,
        level_doubt=float(np.hypot(skill.level_doubt, PLAN_DOUBT)),
        source="assumed",
    )


def _planned(seconds: float, fitted: Mapping[Key, Skill]) -> Skill:
    """The routing's seconds of a go, with the shop's usual scatter."""
    pieces = [skill.piece_log_sd for skill in fitted.values()]
    batches = [skill.batch_log_sd for skill in fitted.values()]
    return Skill(
        first_unit_seconds=float(seconds),
        piece_log_sd=float(np.median(pieces)) if pieces else PLAN_SCATTER,
        batch_log_sd=float(np.median(batches)) if batches else 0.0,
        level_doubt=PLAN_DOUBT,
        source="planned",
    )


# Lines and their steps


@dataclass(frozen=True)
class Logged:
    """(product, operation) -> logged figures: seconds a batch of setup and walks, with the doubt
    (standard error of the log) of the setups; faults as rows of the study's quality frame; timed
    are those with laps of the work itself."""

    setup: Mapping[tuple[str, str], tuple[float, float]]
    walk: Mapping[tuple[str, str], float]
    faults: Mapping[tuple[str, str], object]
    timed: frozenset[tuple[str, str]]


def _logged(study: Study) -> Logged:
    """Laps of no named batch stand each for a setup of its own, and, by the batch size, for
    batches of their pieces."""
    keys = ["product", "operation"]
    laps = study.laps[[*keys, "batch", "activity", "seconds", "units"]]
    setup = _plain(laps[is_activity(laps, "setup")])
    batch = setup["batch"].where(setup["batch"] != "", [f" {n}" for n in range(len(setup))])
    by_batch = setup.groupby([*keys, batch])["seconds"].sum()
    told = by_batch.groupby(keys).agg(["mean", "sem"]).fillna(0.0)
    regular = laps[is_regular(laps)]
    unnamed = (regular["batch"] == "").to_numpy()
    kinds = regular[~unnamed].drop_duplicates([*keys, "batch"])
    batches = _plain(kinds).groupby(keys)["batch"].nunique()
    loose = _plain(regular[unnamed]).groupby(keys)["units"].sum()
    loose = loose / [study.shop.batch_size(product) for product in loose.index.get_level_values(0)]
    walk = _plain(laps[is_activity(laps, "transport")]).groupby(keys)["seconds"].sum()
    walk = (walk / batches.add(loose, fill_value=0.0)).replace(np.inf, np.nan).dropna()
    return Logged(
        setup={key: (row["mean"], row["sem"] / row["mean"]) for key, row in told.iterrows()},
        walk=walk.to_dict(),
        faults={(str(row.product), str(row.operation)): row for row in study.quality.itertuples()},
        timed=frozenset(study.learning.cells[keys].astype(str).itertuples(index=False, name=None)),
    )


def _plain(laps: pd.DataFrame) -> pd.DataFrame:
    """These laps with names as text, and only names that they have; numbers as float64."""
    kinds = {"product": str, "operation": str, "batch": str, "seconds": float, "units": float}
    return laps[list(kinds)].astype(kinds)


def _line(
    product: Product,
    routing: pd.DataFrame,
    rows: pd.DataFrame,
    logged: Logged,
    study: Study,
) -> Line:
    pairs = precedence(routing, product.name, product.variant)
    order = topological(list(rows["operation"]), pairs)
    place = {operation: at for at, operation in enumerate(order)}
    before: dict[str, list[tuple[int, float]]] = {operation: [] for operation in order}
    for first, then, wait in pairs:
        before[then].append((place[first], float(wait)))
    by_name = {row.operation: row for row in rows.itertuples()}
    most = _most(routing, product.name)
    return Line(
        product=product.name,
        variant=product.variant,
        steps=tuple(
            _step(by_name[name], tuple(before[name]), product, logged, most) for name in order
        ),
        batch_size=int(product.batch_size),
        demand_per_week=float(product.demand_per_week or 0.0),
        stock=_stock(study, product),
        price=product.price,
        material_cost=product.material_cost,
    )


def _most(routing: pd.DataFrame, product: str) -> pd.DataFrame:
    """By operation, the most seconds and pieces_at_once of any variant: those a skill is told by,
    of which each variant takes its share (`Step.time_factor`), since a skill is one for all."""
    own = routing[routing["product"] == product]
    return own.groupby("operation")[["seconds", "pieces_at_once"]].max()


def _stock(study: Study, product: Product) -> float:
    frame = study.stock
    own = frame[(frame["product"] == product.name) & (frame["variant"] == product.variant)]
    known = own["stock"].dropna()
    return float(known.iloc[0]) if len(known) else float(product.stock or 0.0)


def _step(
    row: Row,
    before: tuple[tuple[int, float], ...],
    product: Product,
    logged: Logged,
    most: pd.DataFrame,
) -> Step:
    key = (product.name, row.operation)
    setup, setup_doubt = logged.setup.get(key, (row.setup_seconds, 0.0))
    faults = logged.faults.get(key)
    plan, at_once = most.loc[row.operation, ["seconds", "pieces_at_once"]]
    share = row.pieces_at_once / at_once if key in logged.timed else row.seconds / (plan or 1.0)
    return Step(
        operation=row.operation,
        before=before,
        station=row.station,
        workers=tuple(name.strip() for name in str(row.skill).split("|") if name.strip()),
        pieces_at_once=int(row.pieces_at_once),
        setup_seconds=float(setup),
        setup_wait_seconds=float(row.setup_wait_seconds),
        transport_seconds=float(logged.walk.get(key, 0.0)),
        wait_seconds=float(row.wait_seconds),
        wait_holds_station=bool(row.wait_holds_station) and bool(row.station),
        setup_doubt=float(setup_doubt),
        time_factor=float(share),
        **_chances(faults),
    )


class _Chances(TypedDict, total=False):
    rework_chance: float
    rework_seconds: float
    scrap_chance: float
    rework_doubt: float
    scrap_doubt: float


def _chances(row: Row | None) -> _Chances:
    """Rework and scrap of a row of the quality frame, n its pieces, L how alike pieces are:
    the doubt of the log odds of p is sqrt(L / (n p (1 - p)))."""
    if row is None or not row.units:
        return {}
    rework, scrap = row.rework_units / row.units, row.lost_units / row.units

    def doubt(chance: float, likeness: float) -> float:
        spread = row.units * chance * (1 - chance)
        return float(np.sqrt(max(likeness, 1.0) / spread)) if spread > 0 else 0.0

    return {
        "rework_chance": float(rework),
        "scrap_chance": float(scrap),
        "rework_doubt": doubt(rework, row.likeness),
        "scrap_doubt": doubt(scrap, row.scrap_likeness),
        "rework_seconds": float(row.rework_seconds / row.rework_units) if row.rework_units else 0.0,
    }
