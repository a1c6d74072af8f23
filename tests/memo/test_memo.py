"""The page to hand over: all of it there, safe, the same each time, on one or two sheets."""

import contextvars
import dataclasses
import io
import json
import re
from datetime import date
from html import unescape
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from analysis.charts.decision import movers_chart
from analysis.decisions.answer import GIVEN_UP, HELPER, ORDERS, SURE, WORTH, Spread
from analysis.decisions.money import NORMAL_95
from analysis.memo.html import css_text, memo_html
from analysis.memo.page import PAPERS, page_of
from analysis.memo.pdf import BREAK_HERE, memo_pdf
from analysis.records.figures import GERMAN, write_as
from analysis.records.scenario import Equipment, sure
from tests.decisions.test_what_if import SHORT
from tests.decisions.test_what_if import answer as asked
from tests.memo.pages import BY_SCENARIO, HOSTILE, LONG, named, sample_answer

SHOP, DAY = "Garage bindery", date(2026, 11, 25)
# Widths and heights in points: ISO 216 A4, 210 x 297 mm; ANSI/ASME Y14.1 A, 8.5 x 11 in.
SIZES = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}


class Told(HTMLParser):
    """The words a browser would show, and the elements and attributes it would make."""

    def __init__(self, text):
        super().__init__()
        self.words, self.tags, self.attributes, self.within = [], set(), set(), []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.within.append(tag)

    def handle_endtag(self, tag):
        while self.within and self.within.pop() != tag:
            pass

    def handle_data(self, data):
        if "style" not in self.within:
            self.words.append(data)


def words_of(html):
    return squeezed("".join(Told(html).words))


def pdf_words(pdf):
    return squeezed("".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages))


def squeezed(text):
    """Without white space and the places to break, which lines may put anywhere."""
    return re.sub(r"\s", "", text.replace(BREAK_HERE, ""))


def all_texts(page):
    """Every text of a page, its drawings' markup left out."""

    def walk(value):
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            for name, part in value.items():
                if name not in ("svg", "said"):
                    yield from walk(part)
        else:
            for part in value:
                yield from walk(part)

    return list(walk(dataclasses.asdict(page)))


@pytest.fixture(scope="module", params=BY_SCENARIO)
def answer(request):
    return sample_answer(request.param)


@pytest.fixture(scope="module")
def page(answer):
    return page_of(answer, SHOP, DAY)


@pytest.fixture(scope="module")
def html(answer):
    return memo_html(answer, SHOP, DAY)


@pytest.fixture(scope="module")
def printed(answer):
    """By the paper's name."""
    return {paper: memo_pdf(answer, SHOP, DAY, paper) for paper in PAPERS}


@pytest.mark.parametrize("paper", PAPERS)
def test_it_takes_one_or_two_sheets_of_the_paper_asked_for(printed, paper):
    pages = PdfReader(io.BytesIO(printed[paper])).pages
    assert 1 <= len(pages) <= 2
    for page in pages:
        assert (page.mediabox.width, page.mediabox.height) == pytest.approx(SIZES[paper], abs=0.2)


def test_every_word_of_the_page_is_in_both_faces(page, html, printed):
    texts = [squeezed(text) for text in all_texts(page)]
    pdf, html = pdf_words(printed["a4"]), words_of(html)
    assert len(texts) > 60
    assert [text for text in texts if text not in html] == []
    # A text that a new sheet cuts in two has header and footer between its halves.
    assert [text for text in texts if text[:40] not in pdf or text[-40:] not in pdf] == []


def test_question_answer_and_cautions_are_those_of_the_answer(answer, html):
    html = words_of(html)
    led = answer.about(WORTH, SURE, GIVEN_UP, HELPER, ORDERS)
    for text in (answer.name, answer.headline, *led, *answer.cautions, SHOP):
        assert squeezed(text) in html
    for mover in answer.movers[:3]:  # on the chart
        assert squeezed(mover.name) in html and squeezed(mover.low) in html
    assert "25November2026" in html


def test_sheets_are_numbered_and_carry_date_and_shop(html, printed):
    reader = PdfReader(io.BytesIO(printed["a4"]))
    for number, page in enumerate(reader.pages, 1):
        words = squeezed(page.extract_text())
        assert f"page{number}of{len(reader.pages)}" in words
        assert "25November2026" in words and squeezed(SHOP) in words
    assert 'counter(page) " of " counter(pages)' in html and css_text(SHOP) in html


def test_figures_in_the_table_are_the_answers_with_their_units(answer, page):
    rows = {row[0]: row[1:] for row in page.week}
    before, after, apart, between = rows["Pieces sold"]
    assert float(before) == pytest.approx(answer.baseline.sold_per_week.mean, abs=0.05001)
    assert float(after) == pytest.approx(answer.changed.sold_per_week.mean, abs=0.05001)
    assert number(apart) == pytest.approx(answer.difference.sold_per_week.mean, abs=0.10001)
    low, high = between.split(" to ")
    assert number(low) == pytest.approx(answer.difference.sold_per_week.p5, abs=0.05001)
    assert number(high) == pytest.approx(answer.difference.sold_per_week.p95, abs=0.05001)
    days = rows["A batch from start to end, by the clock, days"]
    assert float(days[0]) == pytest.approx(answer.baseline.lead_time_hours.mean / 24, abs=0.05001)
    assert any(name.endswith(", USD") for name in rows)


def test_break_even_chance_and_todays_demand_are_the_answers(answer, page):
    money = answer.money
    rows = {row[0]: row[1] for row in page.money}
    if money.break_even_searched_to and money.break_even_demand_per_week:
        said = rows["Pays from (break-even), pieces asked for a week"].split(" ")[0]
        assert number(said) == pytest.approx(money.break_even_demand_per_week, rel=0.005)
    if money.value_now is not None:
        said = number(rows["Gain at today's demand of 106 pieces a week, USD"].lstrip("+"))
        assert said == pytest.approx(money.value_now, rel=0.005)
    (error,) = (said for what, said in rows.items() if what.startswith("Chance error of that"))
    chance = number(error.lstrip("\N{PLUS-MINUS SIGN}"))
    assert chance == pytest.approx(NORMAL_95 * money.error, rel=0.005)
    words = " ".join(all_texts(page))
    for odd in ("tandard error", "give or take", "plugged in", "nine of ten cases"):
        assert odd not in words


def test_the_answer_is_led_by_short_points_in_their_order(answer, page):
    order = ["How sure", "If it is given up on the way", "An hour of help", "What is ordered",
             "What would settle it"]  # fmt: skip
    about = [label for label, _ in page.lead]
    assert about == [label for label in order if label in about] and about[0] == "How sure"
    assert "What would settle it" in about
    assert sum(len(text.split()) for _, text in page.lead) < 150


def test_the_money_is_listed_part_by_part_and_adds_up_as_it_is_printed(answer, page):
    *parts, total = page.bill
    for column in (2, 4):
        assert sum(number(row[column]) for row in parts) == number(total[column])
    assert number(total[4]) == pytest.approx(answer.money.net_present_value.mean, abs=0.5001)
    gain = next(row for row in page.money if "the figure to decide by" in row[0])
    assert number(gain[1].lstrip("+")) == pytest.approx(number(total[4]), rel=0.005)


def test_before_after_and_difference_agree_as_they_are_printed(page):
    for what, before, after, apart, _ in page.week:
        places = len(apart.partition(".")[2])
        assert round(number(after) - number(before), places) == number(apart), what


def test_the_cautions_are_headed_by_what_is_asked(answer, page):
    by_name = {
        "150 journals in ten weeks": "the helper is at work",
        "A second helper, eight hours a week": "the helper is at work",
        "A motor-driven sewing frame": "the machine is in use",
        "A room of its own": "the room is moved into",
    }
    assert page.cautions_heading == f"Before anything is signed or {by_name[answer.name]}"


def number(written):
    return float(written.replace("\N{MINUS SIGN}", "-").replace(",", ""))


def test_every_assumption_says_how_it_is_known(page):
    assert {source for *_, source in page.assumptions} == {
        part.split(":")[0] for part in page.sources.rstrip(".").split("; ")
    }


def test_what_never_happens_or_is_not_known_is_said_in_words(answer):
    nothing = Spread(None, None, None, None)
    money = dataclasses.replace(
        answer.money, payback_weeks=nothing, probability_of_payback=0.0,
        break_even_demand_per_week=None, break_even_searched_to=400.0,
    )  # fmt: skip
    weeks = {
        part: dataclasses.replace(getattr(answer, part), lead_time_hours=nothing)
        for part in ("baseline", "changed", "difference")
    }
    page = page_of(dataclasses.replace(answer, money=money, movers=(), **weeks), SHOP, DAY)
    words = "\n".join(all_texts(page))
    assert not re.search(r"\b(None|nan|inf)\b", words)
    assert "never" in words and "not known" in words and "none up to 400" in words
    assert len(page.pictures) == 1


def test_a_change_without_money_is_printed_without_a_list_of_it():
    nothing = asked(dataclasses.replace(SHORT, equipment=(Equipment(("sew",)),)))
    assert nothing.bill == ()
    assert squeezed("The money of this change") not in words_of(memo_html(nothing, SHOP, DAY))
    assert memo_pdf(nothing, SHOP, DAY).startswith(b"%PDF-")


def test_a_sum_that_is_the_same_in_every_run_is_not_said_to_be_so_in_one_of_twenty():
    whole = sample_answer("what_if_machine")
    money = dataclasses.replace(whole.money, deepest=1000.0, deepest_low=1000.0)
    cells = {}
    for answer in (whole, dataclasses.replace(whole, money=money)):
        cells[answer.money.deepest_low] = next(
            row[1:] for row in page_of(answer, SHOP, DAY).money if row[0].startswith("Most money")
        )
    assert cells.pop(1000.0) == ("1,000", "")
    ((_, between),) = cells.values()
    assert between.endswith(" or more in 1 of 20")


def test_a_screen_reader_hears_the_title_and_the_caption_of_a_picture(html, page):
    """What has the role of a picture is read as one, with nothing that stands in it."""
    for one in re.findall(r'<(\w+) role="img".*?</\1>', html, re.DOTALL):
        assert one == "div"
    outside = re.sub(r'<div role="img".*?</svg></div>', "", html, flags=re.DOTALL)
    for picture in page.pictures:
        assert squeezed(picture.title) in words_of(outside)
        assert squeezed(picture.caption) in words_of(outside)
        assert squeezed(picture.said) in squeezed("".join(labels(html)))


def labels(html):
    return map(unescape, re.findall(r'aria-label="([^"]*)"', html))


@pytest.mark.parametrize("mean", [2080.0, 3000.0, -1990.0, -2090.0])
def test_the_thick_line_is_explained_where_the_bars_have_one_and_not_elsewhere(mean):
    """The widest bar goes 2,000 to either side of the mean, the axis a little further."""
    whole = sample_answer("what_if_machine")
    wide = dataclasses.replace(
        whole.movers[0], value_at_low=mean - 2000.0, value_at_high=mean + 2000.0
    )
    worth = dataclasses.replace(whole.money.net_present_value, mean=mean)
    money = dataclasses.replace(whole.money, net_present_value=worth)
    answer = dataclasses.replace(whole, money=money, movers=(wide,))
    drawn = json.dumps(movers_chart(answer.movers, mean, "USD").to_dict())
    caption = page_of(answer, SHOP, DAY).pictures[1].caption
    assert ("A thick line is 0." in caption) == ('"thickness": 3.0' in drawn)
    assert ('"thickness": 3.0' in drawn) == (abs(mean) < 1.04 * 2000)


def test_what_loses_at_no_demand_is_not_said_to_pay_at_any():
    """A quicker frame for nothing, where all is sold already: nothing lost, and nothing gained."""
    free = Equipment(("sew",), time_factor=sure(0.5))
    rows = {
        row[0]: row[1]
        for row in page_of(asked(dataclasses.replace(SHORT, equipment=(free,))), SHOP, DAY).money
    }
    assert rows["Pays from (break-even), pieces asked for a week"] == "no loss at any looked at"


def test_it_asks_nothing_of_any_network_and_runs_nothing(html):
    assert not re.search(r"https?:|//\w|url\(|@import", html)
    told = Told(html)
    assert not told.tags & {"script", "link", "img", "iframe", "image", "use", "a"}
    assert not {name for name in told.attributes if name.startswith("on")}
    assert not told.attributes & {"src", "href", "xlink:href"}
    assert "default-src 'none'" in html


def test_hostile_names_stay_text_in_the_browser():
    tame, wild = memo_html(named("box"), SHOP, DAY), memo_html(named(HOSTILE), HOSTILE, DAY)
    assert Told(wild).tags == Told(tame).tags
    assert Told(wild).attributes == Told(tame).attributes
    assert wild.count("</style>") == 1
    words = words_of(wild)
    assert words.count(squeezed(HOSTILE)) >= 5  # title, shop, question, helper, product


def test_hostile_names_stay_text_in_the_pdf():
    words = pdf_words(memo_pdf(named(HOSTILE), HOSTILE, DAY))
    assert words.count(squeezed(HOSTILE)[:60]) >= 3
    assert squeezed("<script>alert(1)</script>*bold*_em_@ref$x^2$`raw`") in words


def test_a_css_text_holds_no_letter_that_css_or_html_could_read():
    assert re.fullmatch(r'"([A-Za-z0-9]|\\[0-9a-f]{6} )*"', css_text(HOSTILE + '"\n\\é漢'))
    assert css_text("a<") == '"a\\00003c "'


def test_a_word_longer_than_a_line_is_broken_not_cut():
    words = pdf_words(memo_pdf(named(LONG), LONG, DAY))
    assert LONG in words


def test_the_same_answer_gives_the_same_bytes(answer, html, printed):
    assert memo_pdf(answer, SHOP, DAY, "letter") == printed["letter"]
    assert memo_html(answer, SHOP, DAY) == html


def test_a_german_reader_reads_german_numbers_and_dates_and_unchanged_names():
    answer = dataclasses.replace(sample_answer("what_if_machine"), name="Frame 2.5")

    def german():
        write_as(GERMAN)
        return memo_html(answer, SHOP, DAY)

    html = contextvars.copy_context().run(german)
    assert "25.11.2026" in html and "Frame 2.5" in html
    assert re.search(r">\d\.\d{3}</td>", html), "thousands in the table"
    assert re.search(r">−?\d+\.000</text>", html), "thousands on the axis"
    assert not re.search(r">[+−]?\d+,\d{3}<", html)
    assert "25 November 2026" in memo_html(answer, SHOP, DAY), "the manner is the reader's alone"


def test_a_paper_nobody_has_is_refused():
    answer = sample_answer("what_if_move")
    for face in (memo_html, memo_pdf):
        with pytest.raises(ValueError, match="paper is 'a3'; it must be one of a4, letter"):
            face(answer, SHOP, DAY, "a3")
