"""What stands on the page, in reading order: plain texts and figures that both faces print.

The words are English; numbers and dates follow the reader (`records/figures.py`), names never do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from analysis.charts import look
from analysis.charts.decision import movers_chart, payback_chart
from analysis.decisions.answer import ASSUMED, GIVEN, MEASURED, PUBLISHED, Answer, Money, Spread
from analysis.decisions.sentences import in_ten, span
from analysis.memo.picture import Picture, picture
from analysis.records.figures import day as written_day
from analysis.records.figures import figure, number, told

PAPERS = ("a4", "letter")
MINUS, NOT_KNOWN = "\N{MINUS SIGN}", "not known"
DIGITS = 3

WEEK = {
    "good_units_per_week": "Good pieces made",
    "sold_per_week": "Pieces sold",
    "lost_demand_per_week": "Asked for, but not to be had",
    "lead_time_hours": "A batch from start to end, by the clock, {time}",
    "bench_hours_per_week": "Hours at the bench",
    "idle_hours_per_week": "Hours there without work",
    "contribution_per_week": "Sales less material{currency}",
    "cash_per_week": "the same, less wages, rent and upkeep{currency}",
}
IN_MONEY = ("contribution_per_week", "cash_per_week")
DAY_HOURS, LONG_HOURS = 24, 72  # from three days on a batch's way is told in days
SOURCES = {
    MEASURED: "from the shop's own timed work",
    PUBLISHED: "from published studies",
    GIVEN: "stated by the shop, an offer or an estimate",
    ASSUMED: "taken to be so",
}


@dataclass(frozen=True)
class Page:
    """The whole page. week: rows of (what, before, after, difference, its range); money: rows of
    (what, figure, range); assumptions: rows of (what, value, source)."""

    title: str
    shop: str
    day: str
    question: str
    headline: str
    sentences: tuple[str, ...]
    settle: str
    pictures: tuple[Picture, ...]
    week: tuple[tuple[str, str, str, str, str], ...]
    money: tuple[tuple[str, str, str], ...]
    must_be_true: tuple[str, ...]
    assumptions: tuple[tuple[str, str, str], ...]
    sources: str
    worked_out: tuple[str, ...]
    cautions: tuple[str, ...]


def page_of(answer: Answer, shop_name: str, day: date) -> Page:
    """The page of one answer, dated `day`."""
    return Page(
        title=answer.name,
        shop=shop_name,
        day=written_day(day),
        question=_question(answer, shop_name),
        headline=told(answer.headline),
        sentences=tuple(map(told, answer.sentences)),
        settle=told(answer.settle),
        pictures=_pictures(answer),
        week=_week(answer),
        money=_money(answer.money, answer.currency),
        must_be_true=tuple(map(told, answer.must_be_true)),
        assumptions=tuple(
            (_capital(line.what), told(line.value), line.source) for line in answer.assumptions
        ),
        sources=_sources(answer),
        worked_out=_worked_out(answer),
        cautions=answer.cautions,
    )


def _question(answer: Answer, shop_name: str) -> str:
    asked = (
        f"Does \u201c{answer.name}\u201d pay for {shop_name} within "
        f"{span(answer.horizon_weeks)}, against going on as before?"
    )
    paid = answer.money.paid_at_start
    if paid < 0.5:
        return asked
    return f"{asked} About {_amount(paid, answer.currency)} would be paid at the start."


def _pictures(answer: Answer) -> tuple[Picture, ...]:
    money, currency = answer.money, answer.currency
    pictures = [
        picture(
            look.specification(payback_chart(answer.path, currency, money.payback_weeks.p50)),
            "How the money adds up, week by week",
            "Money so far against going on as before, not discounted, resale and deposit left "
            "out. Above 0 it is a gain.",
        )
    ]
    if answer.movers:
        pictures.append(
            picture(
                look.specification(
                    movers_chart(answer.movers, money.net_present_value.mean, currency)
                ),
                "What moves the answer most",
                f"Gain over {span(answer.horizon_weeks)}, at today's worth, with one figure at "
                "either likely end, a tenth less and more where one figure was given, and all "
                "others as reckoned." + (" A thick line is 0." if _straddle(answer) else ""),
            )
        )
    return tuple(pictures)


def _straddle(answer: Answer) -> bool:
    """Whether the bars' axis, which has the mean in its middle, holds 0."""
    mean = answer.money.net_present_value.mean
    ends = [end for mover in answer.movers for end in (mover.value_at_low, mover.value_at_high)]
    return abs(mean) < max(abs(end - mean) for end in ends)


def _week(answer: Answer) -> tuple[tuple[str, str, str, str, str], ...]:
    long = (answer.baseline.lead_time_hours.mean or 0) >= LONG_HOURS
    words = {
        "time": "days" if long else "hours",
        "currency": f", {answer.currency}" if answer.currency else "",
    }
    return tuple(
        (
            line.format(**words),
            *_before_and_after(answer, name, DAY_HOURS if long and "lead" in name else 1),
        )
        for name, line in WEEK.items()
    )


def _before_and_after(answer: Answer, name: str, unit: float) -> tuple[str, str, str, str]:
    """Before, after, difference and its range, all to the same place behind the point.

    To tenths, or to whole numbers where the difference, or money, has three digits before it.
    """
    before, after = (getattr(week, name).mean for week in (answer.baseline, answer.changed))
    apart: Spread = getattr(answer.difference, name)
    widest = max(abs(end or 0) / unit for end in (apart.mean, apart.p5, apart.p95))
    if name in IN_MONEY:
        widest = max(widest, abs(before), abs(after))
    places = 1 if widest < 99.5 else 0

    def write(value: float | None, sign: str = "") -> str:
        if value is None:
            return NOT_KNOWN
        rounded = round(value / unit, places) + 0.0
        return (sign if rounded > 0 else "") + number(rounded, places).replace("-", MINUS)

    def write_signed(value: float | None) -> str:
        return write(value, "+")

    return write(before), write(after), write_signed(apart.mean), _range(apart, write_signed)


def _money(money: Money, currency: str) -> tuple[tuple[str, str, str], ...]:
    unit = f", {currency}" if currency else ""
    back = money.payback_weeks
    rows = [
        (f"Paid at the start{unit}", _number(money.paid_at_start), ""),
        (f"Gain at today's worth (net present value){unit}", _signed(money.net_present_value.mean),
         _range(money.net_present_value, _signed)),
        (f"Standard error of that gain, by chance{unit}", _number(money.error), ""),
        (f"the same, spread evenly over the weeks{unit} a week", _signed(money.worth_per_week), ""),
        ("Earned back after (payback), weeks, middle of the runs", _weeks(back.p50),
         f"{_weeks(back.p5)} to {_weeks(back.p95)}" if back.p5 is not None else "never"),
        ("Runs in which it earns itself back",
         in_ten(money.probability_of_payback).removesuffix(" of the"), ""),
    ]  # fmt: skip
    if money.break_even_searched_to:
        pays_from = money.break_even_demand_per_week
        found = (
            f"none up to {_number(money.break_even_searched_to)}"
            if pays_from is None
            else _number(pays_from)
            if pays_from
            else "any"
        )
        if pays_from and money.break_even_low and money.break_even_high:
            found += f" ({_number(money.break_even_low)} to {_number(money.break_even_high)})"
        now = f"reckoned with: {_number(money.demand_per_week)}"
        rows.append(("Pays from (break-even), pieces asked for a week", found, now))
    if money.value_now is not None:
        asked = _number(money.demand_now_per_week)
        rows.append((f"Gain at today's demand of {asked} pieces a week{unit}",
                     _signed(money.value_now), ""))  # fmt: skip
    return tuple(rows)


def _sources(answer: Answer) -> str:
    used = {line.source for line in answer.assumptions}
    return "; ".join(f"{name}: {how}" for name, how in SOURCES.items() if name in used) + "."


def _worked_out(answer: Answer) -> tuple[str, ...]:
    early = " (stopped early)" if answer.stopped else ""
    return (
        f"The shop's weeks were simulated batch by batch, {number(answer.runs)} times over{early}, "
        f"{answer.horizon_weeks} weeks each: once as the shop is and once with the change, with "
        "the same chance events in both, so that their difference is the change and not luck.",
        "Each run draws afresh what is not known for certain: working times and how fast they "
        "fall with practice, faults, interruptions, demand, and every figure given as a range. "
        "Where a range is said, nine of ten runs lie in it; figures without one are means over "
        "the runs.",
        "Pieces that cannot be sold earn nothing. Money that comes later counts less, "
        f"{figure(100 * answer.discount_rate_per_year)} % a year. Random seed {answer.seed}: the "
        "same files give the same figures.",
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _amount(value: float, currency: str) -> str:
    return f"{_number(value)} {currency}".rstrip()


def _number(value: float | None) -> str:
    """Three digits, a true minus; what is not known says so."""
    if value is None:
        return NOT_KNOWN
    rounded = 0.0 if abs(value) < 0.005 else float(value)
    return figure(rounded, DIGITS).replace("-", MINUS)


def _signed(value: float | None) -> str:
    """A difference: `+12`, `−3.1`, `0`."""
    text = _number(value)
    return text if text in ("0", NOT_KNOWN) or text.startswith(MINUS) else f"+{text}"


def _range(values: Spread, write: Callable[[float], str]) -> str:
    if values.p5 is None or values.p95 is None:
        return NOT_KNOWN
    low, high = write(values.p5), write(values.p95)
    return low if low == high else f"{low} to {high}"


def _weeks(value: float | None) -> str:
    return "never" if value is None else number(value)


def refuse_other_papers(paper: str) -> None:
    """ValueError for a paper that is none of PAPERS."""
    if paper not in PAPERS:
        raise ValueError(f"paper is {paper!r}; it must be one of {', '.join(PAPERS)}")
