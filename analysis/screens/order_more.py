"""The other tabs of Order of work: batch size, two people, what to make next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TypeAlias
from zoneinfo import ZoneInfo

import streamlit as st

from analysis.flow.batch_size import BatchSizes
from analysis.flow.calendar import batch_ends, on_the_calendar
from analysis.flow.plan import Plan
from analysis.flow.work import Batch, work_of
from analysis.problems import BadInput
from analysis.screens import answers, glossary, order_choice, parts, source, words
from analysis.screens.order_words import by_the_clock, cannot, span

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from analysis.flow.batch_size import Costs, Seconds
    from analysis.flow.make_next import Line, Make, MakeNext, Scarcest
    from analysis.records.shop import Shop
    from analysis.screens.order_of_work import Seen

QUICK_EFFORT = 0.3
COVER_WEEKS = 3.0  # common practice, no source: the week it is made in, and two on the shelf
MONEY, MINUTES = "money", "worker_minutes"


# --- several batches in one session ---------------------------------------------------------------


def batches_in_flight(seen: Seen, plan: Plan) -> list[str]:
    """When each batch is done, and what sharing the session gives."""
    pieces = sum(batch.units for batch in seen.choice.batches)
    rate = pieces / plan.attended_seconds * 3600 if plan.attended_seconds else 0.0
    lines = [
        f"{chr(ord('A') + place)}, {order_choice.said((seen.choice.batches[place],))}: done "
        f"{moment:%a} {words.clock(moment)}."
        for place, moment in batch_ends(plan, seen.start).items()
    ]
    return [
        *lines,
        f"With several batches in flight what counts is pieces per hour of work: "
        f"{words.figure(rate)} an hour here, setups shared where operation and place are the same.",
    ]


# --- batch size -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sizes:
    """The answer on batch size, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    result: BatchSizes
    unit: str
    table: answers.Table


def sizes(seen: Seen) -> None:
    """Money and time of a good piece against the size of the batch, the flat region first."""
    batch, people = seen.choice.batches[0], seen.choice.people
    choice = (batch.product, batch.variant, people, seen.choice.change_seconds)
    page = seen.desk.kept("batch sizes", choice, lambda: _sizes(seen, batch))
    answers.answer(page.sentence, page.points)
    glossary.beside("batch", "setup", "work in process")
    answers.picture(seen.desk, "batch sizes", choice, lambda: _sizes_drawn(page))
    st.caption(
        "Shaded: batches within 2 % of the best, where another size hardly matters. Squares: more "
        "pieces than rack or press hold at once."
    )
    answers.table(page.table, "batch_size", "Each batch size with its time and money")
    answers.surer([
        "What an hour costs, material and pieces asked for a week, on *Shop*: without them the "
        "hours alone decide.",
        "Setups timed as laps of their own (*Setup* on the bench page): they are what large "
        "batches share.",
    ])  # fmt: skip
    answers.worked_out(SIZES_WORKED_OUT)


def _sizes(seen: Seen, batch: Batch) -> Sizes:
    from analysis.flow.batch_size import batch_sizes

    shop, routing = seen.desk.settings
    costs, seconds = _costs(seen, batch), _practice(seen, batch.product)
    result = batch_sizes(
        routing, batch.product, batch.variant, max(1, len(seen.choice.people)), costs,
        seconds=seconds, change_seconds=seen.choice.change_seconds, file="the route",
    )  # fmt: skip
    unit = (f"{shop.currency} per good piece" if result.judged_by == MONEY
            else "minutes of work per good piece")  # fmt: skip
    own = result.table.set_index("units")
    low, high = _worth_making(result)
    what = words.variant(batch.product, batch.variant)
    best, one = (own.loc[size] for size in (result.best_units, 1))
    usual = order_choice.batch_size(shop, (batch.product, batch.variant))
    size = f"{low} to {high}" if high > low else f"{low}"
    sentence = (
        f"Make {what} in batches of {size}: within these the size hardly matters"
        f"{_yours(usual, low, high)}."
    )
    points = (
        f"A good piece takes {words.number(best.worker_minutes, 1)} min of work in batches of "
        f"{result.best_units}, {words.number(one.worker_minutes, 1)} min made singly (setting up, "
        "and hands that find their pace).",
        _said_money(own, result, usual, shop.currency),
        f"A batch of {low} is through in {span(own.elapsed_seconds[low])} of working time without "
        f"a night, one of {high} in {span(own.elapsed_seconds[high])}: of sizes that cost alike, "
        "the smaller is sooner on the shelf, and a fault in it spoils fewer.",
        _said_places(result.table),
    )
    return Sizes(sentence, tuple(filter(None, points)), result, unit, _sizes_table(result, shop))


def _worth_making(result: BatchSizes) -> tuple[int, int]:
    """The flat region, as far as rack and press take a batch in one go."""
    low, high = result.flat
    held = result.table.loc[result.table["fits"], "units"]
    most = int(held.max()) if len(held) else high
    return (low, min(high, most)) if low <= most else (low, high)


def _yours(usual: int, low: int, high: int) -> str:
    if low <= usual <= high:
        return f", and your {usual} are among them"
    return f"; your {usual} are {'fewer' if usual < low else 'more'}"


def _said_money(own: pd.DataFrame, result: BatchSizes, usual: int, currency: str) -> str:
    if result.judged_by != MONEY:
        return ("What a piece costs is not known yet (an hour's cost and material, on *Shop*), so "
                "minutes of work decide.")  # fmt: skip
    best = own.money[result.best_units]
    near = own.index[abs(own.index - usual).argmin()]
    return (
        f"A good piece costs about {words.money(best, currency)} in batches of "
        f"{result.best_units}, {words.money(own.money[near], currency)} in batches of {near}, "
        f"{words.money(own.money[1], currency)} singly (labour, material, what lies tied up; no "
        "overhead)."
    )


def _said_places(table: pd.DataFrame) -> str:
    tight = table.loc[~table["fits"], "units"]
    if not len(tight):
        return ""
    return (
        f"From {tight.iloc[0]} pieces on, rack or press do not take a batch in one go: larger ones "
        "gain next to nothing and get in the way."
    )


def _costs(seen: Seen, batch: Batch) -> Costs:
    from analysis.flow.batch_size import Costs

    shop, _ = seen.desk.settings
    row = shop.product(batch.product, batch.variant) or shop.product(batch.product)
    pay = [w.cost_per_hour for w in shop.workers
           if w.name in seen.choice.people and w.cost_per_hour is not None]  # fmt: skip
    return Costs(
        cost_per_hour=sum(pay) / len(pay) if pay else None,
        material_cost=row.material_cost if row else None,
        good_share=_good_share(seen, batch.product),
        demand_per_week=row.demand_per_week if row else None,
        working_seconds_per_week=float(shop.week_seconds) or 144_000.0,
    )


def _good_share(seen: Seen, product: str) -> float:
    """Of the pieces started, those that come out good, by the laps."""
    if not seen.desk.here.store.lap_count():
        return 1.0
    own = seen.desk.figures.rolled_yield
    own = own.loc[own["product"] == product, "good_share"].dropna()
    return float(own.iloc[0]) if len(own) and own.iloc[0] > 0 else 1.0


def _practice(seen: Seen, product: str) -> Callable[[int], Seconds] | None:
    """Seconds per piece in a batch of so many, practice within it counted; None without laps."""
    if not seen.desk.here.store.lap_count():
        return None
    from analysis.flow.batch_size import practice_in_batch

    return practice_in_batch(seen.desk.figures.learning, product)


def _sizes_drawn(page: Sizes) -> alt.Chart:
    from analysis.charts.batch_size import batch_size_chart

    return batch_size_chart(page.result.table, page.result.judged_by, page.unit)


def _sizes_table(result: BatchSizes, shop: Shop) -> answers.Table:
    import pandas as pd

    own = result.table
    own = own[own["units"].isin((1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 140, 200))]
    money = f"{shop.currency} per good piece"
    frame = pd.DataFrame(
        {
            "pieces": own["units"],
            "work (min per good piece)": own["worker_minutes"],
            money: own["money"],
            "of it setting up (min)": own["setup_minutes"],
            "batch through after (h)": own["elapsed_seconds"] / 3600,
            f"tied up ({shop.currency} per piece)": own["tied_up"],
            "most waiting at once (pieces)": own["most_waiting"],
            "rack and press": own["fits"].map({True: "hold it", False: "too small"}),
        }
    )
    formats = dict.fromkeys(frame.columns[[1, 2, 3, 5]], "%.2f") | {frame.columns[4]: "%.1f"}
    return answers.Table.of(frame, formats)


SIZES_WORKED_OUT = """
- **Work per good piece** = (setups + work, practice within the batch counted) / good pieces, with
  the share that comes out good by your laps.
- **Money** = work × what an hour costs + material / good share + what the money tied up costs
  (10 % a year, from the start of the batch until half of it is sold) + nothing for rack places.
- **Flat**: within 2 % of the least (common practice, no source). The curve has no sharp best, as
  the classical lot-size formula (Harris 1913) shows.
- **Batch through after**: by simple rules, working hours without nights; sizes are compared by like
  with like.
"""


# --- two people -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sharing:
    """The answer on sharing a product out between people, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    assignment: object
    cycle_seconds: float
    table: answers.Table


def sharing(seen: Seen) -> None:
    """Who does what, piece after piece, so that nobody waits for the other."""
    people = _two(seen)
    batch = seen.choice.batches[0]
    choice = (batch, people, seen.choice.change_seconds, seen.start)
    try:
        page = seen.desk.kept("sharing", choice, lambda: _sharing(seen, batch, people))
    except BadInput as bad:
        cannot(bad)
        return
    answers.answer(page.sentence, page.points)
    glossary.beside("line balance", "takt time", "bottleneck")
    answers.picture(seen.desk, "sharing", choice, lambda: _sharing_drawn(page))
    st.caption(
        "Bars: each person's work on one piece, operation after operation, numbered as in the "
        "table. Dashed line: how often a piece comes off the line."
    )
    answers.table(page.table, "sharing", "Who does which operation")
    answers.surer([
        "Say on *Shop*, *Route* (skill) only what one of you truly cannot do: every operation "
        "that both can do makes the sharing more even.",
        "Both are taken to work at the same pace here; where one is slower, give that person the "
        "shorter share.",
    ])  # fmt: skip
    st.warning(HELPER_CAUTION, icon=":material/back_hand:")
    answers.worked_out(SHARING_WORKED_OUT)


def _two(seen: Seen) -> tuple[str, ...]:
    """Those who are there; with one of them, one more."""
    people = seen.choice.people
    if len(people) > 1:
        return people
    everybody = order_choice.people(*seen.desk.settings)
    return (*people, next(name for name in everybody if name not in people))


def _sharing(seen: Seen, batch: Batch, people: tuple[str, ...]) -> Sharing:
    import pandas as pd

    from analysis.flow.balance import balance_for_workers

    _, routing = seen.desk.settings
    present = order_choice.pace(seen.desk, people)
    line = work_of(routing, [Batch(batch.product, 1, batch.variant)], people, seconds=present,
                   file="the route")  # fmt: skip
    found = balance_for_workers(line)
    seconds = {o.name: o.duration / o.pieces_at_once / 100 for o in line.operations}
    rows = [(place.worker, name, seconds[name]) for place in found.assignment
            for name in place.operations]  # fmt: skip
    assignment = pd.DataFrame(rows, columns=["worker", "operation", "seconds"])
    shares = "; ".join(
        f"**{words.plain(place.worker)}**: {', '.join(map(words.plain, place.operations))} "
        f"({words.rough(place.seconds)} a piece)"
        for place in found.assignment if place.operations
    )  # fmt: skip
    sentence = (
        f"As a line, {_and(people)} finish one {words.variant(batch.product, batch.variant)} every "
        f"{words.rough(found.cycle_seconds)}; {words.share(found.balance_loss, 0)} of their time "
        "somebody waits for the other."
    )
    sure = ("Proven: no sharing out is more even." if found.optimal else
            f"At best a piece every {words.rough(found.lower_bound)}.")  # fmt: skip
    points = (shares, sure, *_with_and_without(seen, batch, people, present))
    table = assignment.assign(number=assignment.groupby("worker").cumcount() + 1)
    table = table.rename(columns={"seconds": "seconds per piece"})
    table = table[["number", "operation", "worker", "seconds per piece"]]
    return Sharing(sentence, points, assignment[assignment["seconds"] > 0], found.cycle_seconds,
                   answers.Table.of(table, {"seconds per piece": "%.0f"}, lead=4))  # fmt: skip


def _and(people: tuple[str, ...]) -> str:
    *firsts, last = [words.plain(name) for name in people]
    return f"{', '.join(firsts)} and {last}"


def _with_and_without(
    seen: Seen, batch: Batch, people: tuple[str, ...], present: Seconds
) -> list[str]:
    """When the batch is done alone, and when by all of them, each planned freely."""
    from analysis.flow.order import order

    shop, routing = seen.desk.settings
    done = []
    for who in (people[:1], people):
        try:
            work = work_of(routing, [batch], who, seen.choice.change_seconds, seconds=present,
                           file="the route")  # fmt: skip
        except BadInput:
            continue  # the first of them alone cannot do it all
        plan = order(on_the_calendar(work, shop.week, seen.start), QUICK_EFFORT)
        done.append(
            f"{order_choice.said((batch,))} by {_and(who) if len(who) > 1 else words.plain(who[0])}"
            f": done {by_the_clock(seen.start, plan.makespan_seconds)}, "
            f"{span(plan.attended_seconds)} of work."
        )
    if done:
        done.append("A batch need not run as a line: planned freely (choose both under *Who is "
                    "there*), each takes what is most pressing.")  # fmt: skip
    return done


def _sharing_drawn(page: Sharing) -> alt.Chart:
    from analysis.charts.line_balance import work_load_chart

    return work_load_chart(page.assignment, page.cycle_seconds)


HELPER_CAUTION = (
    "A share is a plan for hands of equal practice, not a measure of a person. Let people change "
    "places: the same short movement all day strains hands and back. Nobody works at a blade, "
    "needle or hot press they were not shown. Employing somebody brings duties of its own (working "
    "time, insurance, safety): ask those licensed to advise in your place."
)

SHARING_WORKED_OUT = """
- **Line balance**: every operation goes to one person; the work passes them in order and never
  back; the largest share, which sets the pace (cycle), is made as small as can be (OR-tools CP-SAT,
  proven or with its bound). Setups and waits are left aside; skills and places that hold one person
  are kept.
- **Waiting** (balance loss) = 1 − work on a piece / (people × cycle).
"""


# --- what to make next ----------------------------------------------------------------------------


# (product, variant) -> its row of the shelf, and the pieces asked for a week
Asked: TypeAlias = "dict[tuple[str, str], tuple[pd.Series, float | None]]"


def next_makes(seen: Seen) -> None:
    """Which variants and how many of each in the hours left this week, and what was left out."""
    desk = seen.desk
    if not desk.here.store.lap_count():
        st.info("What to make next is told from your laps, stock and demand. Next step: time some "
                "laps, or drop in a file of them on **This week**.")  # fmt: skip
        parts.screen_link("first", "This week")
        return
    hour = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    page = desk.kept("make next", (hour,), lambda: _makes(desk, hour))
    answers.answer(page[0], page[1])
    if page[2] is not None:
        answers.table(page[2], "make_next", "What to make, in order, and what was left out")
    answers.surer([
        "Stock counted and demand by variant on *Shop*: they decide more than any lap.",
        "Price and material by variant: what earns nothing known is made last.",
    ])  # fmt: skip
    answers.worked_out(MAKES_WORKED_OUT)


def _makes(desk: answers.Desk, now: datetime) -> tuple[str, tuple[str, ...], answers.Table | None]:
    from analysis.flow.make_next import make_next, open_hours_left, scarcest

    figures, (shop, routing) = desk.figures, desk.settings
    lines = _demand(desk)
    if not any(demand for _, demand in lines.values()):
        return (
            "What to make next needs how many are asked for a week: fill them in on Shop.",
            (),
            None,
        )
    people = {w.name: float(w.hours_per_week or 0) or shop.week_seconds / 3600
              for w in shop.workers} or {"maker": shop.week_seconds / 3600}  # fmt: skip
    week_hours = shop.week_seconds / 3600
    demand = {key: float(pieces or 0) for key, (_, pieces) in lines.items()}
    limit = scarcest(figures.content, routing, demand, people, week_hours)
    left = open_hours_left(shop.week, now.astimezone(ZoneInfo(shop.timezone)))
    next_week = left < 0.5
    share = 1.0 if next_week else left / week_hours
    hours = limit.hours_per_week * share
    answer = make_next(_lines(desk, lines, limit.seconds), hours, cover_weeks=COVER_WEEKS)
    when = "next week" if next_week else "in what is left of this week"
    return _told(answer, limit, when, shop.currency)


def _demand(desk: answers.Desk) -> Asked:
    """The shelf's rows by (product, variant), with the pieces asked for a week."""
    shelf = source.week_figures(desk.here).shelf
    return {
        (str(row["product"]), str(row["variant"])): (row, _number(row["demand_per_week"]))
        for _, row in shelf.iterrows()
    }


def _number(value: float | None) -> float | None:
    return None if value is None or value != value else float(value)


def _lines(desk: answers.Desk, rows: Asked, seconds: Seconds) -> list[Line]:
    from analysis.flow.make_next import Line

    cost = desk.figures.cost.set_index(["product", "variant"])["contribution"]
    return [
        Line(
            product, variant,
            stock=_number(row["stock"]) or 0.0,
            demand_per_week=demand,
            batch_size=int(row["batch_size"]),
            earning=_number(cost.get((product, variant), cost.get((product, "")))),
            bottleneck_seconds=seconds.get((product, variant), seconds.get((product, ""), 0.0)),
            under_way=float(row["packed_not_put_away"]) + float(row["in_progress"]),
        )
        for (product, variant), (row, demand) in rows.items()
    ]  # fmt: skip


def _told(
    answer: MakeNext, limit: Scarcest, when: str, currency: str
) -> tuple[str, tuple[str, ...], answers.Table]:
    """(sentence, points, table)."""
    import pandas as pd

    made = [f"{row.pieces} {words.variant(row.product, row.variant)}" for row in answer.make]
    who = words.plain(limit.name)
    if made:
        sentence = (
            f"Make {', then '.join(made)} {when}: {words.figure(answer.hours_used)} of the "
            f"{words.hours(answer.hours_left)} there are of {who}."
        )
    else:
        sentence = f"Nothing need be made {when}: what is there, packed or begun will do."
    full = limit.hours_asked / limit.hours_per_week if limit.hours_per_week else 0.0
    points = [
        f"What runs out first: the hours of **{who}**. A week's demand asks for "
        f"{words.hours(limit.hours_asked)} of {words.hours(limit.hours_per_week)} "
        f"({words.share(full, 0)}).",
        *(f"**{words.variant(row.product, row.variant)}**: {_because(row, currency)}"
          for row in answer.make),
        *(f"Left out: {words.variant(row.product, row.variant)}, {words.plain(row.why)}."
          for row in answer.left_out),
    ]  # fmt: skip
    frame = pd.DataFrame(
        {
            "product": [order_choice.name((r.product, r.variant)) for r in _both(answer)],
            "make (pieces)": [r.pieces for r in _both(answer)],
            "lasts (days)": [r.lasts_days for r in _both(answer)],
            "hours of what is scarce": [r.hours for r in _both(answer)],
            f"earns ({currency} per scarce hour)": [
                r.earning_per_bottleneck_hour for r in _both(answer)
            ],
            "why": [
                r.why or ("runs out soon" if r.urgent else "runs short in three weeks")
                for r in _both(answer)
            ],
        }
    )
    formats = {frame.columns[2]: "%.0f", frame.columns[3]: "%.1f", frame.columns[4]: "%.1f"}
    return sentence, tuple(points), answers.Table.of(frame.astype({"lasts (days)": float}), formats)


def _both(answer: MakeNext) -> tuple[Make, ...]:
    return (*answer.make, *answer.left_out)


def _because(row: Make, currency: str) -> str:
    """Why this one, in its turn."""
    days = row.lasts_days
    lasts = "" if days is None else f"what is there lasts {words.count(days, 'day')}"
    rate = row.earning_per_bottleneck_hour
    earns = "" if rate is None else f"earns {words.money(rate, currency)} an hour of it"
    said = ", ".join(part for part in (lasts, earns, words.plain(row.why)) if part)
    return ("urgent, " if row.urgent else "") + (said or "wanted") + "."


MAKES_WORKED_OUT = """
- **What is scarce** (bottleneck): of everybody's hours together, the hours of those who alone can
  do something, and the open hours of each place, what a week's demand asks most of.
- **How many**: whole batches until stock, what is packed and what is begun cover three weeks'
  demand; a batch that would lie by more than half is left for later.
- **In which order**: what lasts four days or less first; then what earns most per scarce hour
  (price less material; trade: contribution per bottleneck hour).
- Three weeks and four days: common practice, no source.
"""
