"""What stands on the page, in reading order: plain texts and figures that both faces print.

The words are English; numbers and dates follow the reader (`records/figures.py`), names never do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

from analysis.charts import look
from analysis.charts.decision import holds_nought, movers_chart, payback_chart
from analysis.decisions.answer import (
    ASSUMED,
    ENOUGH,
    GIVEN,
    GIVEN_UP,
    HELPER,
    HOURS,
    MEASURED,
    ORDERS,
    PROPOSED,
    PUBLISHED,
    SOLD,
    SURE,
    WORTH,
    Answer,
    FiniteSpread,
    Spread,
)
from analysis.decisions.bill import CALENDAR_NOTE, by_calendar, notes_of, shown, weeks_words
from analysis.decisions.money import NORMAL_95
from analysis.decisions.sentences import span
from analysis.decisions.week import week_row
from analysis.memo.picture import Picture, picture
from analysis.records.figures import DAYS_FROM_HOURS, figure, number, told
from analysis.records.figures import day as written_day

PAPERS = ("a4", "letter")
MINUS, NOT_KNOWN = "\N{MINUS SIGN}", "not known"
DIGITS = 3
SETTLES = "What would settle it: "

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
LEAD = {  # what stands in the answer's box, by what it is about
    "How sure": (WORTH, SURE),
    "If it is given up on the way": (GIVEN_UP,),
    "An hour of help": (HELPER,),
    "What is ordered": (ORDERS,),
}
ONLY_WEEKS = (
    "What is paid once is in none of these weeks; whether it pays is told by the money below."
)
DAY_HOURS = 24
SOURCES = {
    MEASURED: "from the shop's own timed work",
    PUBLISHED: "from published studies",
    GIVEN: "stated by the shop, an offer or an estimate",
    PROPOSED: "proposed by the program, not yet set by the shop",
    ASSUMED: "taken to be so",
}


@dataclass(frozen=True)
class Page:
    """The whole page. lead: (what it is about, sentence). week: rows of (what, before, after,
    difference, its range); bill: rows of (what, when, in all, its range, at today's worth), the
    last all together; cash: rows of (which weeks, their money, so far, its range); money: rows of
    (what, figure, range); assumptions: (what, value, source)."""

    title: str
    shop: str
    day: str
    question: str
    headline: str
    lead: tuple[tuple[str, str], ...]
    pictures: tuple[Picture, ...]
    week: tuple[tuple[str, str, str, str, str], ...]
    week_note: str
    unit: str
    bill: tuple[tuple[str, str, str, str, str], ...]
    bill_note: str
    cash: tuple[tuple[str, str, str, str], ...]
    cash_note: str
    money: tuple[tuple[str, str, str], ...]
    must_be_true: tuple[str, ...]
    assumptions: tuple[tuple[str, str, str], ...]
    sources: str
    worked_out: tuple[str, ...]
    cautions_heading: str
    cautions: tuple[str, ...]


def page_of(answer: Answer, shop_name: str, day: date) -> Page:
    """The page of one answer, dated `day`."""
    return Page(
        title=answer.name,
        shop=shop_name,
        day=written_day(day),
        question=_question(answer, shop_name),
        headline=told(answer.headline),
        lead=_lead(answer),
        pictures=_pictures(answer),
        week=_week(answer),
        week_note=" ".join([*map(told, _of_week(answer)), ONLY_WEEKS]),
        unit=answer.currency,
        bill=_bill(answer),
        bill_note=told(" ".join(notes_of(answer))),
        cash=tuple(_cash(answer)),
        cash_note=CALENDAR_NOTE if answer.stretches else "",
        money=_money(answer),
        must_be_true=tuple(map(told, answer.must_be_true)),
        assumptions=tuple(
            (_capital(line.what), told(line.value), line.source) for line in answer.assumptions
        ),
        sources=_sources(answer),
        worked_out=_worked_out(answer),
        cautions_heading=answer.cautions_heading,
        cautions=answer.cautions,
    )


def _lead(answer: Answer) -> tuple[tuple[str, str], ...]:
    """The answer in short: how sure, what is left if given up, what would settle it."""
    lines = [(label, " ".join(answer.about(*kinds))) for label, kinds in LEAD.items()]
    lines.append(("What would settle it", _capital(answer.settle.removeprefix(SETTLES))))
    return tuple((label, told(text)) for label, text in lines if text)


def _of_week(answer: Answer) -> tuple[str, ...]:
    """What the table of the week does not show by itself."""
    return (*answer.about(SOLD)[1:], *answer.about(HOURS)[1:], *answer.about(ENOUGH))


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
        nought = holds_nought(answer.movers, money.net_present_value.mean)
        pictures.append(
            picture(
                look.specification(
                    movers_chart(answer.movers, money.net_present_value.mean, currency)
                ),
                "What moves the answer most",
                f"Gain over {span(answer.horizon_weeks)}, at today's worth, with one figure at "
                "either likely end, a tenth less and more where one figure was given, and all "
                "others as reckoned." + (" A thick line is 0." if nought else ""),
            )
        )
    return tuple(pictures)


def _week(answer: Answer) -> tuple[tuple[str, str, str, str, str], ...]:
    long = (answer.baseline.lead_time_hours.mean or 0) >= DAYS_FROM_HOURS
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
    """Before, after, difference and its range, all to the same place behind the point."""
    row = week_row(answer, name, unit)

    def write(value: float | None, sign: str = "") -> str:
        if value is None:
            return NOT_KNOWN
        return (sign if value > 0 else "") + number(value, row.places).replace("-", MINUS)

    low, high = write(row.low, "+"), write(row.high, "+")
    between = "as shown" if low == high else f"{low} to {high}"
    if row.low is None or row.high is None:
        between = NOT_KNOWN
    return write(row.before), write(row.after), write(row.difference, "+"), between


def _bill(answer: Answer) -> tuple[tuple[str, str, str, str, str], ...]:
    """Every part of the money in whole units, the last line the sum of those above it."""
    rows = []
    for line, (amount, worth) in zip(answer.bill, shown(answer.bill), strict=True):
        between = _whole_ends(line.amount)
        rows.append((line.what, told(line.when), _whole(amount), between, _whole(worth)))
    return tuple(rows)


def _cash(answer: Answer) -> Iterator[tuple[str, str, str, str]]:
    """The money by the calendar, in whole units that add up line by line."""
    for stretch, money, so_far in by_calendar(answer.stretches):
        weeks = weeks_words(stretch)
        yield weeks, _whole(money), _whole(so_far), _whole_ends(stretch.so_far)


def _whole_ends(values: FiniteSpread) -> str:
    """`+120 to +2,300`; nothing where all runs agree."""
    low, high = _whole(values.p5), _whole(values.p95)
    return "" if low == high else f"{low} to {high}"


def _whole(value: float) -> str:
    """Money in whole units, in with a plus, out with a true minus."""
    return ("+" if round(value) > 0 else "") + number(round(value) + 0.0, 0).replace("-", MINUS)


def _money(answer: Answer) -> tuple[tuple[str, str, str], ...]:
    money, unit = answer.money, f", {answer.currency}" if answer.currency else ""
    back, deepest, lowest = money.payback_weeks, *map(_number, (money.deepest, money.deepest_low))
    rows = [
        (f"Gain over {span(answer.horizon_weeks)} at today's worth (net present value){unit}: the "
         "figure to decide by", _signed(money.net_present_value.mean),
         _range(money.net_present_value, _signed)),
        (f"Chance error of that average, from {number(answer.runs)} simulated runs{unit}",
         f"\N{PLUS-MINUS SIGN}{_number(NORMAL_95 * money.error)}", ""),
        (f"The same gain spread evenly{unit} a week: to compare it with a change looked at for "
         "another time", _signed(money.worth_per_week), ""),
        (f"Most money out of pocket on the way{unit}", deepest,
         "" if lowest == deepest else f"{lowest} or more in 1 of 20"),
        ("Earned back after (payback), weeks, middle of the runs", _weeks(back.p50),
         f"{_weeks(back.p5)} to {_weeks(back.p95)}" if back.p5 is not None else "never"),
    ]  # fmt: skip
    return (*rows, *_at_other_demand(answer, unit))


def _at_other_demand(answer: Answer, unit: str) -> Iterator[tuple[str, str, str]]:
    """From which demand on it pays, and what it is worth at today's."""
    money = answer.money
    if money.break_even_searched_to:
        pays_from = money.break_even_demand_per_week
        found = (
            f"none up to {_number(money.break_even_searched_to)}"
            if pays_from is None
            else _number(pays_from)
            if pays_from
            else "no loss at any looked at"
        )
        if pays_from and money.break_even_low and money.break_even_high:
            found += f" ({_number(money.break_even_low)} to {_number(money.break_even_high)})"
        now = f"reckoned with: {_number(money.demand_per_week)}"
        yield "Pays from (break-even), pieces asked for a week", found, now
    if money.value_now is not None:
        asked = _number(money.demand_now_per_week)
        yield (
            f"Gain at today's demand of {asked} pieces a week{unit}", _signed(money.value_now), ""
        )  # fmt: skip


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
