"""The answer in the words a maker would use: verdict, what it rests on, what would settle it.

Verdict: do it where at least DO_SHARE of the runs gain, and all together do; leave it where at most
LEAVE_SHARE gain; else not yet. The two shares are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.decisions.answer import (
    ASKED_FOR,
    AT_MOST,
    DO,
    DO_NOT,
    ENOUGH,
    GIVEN,
    GIVEN_UP,
    HOURS,
    NOT_YET,
    NOTHING,
    OUT_OF_POCKET,
    SOLD,
    SURE,
    WORTH,
    Bearable,
    FiniteSpread,
    Money,
    Mover,
    Said,
    Situation,
    Stop,
)
from analysis.decisions.doubts import DEMAND
from analysis.decisions.money import NORMAL_95
from analysis.records.figures import figure
from analysis.records.scenario import Move, Scenario, sure
from analysis.records.shop import WEEKS_PER_YEAR

DO_SHARE, LEAVE_SHARE = 0.8, 0.2
DO_TENTHS = round(10 * DO_SHARE)
EACH = {"week": "a week", "h": "an hour", "": ""}  # what a price is for
WEEKS_PER_MONTH = WEEKS_PER_YEAR / 12
MONTHS_OFF = 0.05  # 11 weeks are neither 2 months nor 3
HOURS_TOLD = 0.25  # a week: fewer hours more or less at the bench are not worth a sentence
WORTH_ASKING = 0.01  # of the mean net present value: less is not worth an afternoon
WORTH_TELLING = 0.99  # of what was sold: a smaller fall is within a rounding
STOPS_TOLD = (26, 52)  # weeks: half a year and a year
MANY = ("days", "faults", "hours", "interruptions", "pieces")  # with which names of figures begin
ALL_IS_SOLD = 0.98  # of what is asked for: more hands then sell nothing more


def verdict_of(money: Money, changes: bool) -> str:
    """DO, DO_NOT, NOT_YET or NOTHING."""
    if not changes:
        return NOTHING
    if money.probability_of_gain >= DO_SHARE and money.net_present_value.mean > 0:
        return DO
    if _without_money(money):
        return NOT_YET
    return DO_NOT if money.probability_of_gain <= LEAVE_SHARE else NOT_YET


def _without_money(money: Money) -> bool:
    """Whether no run gains or loses anything: then only hours and pieces differ."""
    value = money.net_present_value
    return value.mean == value.p5 == value.p95 == 0


def headline(
    verdict: str, money: Money, scenario: Scenario, currency: str, condition: str = ""
) -> str:
    """The verdict in one sentence, with what it hangs on."""
    said = _verdict_words(verdict, money, scenario, currency)
    if condition and verdict == DO:
        said = said.replace("Do it:", f"Do it only if {condition}:", 1)
    elif condition and verdict in (DO_NOT, NOT_YET):
        said = f"{said[:-1]}; it pays only if {condition}."
    if turned_today(money):
        said = f"{said[:-1]}; at today's demand {_about(money, currency)}."
    return said


def turned_today(money: Money) -> bool:
    """Whether today's demand would give the other sign than the demand reckoned with."""
    return money.value_now is not None and money.value_now * money.net_present_value.mean < 0


def _about(money: Money, currency: str) -> str:
    """`it loses about 2,100 USD`, within what its standard error bears out."""
    value = money.value_now or 0.0
    if abs(value) < NORMAL_95 * money.value_now_error:
        return "it about breaks even"
    return f"it {'gains' if value > 0 else 'loses'} about {amount(abs(value), currency)}"


def condition(money: Money, movers: Sequence[Mover], scenario: Scenario) -> str:
    """On what the answer hangs: demand, where it turns at today's or within the range given; else
    the strongest figure given as a range that turns it, with what it must be. `""`: nothing."""
    turning = [mover for mover in movers if mover.turns and not mover.tried and mover.turns_at]
    given = [mover for mover in turning if mover.source == GIVEN]
    if turned_today(money) or (given and given[0].name == DEMAND):
        return _demand_condition(money, scenario)
    for mover in given:
        most = mover.value_at_low > mover.value_at_high
        more = "less" if most else "more"
        return f"the {mover.name} {_is(mover.name)} {mover.turns_at} or {more}"
    return ""


def _is(name: str) -> str:
    """`are` of the `days lost by the move`, `is` of the `time of the frame`."""
    return "are" if name.split(" ")[0] in MANY else "is"


def _demand_condition(money: Money, scenario: Scenario) -> str:
    """`demand grows by at least about 12 %`."""
    pays_from, now = money.break_even_demand_per_week, money.demand_now_per_week
    if not pays_from or not now:
        more = money.demand_per_week > (now or 0)
        return "demand grows enough" if more else "demand stays as high as it is"
    if scenario.demand and scenario.demand.growth_per_year != sure(0.0):
        return f"at least about {pieces(pays_from)} pieces a week are asked for on average"
    percent = 100 * (pays_from / now - 1)
    if abs(percent) < 1:
        return "demand stays at least what it is today"
    way = "grows by at least" if percent > 0 else "falls by no more than"
    return f"demand {way} about {figure(abs(percent))} %"


def _verdict_words(verdict: str, money: Money, scenario: Scenario, currency: str) -> str:
    within = f"within {span(scenario.horizon_weeks)}"
    if verdict == NOTHING:
        return "This changes nothing: before and after are the same."
    if _without_money(money):
        comes = "What is paid comes back in full" if money.paid_at_start else (
            "No money comes in or goes out by it"
        )  # fmt: skip
        return f"{comes} {within}: the hours at the bench decide."
    if verdict == DO_NOT and money.net_present_value.mean > 0:
        return (
            "Do not do it as it stands: only in "
            f"{in_ten(money.probability_of_gain)} runs is it a gain {within}."
        )
    if verdict == DO_NOT:
        return f"Do not do it as it stands: {_worth(money, currency)} {within}."
    start = "Do it" if verdict == DO else "Not yet"
    if verdict == DO and money.payback_weeks.p50 is None:
        return (
            f"Do it: {_worth(money, currency)} {within}, but only with what comes back at the end."
        )
    if money.payback_weeks.p50 is None:
        return (
            f"{start}: in {in_ten(1 - money.probability_of_payback)} runs it does not earn itself "
            f"back {within}."
        )
    return f"{start}: {payback_words(money)}."


def payback_words(money: Money) -> str:
    """`it earns itself back after about 9 months; in 2 of 10 runs not at all`."""
    never = 1 - money.probability_of_payback
    if money.payback_weeks.p50 is None:
        return "it does not pay back" if never > 0.995 else (
            f"in {in_ten(never)} runs it does not pay back"
        )  # fmt: skip
    if money.payback_weeks.p50 == 0:
        back = "it earns from the start, with nothing to pay back"
    else:
        back = f"it earns itself back after about {span(money.payback_weeks.p50)}"
    if never < 0.005:
        return back
    return f"{back}; in {in_ten(never)} runs not at all"


def in_ten(share: float) -> str:
    """A share of the runs in words: `2 of 10`, `fewer than 1 of 10`, `all`."""
    if share in (0, 1):
        return "all" if share else "none of the"
    tenths = round(10 * share)
    if tenths == 0:
        return "fewer than 1 of 10"
    if tenths == 10:
        return "more than 9 of 10"
    return f"{tenths} of 10"


def span(weeks: float) -> str:
    """A length of time: `5 weeks`, `9 months`, `2 years`, `2.5 years`; weeks below half a year
    where whole months would be off by more than MONTHS_OFF."""
    months = weeks / WEEKS_PER_MONTH
    off = abs(round(months) - months) > MONTHS_OFF * months
    if weeks < 10 or (off and weeks < WEEKS_PER_YEAR / 2):
        return _weeks(max(round(weeks), 1))
    if months < 23.5:
        return "1 year" if round(months) == 12 else f"{round(months)} months"
    return f"{figure(weeks / WEEKS_PER_YEAR)} years"


def amount(value: float, currency: str) -> str:
    """Money to two digits: `1,300 USD`."""
    return f"{figure(value)} {currency}".rstrip()


def price_words(value: float, per: str, currency: str) -> str:
    """A price to three digits, as one is set beside another: `14.5 USD an hour`; per: of EACH."""
    return " ".join(part for part in (figure(value, 3), currency, EACH[per]) if part)


def pieces(number: float) -> str:
    """Pieces a week to three digits, so that before and after can be told apart."""
    return figure(number, 3)


def _worth(money: Money, currency: str) -> str:
    mean = money.net_present_value.mean
    if mean == 0:
        return "it neither costs nor brings money"
    if mean < 0:
        return f"on average it costs {amount(-mean, currency)} more than it brings"
    return f"on average it brings {amount(mean, currency)} more than it costs"


def sentences(
    verdict: str,
    before: Situation,
    after: Situation,
    money: Money,
    scenario: Scenario,
    currency: str,
) -> tuple[Said, ...]:
    """What it earns, how sure, what is left if given up, what it does, from which demand on."""
    sold = (
        f"Sold in a week: {pieces(before.sold_per_week.mean)} before, "
        f"{pieces(after.sold_per_week.mean)} after{_from_to(after.sold_per_week)}, "
        f"of {pieces(_asked_for(after))} asked for."
    )
    if verdict == NOTHING:
        return (Said(SOLD, sold),)
    told = (
        (WORTH, [_worth_sentence(verdict, money, scenario, currency)]),
        (SURE, _sure_sentences(verdict, money)),
        (AT_MOST, [_at_most_sentence(one, scenario, currency) for one in money.bearable]),
        (GIVEN_UP, _stop_sentences(money, scenario, currency)),
        (OUT_OF_POCKET, _deepest_sentences(money, currency)),
        (SOLD, [sold, *_sold_sentences(before, after, money, scenario)]),
        (HOURS, _hours_sentences(before, after, money, scenario, currency)),
        (ENOUGH, _enough_sentences(before, after, money)),
        (ASKED_FOR, _demand_sentences(money, currency)),
    )
    return tuple(Said(about, line) for about, lines in told for line in lines)


def _asked_for(week: Situation) -> float:
    """Pieces asked for in an average week of the runs; of a range more than at its middle."""
    return week.sold_per_week.mean + week.lost_demand_per_week.mean


def _worth_sentence(verdict: str, money: Money, scenario: Scenario, currency: str) -> str:
    """What it is worth, where the headline has not said it, and where nine of ten runs lie."""
    start = f"Over {span(scenario.horizon_weeks)}, at today's worth"
    ends = _ends(money.net_present_value, currency)
    if verdict == DO_NOT and money.net_present_value.mean <= 0 and ends:
        return f"{start}{ends.replace(';', ':', 1)}."
    return f"{start}, {_worth(money, currency)}{ends}."


def _sure_sentences(verdict: str, money: Money) -> list[str]:
    """How many runs gain, and whether chance alone could turn the average."""
    if _without_money(money):
        return []
    line = _gains(money.probability_of_gain)
    if verdict == DO_NOT:
        line = f"{line[:-1]}; {payback_words(money)}."
    if abs(money.net_present_value.mean) >= NORMAL_95 * money.error:
        return [line]
    return [line, "So few runs cannot tell whether it gains or loses on average."]


def _at_most_sentence(price: Bearable, scenario: Scenario, currency: str) -> str:
    """What the change's own price may come to: `… the added rent may be up to 74 USD a week …`."""
    if price.breaks_even <= 0:
        return f"Even if the {price.name} were nothing, it would not pay on average."
    low, high = (figure(max(end, 0.0), 3) for end in (price.low, price.high))
    even = price_words(price.breaks_even, price.per, currency)
    if low != high:
        even += f" (nine of ten runs: {low} to {high} {currency}".rstrip() + ")"
    if price.at_most <= 0:
        return (
            f"However low the {price.name}, fewer than {DO_TENTHS} of 10 runs gain; on average it "
            f"breaks even at {even}."
        )
    fixed = " once it is fixed" if price.is_range else ""
    most = price_words(rounded_down(price.at_most), price.per, currency)
    given = price_words(price.given, price.per, currency)
    only, between = "", ""
    if rounded_down(price.at_most) < rounded_down(price.breaks_even):
        only = " only"
        between = f"; between the two, more than {10 - DO_TENTHS} of 10 runs lose"
    return (
        f"With all else as here, the {price.name} may be up to {most}{fixed}: at least {DO_TENTHS} "
        f"of 10 runs then gain within {span(scenario.horizon_weeks)} (reckoned with: {given}). The "
        f"average of all runs breaks even{only} at {even}{between}."
    )


def rounded_down(value: float, digits: int = 3) -> float:
    """A figure above 0 to so many digits, never more than it is."""
    unit = 10.0 ** (math.floor(math.log10(value)) - digits + 1)
    return math.floor(value / unit * (1 + 1e-12)) * unit


def _sold_sentences(
    before: Situation, after: Situation, money: Money, scenario: Scenario
) -> list[str]:
    """Why fewer are sold, and after how many it pays."""
    lines = []
    fewer = after.sold_per_week.mean < WORTH_TELLING * before.sold_per_week.mean
    if fewer and is_of_helper_alone(scenario):
        lines.append(
            "Fewer pieces are sold with this helper: teaching takes hours, and slower hands hold a "
            "place or a batch that others wait for. Work that holds nobody else up would suit them "
            "better."
        )
    if money.pieces_until_paid.p50:
        lines.append(f"It pays after about {figure(money.pieces_until_paid.p50)} pieces sold.")
    return lines


def is_of_helper_alone(scenario: Scenario) -> bool:
    """Whether all that differs is a helper's doing: nothing else is changed along with it."""
    demand = scenario.demand
    return bool(
        scenario.helper
        and not scenario.equipment
        and not scenario.move
        and (demand is None or demand.either_way)
    )


def _deepest_sentences(money: Money, currency: str) -> list[str]:
    """The most money one is down on the way, and when."""
    if not round(money.deepest_low):
        return []
    line = "Most money out of pocket, against going on as before: "
    if not round(money.deepest):
        down = amount(money.deepest_low, currency)
        return [f"{line}none in the middle of the runs; in 1 of 20 runs {down} or more."]
    if money.deepest_week:
        line += f"about {amount(money.deepest, currency)}, after {_weeks(money.deepest_week)}"
    else:
        line += f"about {amount(money.deepest, currency)} at the start"
    if figure(money.deepest) == figure(money.deepest_low):
        return [f"{line}."]
    return [
        f"{line}, in the middle of the runs; in 1 of 20 runs "
        f"{amount(money.deepest_low, currency)} or more."
    ]


def _stop_sentences(money: Money, scenario: Scenario, currency: str) -> list[str]:
    """What is left of it where it is given up after half a year and after a year."""
    if not (scenario.helper or scenario.equipment or scenario.move):
        return []  # there is nothing to give up
    lines = []
    for stop in money.stops:
        if stop.after_weeks not in STOPS_TOLD or _without_money(money):
            continue
        start = "With notice given" if scenario.move else "Given up"
        lines.append(
            f"{start} at the end of week {stop.after_weeks}, it is "
            f"{_signed(stop.money.mean, currency)}{_reckoned(stop, scenario, currency)}"
            f"{_ends(stop.money, currency)}."
        )
    if lines and scenario.equipment:
        lines[-1] = f"{lines[-1][:-1]}; what the machine then fetches comes on top."
    return lines


def _reckoned(stop: Stop, scenario: Scenario, currency: str) -> str:
    """What of a room is in that sum: the rent still to pay, and the deposit."""
    within = []
    if round(stop.rent_owed):
        within.append(f"{amount(stop.rent_owed, currency)} of rent still to pay then")
    if scenario.move and scenario.move.deposit.high:
        within.append("the deposit back")
    return f" with {' and '.join(within)}" if within else ""


def _weeks(count: int) -> str:
    return f"{count} week" if count == 1 else f"{count} weeks"


def helper_sentence(
    name: str, hours: float, more: float, brings: float, now: float, scenario: Scenario,
    currency: str,
) -> str:  # fmt: skip
    """What an hour of a helper brings. hours: paid in an average week; more, brings: good pieces
    and sales less material that week more; now: good pieces in an hour at the bench before."""
    assert scenario.helper
    fewer = "more" if more >= 0 else "fewer"
    each = f"{_signed_plain(brings / hours, currency)} after material"
    return (
        f"An hour of the {name} makes about {figure(abs(more) / hours)} {fewer} good pieces, "
        f"{each}, for {amount(scenario.helper.cost_per_hour, currency)} of pay; an hour at the "
        f"bench makes {figure(now)} as things are."
    )


def _signed_plain(value: float, currency: str) -> str:
    return f"{'' if value >= 0 else '-'}{amount(abs(value), currency)}"


def _hours_sentences(
    before: Situation, after: Situation, money: Money, scenario: Scenario, currency: str
) -> list[str]:
    """Hours at the bench, where they change; where that is bought, what one of them costs."""
    was, now = before.bench_hours_per_week.mean, after.bench_hours_per_week.mean
    if abs(now - was) < HOURS_TOLD:
        return []
    whose = "all together, " if scenario.helper else ""
    lines = [f"Hours at the bench in a week, {whose}{pieces(was)} before, {pieces(now)} after."]
    as_many = after.sold_per_week.mean >= ALL_IS_SOLD * before.sold_per_week.mean
    taken = scenario.helper or (scenario.move and _takes_hours(scenario.move))
    if now < was and money.worth_per_week < 0 and as_many and not taken:
        each = amount(-money.worth_per_week / (was - now), currency)
        lines.append(f"Each hour at the bench that it frees costs {each}.")
    return lines


def _takes_hours(move: Move) -> bool:
    """Whether a move itself takes hours from the bench: those are lost, not freed."""
    return bool(move.commute_hours_per_week.high or move.lost_days.high)


def orders_sentence(
    week: int, ordered: float, ready: Sequence[float], begun_in_week: int = 1
) -> str:
    """How much of a dated order is ready in time; ready: pieces, one figure a run. Where not all
    is, that more may be if it is begun before `begun_in_week`."""
    counts = np.asarray(ready, float)
    whole = float((counts >= ordered).mean())
    earlier = ""
    if whole < 1 and begun_in_week > 1:
        earlier = (
            f"; no batch for them is begun before week {begun_in_week}, and begun earlier more may "
            "be ready"
        )
    return (
        f"Of the {figure(ordered, 4)} pieces ordered for week {week}, {pieces(counts.mean())} are "
        f"ready in time on average, all of them in {in_ten(whole)} runs{earlier}."
    )


def _enough_sentences(before: Situation, after: Situation, money: Money) -> list[str]:
    """That more could not be sold, where it could not: all is made that is asked for as things are,
    and no more is asked for after the change."""
    asked = max(_asked_for(before), _asked_for(after), money.demand_per_week)
    if before.sold_per_week.mean < ALL_IS_SOLD * asked:
        return []
    return [
        "As things are, nearly all that is asked for is made already: quicker work or more "
        "hands sell no more pieces, they only leave more hours free."
    ]


def _demand_sentences(money: Money, currency: str) -> list[str]:
    """From which demand on it pays."""
    pays_from = money.break_even_demand_per_week
    if pays_from is None and not money.break_even_searched_to:
        return []
    if pays_from is None:
        return [
            f"No demand up to {figure(money.break_even_searched_to)} pieces a week makes it pay"
            f"{_at_best(money, currency)}."
        ]
    if pays_from <= 0:
        return []
    return [
        f"It pays from about {pieces(pays_from)} pieces asked for in a week"
        f"{_between(money)}; reckoned with here are {pieces(money.demand_per_week)}."
    ]


def _at_best(money: Money, currency: str) -> str:
    """What the best demand would bring, where none makes it pay."""
    best, at = money.best_net_present_value, money.best_demand_per_week
    if best is None or at is None:
        return ""
    near = -best < NORMAL_95 * money.best_error
    lost = f": at best, at about {pieces(at)}, it loses {amount(-best, currency)}"
    return lost + (", too little for these runs to tell from breaking even" if near else "")


def _between(money: Money) -> str:
    """` (118 to 121)`: the range of the break-even in nine of ten cases."""
    low, high = money.break_even_low, money.break_even_high
    if low is None and high is None:
        return ""
    if low is None or high is None:
        end, onward = (high, "less") if low is None else (low, "more")
        return f" (from {pieces(end or 0.0)} or {onward})"
    ends = pieces(low), pieces(high)
    return "" if ends[0] == ends[1] else f" (from {' to '.join(ends)})"


def _gains(share: float) -> str:
    """How many runs gain."""
    runs = in_ten(share)
    order = "is it" if runs.startswith(("none", "fewer")) else "it is"
    return f"In {runs} runs {order} a gain."


def _from_to(values: FiniteSpread) -> str:
    """` (113 to 132)`, nothing where all runs agree."""
    low, high = pieces(values.p5), pieces(values.p95)
    return "" if low == high else f" ({low} to {high})"


def _ends(value: FiniteSpread, currency: str) -> str:
    """`; nine of ten runs lie between a loss of 200 EUR and a gain of 3,000 EUR`, nothing where
    they all end alike."""
    low, high = _signed(value.p5, currency), _signed(value.p95, currency)
    if low == high:
        return ""
    if value.p5 > 0 or value.p95 < 0:
        kind = "a gain" if value.p5 > 0 else "a loss"
        near, far = sorted((abs(value.p5), abs(value.p95)))
        return f"; in nine of ten runs {kind} of {figure(near)} to {amount(far, currency)}"
    return f"; in nine of ten runs between {low} and {high}"


def _signed(value: float, currency: str) -> str:
    if value == 0:
        return "neither gain nor loss"
    kind = "a gain" if value > 0 else "a loss"
    return f"{kind} of {amount(abs(value), currency)}"


def must_be_true(verdict: str, money: Money, movers: Sequence[Mover]) -> tuple[str, ...]:
    """For it to pay (or, where it does, to stop paying): one assumption each, the rest as it is."""
    if verdict == NOTHING:
        return ()
    pays = money.net_present_value.mean > 0
    start = "It stops paying once" if pays else "It would pay once"
    lines = []
    for mover in movers:
        rises = mover.value_at_high > mover.value_at_low
        if mover.turns_at:
            onward = "more" if rises != pays else "less"
            lines.append(
                f"{start} the {mover.name} {_is(mover.name)} {mover.turns_at}, or {onward}."
            )
    return tuple(lines[:5])


def settling(
    verdict: str, money: Money, movers: Sequence[Mover], currency: str, condition: str = ""
) -> str:
    """Which laps or which question would settle it: what is worth most to know and can be known;
    where the answer hangs on a condition, never that nothing could turn it."""
    if verdict == NOTHING:
        return ""
    mean = money.net_present_value.mean
    open_ones = [mover for mover in movers if mover.settled_by and mover.worth_knowing > 0]
    best = max(open_ones, key=lambda mover: mover.worth_knowing, default=None)
    if not movers and not mean:
        return "What an hour at the bench is worth to the shop decides; no laps can tell."
    if verdict == NOT_YET and best is None:
        return (
            "What is open is mostly chance from week to week, which no question settles; see what "
            "would have to be true."
        )
    asked = next((mover.settled_by for mover in movers if mover.name == DEMAND), "")
    if condition and (best is None or best.worth_knowing < WORTH_ASKING * abs(mean)):
        question = asked if turned_today(money) else best.settled_by if best else asked
        start = f"{_sentence(question)}: it" if question else "It"
        return f"{start} pays only if {condition}."
    if best is None or best.worth_knowing < WORTH_ASKING * abs(mean):
        return "Nothing that could be found out beforehand is likely to turn this answer."
    question = _sentence(best.settled_by)
    worth = f"knowing the {best.name} first is worth about {amount(best.worth_knowing, currency)}"
    if verdict == NOT_YET:
        return f"What would settle it: {best.settled_by} ({worth})."
    return f"{question}, to be surer ({worth})."


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
