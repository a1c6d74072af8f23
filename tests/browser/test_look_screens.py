"""The screens that answer a question, in a real browser: seen whole at phone and desktop size."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE, fits, new_page

CHART = "[data-testid='stVegaLiteChart']"
TABLE = ".figures .rows"
SCREENS = {
    "batch-minutes": ("A batch's minutes", "minutes per good piece"),
    "getting-faster": ("Getting faster", "pieces made so far"),
    "keeping-pace": ("Keeping pace", "percent of the week's hours"),
    "putting-right": ("Putting right", "USD a week"),
    "piece-cost": ("What a piece costs", "USD per good piece"),
}


def open_screen(app, page, path):
    page.goto(f"{app}/{path}")
    page.get_by_role("heading", name=SCREENS[path][0], exact=True).wait_for()
    page.locator(f"{CHART} svg").first.wait_for()
    page.get_by_text("How this was worked out").wait_for()


slow = pytest.mark.slow
SIZES = (("phone", PHONE, ()), ("desktop", DESKTOP, slow))
FIRST = {"batch-minutes", "getting-faster", "putting-right"}  # of three kinds; all in the slow run


@pytest.fixture(
    scope="module",
    params=[
        pytest.param((path, size), id=f"{path}-{name}", marks=marks if path in FIRST else slow)
        for path in SCREENS
        for name, size, marks in SIZES
    ],
)
def drawn(request, app, browser):
    """A screen and its page, opened once for all tests that only look."""
    path, size = request.param
    with new_page(browser, size) as page:
        open_screen(app, page, path)
        yield path, page


def test_the_answer_and_its_chart_are_drawn_with_axis_words(drawn):
    path, page = drawn
    chart = page.locator(f"{CHART} svg").first
    chart.get_by_text(SCREENS[path][1], exact=True).wait_for()
    expect(page.get_by_text("Traceback")).to_have_count(0)
    expect(page.get_by_test_id("stException")).to_have_count(0)


def test_nothing_is_cut_off_at_the_side(drawn):
    _, page = drawn
    fits(page)
    width = page.viewport_size["width"]
    box = page.locator(f"{CHART} svg").first.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= width + 1
    # A label beyond the chart's edge would be clipped.
    outside = page.locator(f"{CHART} svg").first.evaluate(
        """svg => { const edge = svg.getBoundingClientRect();
        return [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
          .filter(t => { const b = t.getBoundingClientRect();
            return b.left < edge.left - 1 || b.right > edge.right + 1; })
          .map(t => t.textContent); }"""
    )
    assert outside == []


def test_the_words_of_breaks_stand_clear_of_each_other(app, page):
    open_screen(app, page, "getting-faster")
    boxes = page.locator(f"{CHART} svg").first.evaluate(
        """svg => [...svg.querySelectorAll('text')].filter(t => t.textContent.endsWith('away'))
          .map(t => t.getBoundingClientRect()).map(b => [b.left, b.right, b.top, b.bottom])"""
    )
    assert len(boxes) == 2
    (left, right, top, bottom), (left2, right2, top2, bottom2) = boxes
    assert right <= left2 or right2 <= left or bottom <= top2 + 3 or bottom2 <= top + 3


def test_letters_on_the_chart_are_at_least_twelve_pixels_high(drawn):
    _, page = drawn
    smallest = page.locator(f"{CHART} svg").first.evaluate(
        """svg => Math.min(...[...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
          .map(t => parseFloat(getComputedStyle(t).fontSize)))"""
    )
    assert smallest >= 12


def test_a_screen_reader_is_given_the_chart_in_words(drawn):
    _, page = drawn
    svg = page.locator(f"{CHART} svg").first
    label = svg.get_attribute("aria-label") or page.locator(
        f"{CHART} [aria-label]"
    ).first.get_attribute("aria-label")
    assert any(character.isdigit() for character in label)


def test_a_trade_term_is_explained_by_touch_and_by_keyboard(app, page):
    open_screen(app, page, "keeping-pace")
    meaning = page.get_by_text("divided by the pieces wanted in it")
    term = page.locator("summary", has_text="takt time")
    term.click()
    meaning.wait_for()
    page.locator("summary", has_text="bottleneck").click()
    meaning.wait_for(state="hidden")  # one is open at a time
    term.focus()
    page.keyboard.press("Enter")
    meaning.wait_for()


def test_the_table_can_be_taken_home_as_csv(app, page):
    open_screen(app, page, "keeping-pace")
    with page.expect_download() as download:
        page.get_by_role("link", name="This table as a file (CSV)").first.click()
    text = download.value.path().read_text("utf-8-sig")
    assert text.startswith("who or what,hours asked for a week")
    assert len(text.splitlines()) > 1


def test_a_phone_reads_the_columns_that_matter_without_scrolling_sideways(drawn):
    _, page = drawn
    if page.viewport_size["width"] > 640:
        pytest.skip("for a phone's width")
    assert page.locator(TABLE).count() > 0
    for table in page.locator(TABLE).all():
        if table.is_visible():
            assert table.evaluate("rows => rows.scrollWidth <= rows.clientWidth")


def test_a_phone_reads_the_other_columns_after_a_tap(app, page):
    if page.viewport_size["width"] > 640:
        pytest.skip("for a phone's width")
    open_screen(app, page, "piece-cost")
    shown = "rows => [...rows.querySelectorAll('thead th')].filter(h => h.offsetWidth).length"
    few = page.locator(TABLE).first.evaluate(shown)
    page.get_by_label("All columns").first.check()
    page.wait_for_function(f"few => ({shown})(document.querySelector('{TABLE}')) > few", arg=few)


def test_no_table_offers_a_file_that_a_spreadsheet_would_run(app, page):
    """A drawn table's own toolbar writes text as it stands; only our button guards it."""
    page.goto(f"{app}/laps")
    table = page.locator("[data-testid='stDataFrame']").first
    table.hover()
    page.get_by_role("button", name="Search").first.wait_for()
    assert page.get_by_role("button", name="Download as CSV").count() == 0


def test_the_answer_is_the_heading_below_the_title(drawn):
    _, page = drawn
    ranks = page.locator("[data-testid='stMain']").locator("h1, h2, h3, h4, h5, h6")
    ranks = ranks.evaluate_all("all => all.map(one => Number(one.tagName[1]))")
    assert ranks[:2] == [1, 2]
    assert all(then - first <= 1 for first, then in zip(ranks, ranks[1:], strict=False)), ranks


def test_the_cost_of_another_piece_is_told_when_it_is_chosen(app, page):
    open_screen(app, page, "piece-cost")
    page.get_by_role("combobox", name="Piece").click()
    page.get_by_role("option", name="pocket notebook, linen").click()
    page.get_by_role(
        "heading", name="A good piece of pocket notebook, linen costs about"
    ).wait_for()


def test_a_choice_changes_the_answer(app, page):
    open_screen(app, page, "getting-faster")
    page.get_by_role("combobox", name="Product").click()
    page.get_by_role("option", name="pocket notebook").click()
    # The operations listed are the other product's until its answer (in batches of 50) is there.
    page.get_by_text("the next batch of 50 takes").wait_for()
    page.get_by_role("combobox", name="Operation").click()
    page.get_by_role("option", name="fold sections").click()
    page.get_by_role("heading", name="For fold sections").wait_for()


@pytest.mark.slow  # test_people.py asks the same of every screen, of one kind of reader each
@pytest.mark.parametrize("path", SCREENS)
def test_nobody_meets_a_barrier_in_an_answer(app, page, path):
    """axe-core finds no serious or critical fault against WCAG 2.2 A and AA beside the menu, which
    is the library's own."""
    open_screen(app, page, path)
    page.locator("summary").first.click()
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, context="[data-testid='stMain']", options=rules).response["violations"]
    grave = [fault for fault in found if fault["impact"] in ("serious", "critical")]
    assert [(fault["id"], fault["nodes"][0]["html"]) for fault in grave] == []


def test_an_empty_workshop_is_told_the_next_step(app, page):
    for path in SCREENS:
        page.goto(f"{app}/{path}?workshop=mine")
        page.get_by_text("Next step: drop in a file of laps").wait_for()
        timing = page.get_by_test_id("stMain").get_by_role("link", name="Start timing")
        expect(timing).to_have_attribute("href", re.compile("/bench$"))
        assert page.locator("[data-testid='stException']").count() == 0


def test_parts_beside_the_open_one_keep_their_edge(app, page):
    """On a phone the part after the open one may be the first of the next row."""
    page.goto(f"{app}/shop?shop_part=Costs")
    before, after = (page.get_by_role("radio", name=name) for name in ("People", "Allowances"))
    expect(after).not_to_have_css("border-left-color", "rgba(0, 0, 0, 0)")
    expect(before).not_to_have_css("border-right-color", "rgba(0, 0, 0, 0)")
