"""What stands on the page, in reading order: plain texts and figures that both faces print.

English words, and figures the English way (1,300 is thirteen hundred), as everywhere in this
program: a shop names its currency and time zone, not how it writes numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from analysis.charts import look
from analysis.charts.decision import movers_chart, payback_chart
from analysis.decisions.answer import ASSUMED, GIVEN, MEASURED, PUBLISHED, Answer, Money, Spread
from analysis.decisions.sentences import in_ten, span
from analysis.memo.picture import Picture, picture
from analysis.records.figures import figure

PAPERS = ("a4", "letter")
MINUS, NOT_KNOWN = "\N{MINUS SIGN}", "not known"
DIGITS = 3

WEEK = {
    "good_units_per_week": "Good pieces made",
    "sold_per_week": "Pieces sold",
    "lost_demand_per_week": "Asked for, but not to be had",
    "lead_time_hours": "A batch from start to end, hours by the clock",
    "bench_hours_per_week": "Hours at the bench",
    "idle_hours_per_week": "Hours there without work",
    "contribution_per_week": "Sales less material, {currency}",
    "cash_per_week": "of that, after wages, rent and upkeep, {currency}",
}
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
        day=f"{day.day} {day:%B %Y}",
        question=_question(answer, shop_name),
        headline=answer.headline,
        sentences=answer.sentences,
        settle=answer.settle,
        pictures=_pictures(answer),
        week=_week(answer),
        money=_money(answer.money, answer.currency),
        must_be_true=answer.must_be_true,
        assumptions=tuple(
            (_capital(line.what), line.value, line.source) for line in answer.assumptions
        ),
        sources=_sources(answer),
        worked_out=_worked_out(answer),
        cautions=answer.cautions,
    )


def _question(answer: Answer, shop_name: str) -> str:
    paid = answer.money.paid_at_start
    start = f" {_amount(paid, answer.currency)} would be paid at the start." if paid >= 0.5 else ""
    return (
        f"Does \N{LEFT DOUBLE QUOTATION MARK}{answer.name}\N{RIGHT DOUBLE QUOTATION MARK} pay for "
        f"{shop_name} within {span(answer.horizon_weeks)}, against going on as before?{start}"
    )


def _pictures(answer: Answer) -> tuple[Picture, ...]:
    money, currency = answer.money, answer.currency
    pictures = [
        picture(
            look.specification(payback_chart(answer.path, currency, money.payback_weeks.p50)),
            "When it has earned itself back",
            "Money so far against going on as before, not discounted, resale left out. Above 0 it "
            "is a gain.",
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
                "either likely end and all others as reckoned."
                + (" A thick line is 0." if _straddle(answer) else ""),
            )
        )
    return tuple(pictures)


def _straddle(answer: Answer) -> bool:
    """Whether the bars' axis, which has the mean in its middle, holds 0."""
    mean = answer.money.net_present_value.mean
    ends = [end for mover in answer.movers for end in (mover.value_at_low, mover.value_at_high)]
    return abs(mean) < max(abs(end - mean) for end in ends)


def _week(answer: Answer) -> tuple[tuple[str, str, str, str, str], ...]:
    rows = []
    for name, words in WEEK.items():
        apart: Spread = getattr(answer.difference, name)
        rows.append(
            (
                words.format(currency=answer.currency).rstrip(", "),
                _number(getattr(answer.baseline, name).mean),
                _number(getattr(answer.changed, name).mean),
                _signed(apart.mean),
                _range(apart, _signed),
            )
        )
    return tuple(rows)


def _money(money: Money, currency: str) -> tuple[tuple[str, str, str], ...]:
    unit = f", {currency}" if currency else ""
    back = money.payback_weeks
    rows = [
        (f"Paid at the start{unit}", _number(money.paid_at_start), ""),
        (f"Gain at today's worth (net present value){unit}", _signed(money.net_present_value.mean),
         _range(money.net_present_value, _signed)),
        (f"the same, spread evenly over the weeks{unit} a week", _signed(money.worth_per_week), ""),
        ("Earned back after (payback), weeks", _weeks(back.p50),
         f"{_weeks(back.p5)} to {_weeks(back.p95)}" if back.p5 is not None else "never"),
        ("Runs in which it earns itself back", in_ten(money.probability_of_payback), ""),
    ]  # fmt: skip
    if money.break_even_searched_to:
        pays_from = money.break_even_demand_per_week
        found = (
            f"none up to {_number(money.break_even_searched_to)}"
            if pays_from is None
            else _number(pays_from)
        )
        now = f"reckoned with: {_number(money.demand_per_week)}"
        rows.append(("Pays from (break-even), pieces asked for a week", found, now))
    return tuple(rows)


def _sources(answer: Answer) -> str:
    used = {line.source for line in answer.assumptions}
    told = [f"{name}: {words}" for name, words in SOURCES.items() if name in used]
    return "; ".join(told) + "."


def _worked_out(answer: Answer) -> tuple[str, ...]:
    early = " (stopped early)" if answer.stopped else ""
    return (
        f"The shop's weeks were simulated batch by batch, {answer.runs} times over{early}, "
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


def _range(values: Spread, write) -> str:
    if values.p5 is None or values.p95 is None:
        return NOT_KNOWN
    low, high = write(values.p5), write(values.p95)
    return low if low == high else f"{low} to {high}"


def _weeks(value: float | None) -> str:
    return "never" if value is None else f"{value:.0f}"


def refuse_other_papers(paper: str) -> None:
    """ValueError for a paper that is none of PAPERS."""
    if paper not in PAPERS:
        raise ValueError(f"paper is {paper!r}; it must be one of {', '.join(PAPERS)}")
