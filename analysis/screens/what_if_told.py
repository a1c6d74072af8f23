"""What an answer says on the screen: the question, its table, what moves it, scenarios compared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from analysis.decisions.answer import (
    AT_MOST,
    DO,
    PROPOSED,
    SURE,
    WORTH,
    Answer,
    Assumption,
    Mover,
)
from analysis.decisions.bill import by_calendar, notes_of, shown, weeks_words
from analysis.decisions.sentences import amount, in_ten, payback_words, pieces, span
from analysis.decisions.stated import counted, in_the_middle, on_average
from analysis.decisions.week import week_row
from analysis.records.figures import figure, number, told
from analysis.records.scenario import Estimate, Scenario, sure
from analysis.screens import answers, words

if TYPE_CHECKING:
    from analysis.records.scenario import Equipment

HOURS_PER_DAY = 24
MOST_MOVERS = 5
SOURCES = {
    "measured": "measured",
    "assumed": "assumed",
    "published": "from published studies",
    "given": "as given",
    PROPOSED: "proposed; yours to set",
}


def asked(scenario: Scenario, currency: str) -> str:
    """The question in one line: who, what, where, at what price."""
    parts = [
        *_helper(scenario, currency),
        *(_machine(machine, currency) for machine in scenario.equipment),
        *_move(scenario, currency),
        *_demand(scenario, currency),
    ]
    question = "; ".join(parts)
    return words.plain(
        f"{question[:1].upper()}{question[1:]}. Looked ahead: {span(scenario.horizon_weeks)}."
    )


def _helper(scenario: Scenario, currency: str) -> Iterator[str]:
    helper = scenario.helper
    if helper:
        yield (
            f"a {helper.name}, {words.hours(helper.hours_per_week)} a week at "
            f"{figure(helper.cost_per_hour, 4)} {currency} an hour"
        )


def _machine(machine: Equipment, currency: str) -> str:
    what = " and ".join(machine.operations)
    if machine.seconds:
        time = f"{range_words(machine.seconds)} s a piece{in_the_middle(machine.seconds)}"
    elif machine.time_factor:
        time = f"{range_words(machine.time_factor, 100)} % of the present time"
        time += in_the_middle(machine.time_factor, 100)
    else:
        time = "as quick as now"
    name = machine.name if machine.name != what else "a machine"
    return f"{name} to {what}: {time}, for {money_words(machine.price, currency)}"


def _move(scenario: Scenario, currency: str) -> Iterator[str]:
    move = scenario.move
    if move:
        yield (
            f"another room for {range_words(move.rent_per_week)} {currency} a week more"
            f"{on_average(move.rent_per_week)}, "
            f"{money_words(move.fit_out, currency)} to fit it out"
        )
        if move.lease_weeks:
            yield f"a lease of {words.count(move.lease_weeks, 'week')}"
        if move.notice_weeks:
            yield f"{words.count(move.notice_weeks, 'week')} of notice"
        if move.deposit.high:
            yield f"a deposit of {money_words(move.deposit, currency)}"
        if move.lost_days.high:
            yield f"{counted(move.lost_days, 'day')} without work"
        if move.commute_hours_per_week.high:
            yield f"{counted(move.commute_hours_per_week, 'hour')} a week on the way there"


def _demand(scenario: Scenario, currency: str) -> Iterator[str]:
    demand = scenario.demand
    if not demand:
        return
    way = ", with or without it" if demand.either_way else ""
    if demand.factor != Estimate(1.0, 1.0):
        factor = f"{range_words(demand.factor, 100)} % of today's demand"
        yield f"{factor}{in_the_middle(demand.factor, 100)}{way}"
    for product, pieces_a_week in demand.products:
        yield f"{figure(pieces_a_week, 4)} of the {product} asked for in a week{way}"
    if demand.growth_per_year != sure(0.0):
        yield f"{range_words(demand.growth_per_year, 100)} % more asked for each year{way}"
    if demand.season:
        yield f"a season{way}"
    for order in demand.orders:
        price = (
            f" at {figure(order.price, 4)} {currency} a piece" if order.price is not None else ""
        )
        yield f"an order of {order.pieces} {order.product} {order.variant}".rstrip() + (
            f" due in week {order.week}{price}"
        )


def range_words(estimate: Estimate, scale: float = 1) -> str:
    """`45 to 70`, `2,300`."""
    ends = dict.fromkeys(figure(scale * end, 4) for end in (estimate.low, estimate.high))
    return " to ".join(ends)


def money_words(estimate: Estimate, currency: str) -> str:
    """`2,300 to 2,900 USD (2,600 on average)`."""
    return f"{range_words(estimate)} {currency}".rstrip() + on_average(estimate)


def headline(answer: Answer, first: bool = False) -> str:
    """The answer in one sentence, its name first; `first`: better ones are on their way."""
    name = f"{answer.name}, a first estimate" if first else answer.name
    return words.plain(f"{name}. {told(answer.headline)}")


LEFT_IS_LESS = (
    "What is left after wages, rent and upkeep is less than the margins of *What a piece costs* "
    "times the pieces: here every paid hour counts, those with nothing to do too, and the overhead."
    " What is paid once is in none of these weeks: whether it pays, the money below tells."
)
STILL_PLAYED = (
    "**What moves the answer** and from which demand on it pays is played through once all runs "
    "are done."
)
TENTH = "a tenth less and more is tried here"
TRIED = f"one figure was given; {TENTH}"


def runs_line(answer: Answer) -> str:
    """What the figures of the table are, and the runs they come from."""
    return (
        "A figure is the mean of the runs over all the time looked ahead, in which everybody gets "
        "quicker with practice, so that *before* is not quite today; below it, what it was in nine "
        "of ten of them. " + runs_words(answer)
    )


def runs_words(answer: Answer) -> str:
    """What a run is, and how many there are."""
    return (
        f"From {words.count(answer.runs, 'run')}: in each, your shop is played through week by "
        "week, once as it is (with whatever demand comes either way) and once changed, with the "
        "same luck; what nobody knows for certain is drawn anew."
    )


def points(answer: Answer) -> list[str]:
    """What it earns and how sure, which stand by the answer; one run says nothing of how sure."""
    return _plain(answer.about(WORTH) if answer.runs == 1 else answer.about(WORTH, SURE))


def more_points(answer: Answer) -> list[str]:
    """What it may cost at most, what is left if given up, what it does, from which demand on it
    pays; one run tells no share of the runs."""
    said_above = (WORTH, SURE, AT_MOST) if answer.runs == 1 else (WORTH, SURE)
    return _plain(one.text for one in answer.said if one.about not in said_above)


def _plain(lines: Iterable[str]) -> list[str]:
    return [words.plain(told(line)) for line in lines]


def must_be_true(answer: Answer) -> list[str]:
    """What would have to be true for another answer."""
    lines = [words.plain(told(line)) for line in answer.must_be_true]
    return lines or ["Nothing within reach, taken by itself, turns this answer."]


def table(answer: Answer) -> answers.Table:
    """Before, after and difference of an average week, each with its range below."""
    import pandas as pd  # slow to import, and tables are kept

    rows = []
    for label, key, unit in _rows(answer.currency):
        week = week_row(answer, key, unit)
        shown_ = {"before": week.before, "after": week.after, "difference": week.difference}
        situations = (answer.baseline, answer.changed, answer.difference)
        row = {"an average week": label}
        for (name, mean), situation in zip(shown_.items(), situations, strict=True):
            spread = getattr(situation, key)
            ends = [None if end is None else end / unit for end in (spread.p5, spread.p95)]
            cells = _written((mean, *ends), week.places, signed=name == "difference")
            row |= dict(zip((name, f"{name} low", f"{name} high"), cells, strict=True))
        rows.append(row)
    spans = {name: (f"{name} low", f"{name} high") for name in shown_}
    return answers.Table.of(pd.DataFrame(rows), spans=spans, lead=4)


def _rows(currency: str) -> tuple[tuple[str, str, float], ...]:
    """(label, field of `Situation`, what its figure is divided by)."""
    return (
        ("sold (pieces)", "sold_per_week", 1),
        ("good pieces made", "good_units_per_week", 1),
        ("asked for, not sold (pieces)", "lost_demand_per_week", 1),
        ("a batch from first to last touch (days)", "lead_time_hours", HOURS_PER_DAY),
        ("hours at work, all people", "bench_hours_per_week", 1),
        ("hours with nothing to do", "idle_hours_per_week", 1),
        (f"sales less material ({currency})", "contribution_per_week", 1),
        (f"left after wages, rent, upkeep ({currency})", "cash_per_week", 1),
    )


def _written(figures: Iterable[float | None], decimals: int, signed: bool) -> tuple:
    """(mean, low, high) as text; None where not known, and no range where all runs agree."""

    def text(value: float | None) -> str | None:
        if value is None:
            return None
        rounded = round(value, decimals) + 0.0
        sign = "+" if signed and rounded > 0 else ""
        return sign + number(rounded, decimals)

    mean, low, high = map(text, figures)
    return (mean or "", None, None) if low == high else (mean or "", low, high)


def bill(answer: Answer) -> answers.Table:
    """Every part of the money of a change, in whole units that add up to the last line."""
    import pandas as pd

    rows = []
    for line, (amount_, worth) in zip(answer.bill, shown(answer.bill), strict=True):
        ends = (line.amount.p5, line.amount.p95)
        in_all, low, high = _written((amount_, *ends), 0, signed=True)
        rows.append({
            f"money ({answer.currency})": line.what, "when": told(line.when), "in all": in_all,
            "in all low": low, "in all high": high, "at today's worth": _worth(worth),
        })  # fmt: skip
    spans = {"in all": ("in all low", "in all high")}
    return answers.Table.of(pd.DataFrame(rows), spans=spans, lead=4)


def cash(answer: Answer) -> answers.Table:
    """The same money by the calendar, in whole units that add up line by line."""
    import pandas as pd

    rows = []
    for stretch, money, so_far in by_calendar(answer.stretches):
        ends = (stretch.so_far.p5, stretch.so_far.p95)
        mean, low, high = _written((so_far, *ends), 0, signed=True)
        rows.append({
            f"money ({answer.currency})": weeks_words(stretch), "in these weeks": _worth(money),
            "so far": mean, "so far low": low, "so far high": high,
        })  # fmt: skip
    spans = {"so far": ("so far low", "so far high")}
    return answers.Table.of(pd.DataFrame(rows), spans=spans)


def bill_notes(answer: Answer) -> str:
    """What stands below that table: when it is paid back, and what walks saved count as."""
    return words.plain(" ".join(map(told, notes_of(answer))))


def settle(answer: Answer) -> str:
    """What would settle it, as it stands below that heading."""
    said = answer.settle.removeprefix("What would settle it: ")
    return words.plain(told(said[:1].upper() + said[1:])) or "Nothing is open."


def movers(answer: Answer) -> list[str]:
    """What moves the answer, the strongest first, in plain words."""
    return [_mover(mover, answer.currency) for mover in answer.movers[:MOST_MOVERS]]


def _mover(mover: Mover, currency: str) -> str:
    at_low, at_high = (_end(v, currency) for v in (mover.value_at_low, mover.value_at_high))
    return (
        f"**{words.plain(mover.name)}**: at {words.plain(told(mover.low))}, {at_low}; at "
        f"{words.plain(told(mover.high))}, {at_high} "
        f"({_known(mover)})."
    )


def _known(mover: Mover) -> str:
    """How the ends of a figure are known."""
    if not mover.tried:
        return SOURCES[mover.source]
    return f"{SOURCES[PROPOSED]}; {TENTH}" if mover.source == PROPOSED else TRIED


def unmoving(answer: Answer) -> str:
    """What was looked at and hardly moves the answer, in one line; empty where there is none."""
    if not answer.unmoving:
        return ""
    return (
        "\n\nMoves the answer little, or not told from chance by these runs: "
        f"{words.plain(', '.join(answer.unmoving))}."
    )


def _end(value: float, currency: str) -> str:
    kind = "gain" if value >= 0 else "loss"
    return words.plain(f"a {kind} of {amount(abs(value), currency)}")


def assumption_table(listed: Sequence[Assumption]) -> answers.Table:
    """What the answer rests on, and how each is known."""
    import pandas as pd

    rows = [
        {"what": a.what, "taken as": told(a.value), "how known": SOURCES[a.source]} for a in listed
    ]
    return answers.Table.of(pd.DataFrame(rows))


def percentiles(answer: Answer) -> answers.Table:
    """The money in full, for those who check it."""
    import pandas as pd

    money = answer.money
    listed = (
        (f"net present value ({answer.currency})", money.net_present_value, 3),
        ("payback (weeks)", money.payback_weeks, 3),
        ("pieces sold until paid back", money.pieces_until_paid, 3),
    )
    rows: list[dict[str, str | None]] = [
        dict[str, str | None](figure=name) | {
            head: None if value is None else figure(value, digits)
            for head, value in zip(
                ("mean", "5th percentile", "median", "95th percentile"),
                (spread.mean, spread.p5, spread.p50, spread.p95), strict=True,
            )
        }
        for name, spread, digits in listed
    ]  # fmt: skip
    return answers.Table.of(pd.DataFrame(rows).fillna(""), lead=5)


# --- side by side ---


def compared(found: Sequence[Answer], listed: int) -> str:
    """Which of the scenarios is worth most a week, in one sentence; `listed`: how many there are,
    also those that have no answer."""
    if len(found) < 2 <= listed:
        return f"Only one of the {listed} has an answer: there is nothing to hold it against."
    if len(found) < 2:
        return "One scenario alone has nothing beside it: begin another under *Change it*."
    best = max(found, key=lambda answer: answer.money.worth_per_week)
    worth = best.money.worth_per_week
    if worth <= 0:
        return words.plain(
            f"None of the {len(found)} pays as it stands: the least dear is {best.name}, "
            f"which costs {amount(-worth, best.currency)} a week more than it brings."
        )
    sure = in_ten(best.money.probability_of_gain)
    return words.plain(
        f"The best of them is {best.name}: about {amount(worth, best.currency)} a week more than "
        f"it costs, a gain in {sure} runs."
    )


def comparison(found: Sequence[Answer]) -> answers.Table:
    """One row a scenario: verdict, worth a week, chance of a gain, payback, what is sold."""
    import pandas as pd

    rows = []
    for answer in found:
        money = answer.money
        low, high = _ends_a_week(answer)
        rows.append({
            "scenario": answer.name,
            f"worth a week ({answer.currency})": _worth(money.worth_per_week),
            "worth low": low,
            "worth high": high,
            "looked ahead": span(answer.horizon_weeks),
            "said in short": f"{answer.verdict}, only if {told(answer.condition)}"
            if answer.condition and answer.verdict == DO
            else answer.verdict,
            "runs with a gain": in_ten(money.probability_of_gain).removesuffix(" of the"),
            "earns itself back": payback_words(money).removeprefix("it "),
            "sold a week, before": pieces(answer.baseline.sold_per_week.mean),
            "after": pieces(answer.changed.sold_per_week.mean),
            "runs": f"{answer.runs}",
        })  # fmt: skip
    worth = {f"worth a week ({found[0].currency})": ("worth low", "worth high")} if found else {}
    return answers.Table.of(pd.DataFrame(rows), spans=worth, lead=4)


def _ends_a_week(answer: Answer) -> tuple[str | None, str | None]:
    """Between what the worth a week was in nine of ten runs; none where all runs agree."""
    money = answer.money
    whole = money.net_present_value
    if not whole.mean or whole.p5 is None or whole.p95 is None:
        return None, None
    share = money.worth_per_week / whole.mean  # one over the annuity factor of its horizon
    low, high = _worth(share * whole.p5), _worth(share * whole.p95)
    return (None, None) if low == high else (low, high)


def _worth(value: float) -> str:
    rounded = round(value)
    return ("+" if rounded > 0 else "") + number(rounded)
