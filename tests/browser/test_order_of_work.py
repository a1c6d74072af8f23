"""Order of work in a real browser, at phone and desktop size: drawn, moved by hand, taken home."""

import pytest
from icalendar import Calendar
from playwright.sync_api import expect

from tests.browser.conftest import fits, running_app
from tests.browser.test_people import barriers

CHART = "[data-testid='stVegaLiteChart']"
TABS = {
    "The batch": ("are done on", "time on the clock"),
    "Batch size": ("in batches of", "pieces in a batch"),
    "Two people": ("somebody waits", "minutes per piece"),
    "What to make": ("", ""),
}
SEARCHED = 240_000  # milliseconds that a search may take on a busy machine
ALL_SEARCHED = 1_200_000  # and the whole search of the program itself


def open_tab(app, page, tab="The batch", patience=SEARCHED):
    page.goto(f"{app}/order-of-work?order_part={tab.replace(' ', '+')}")
    page.locator("[data-testid='stMain'] h2").first.wait_for(timeout=patience)
    page.get_by_text("How this was worked out").wait_for()
    page.get_by_role("button", name="Stop here").wait_for(state="hidden", timeout=patience)
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for()


@pytest.mark.parametrize(
    "tab", ["The batch", *(pytest.param(tab, marks=pytest.mark.slow) for tab in list(TABS)[1:])]
)
def test_each_part_is_drawn_whole_and_is_no_barrier(app, page, tab):
    open_tab(app, page, tab)
    answer, axis = TABS[tab]
    expect(page.locator("[data-testid='stMain'] h2").first).to_contain_text(answer)
    expect(page.get_by_test_id("stException")).to_have_count(0)
    fits(page)
    if axis:
        svg = page.locator(f"{CHART} svg").first
        svg.get_by_text(axis, exact=True).wait_for()
        box = svg.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= page.viewport_size["width"] + 1
    assert barriers(page) == []


def test_a_block_is_moved_by_keyboard_and_back_by_a_tap(app, page):
    open_tab(app, page)
    page.get_by_text("Move a block earlier or later").click()
    later = page.get_by_role("button", name="Later", exact=True)
    later.focus()
    page.keyboard.press("Enter")
    told = page.get_by_text("Costs nothing").or_(page.get_by_text("in the plan.")).or_(
        page.get_by_text("cannot come later")
    )  # fmt: skip
    told.first.wait_for()
    page.get_by_role("button", name="Back to the plan").click()
    page.get_by_text("Nothing moved: this is the plan.").wait_for()


def test_fewer_blocks_are_chosen_and_the_answer_follows(app, page):
    open_tab(app, page)
    choices = page.get_by_role("radiogroup").filter(has_text="blocks").locator("label")
    quickest = choices.filter(has_text="the quickest")
    blocks = quickest.inner_text().split()[0]
    quickest.click()
    page.get_by_text(f"{blocks} blocks to remember").wait_for()


def test_the_plan_goes_into_a_calendar_and_onto_the_wall(app, page):
    open_tab(app, page)
    with page.expect_download() as download:
        page.get_by_role("button", name="For the calendar (.ics)").click()
    events = Calendar.from_ical(download.value.path().read_bytes()).walk("VEVENT")
    assert len(events) > 5
    with page.expect_download() as download:
        page.get_by_role("button", name="Work card to print (HTML)").click()
    card = download.value.path().read_text()
    page.set_content(card)
    assert page.get_by_role("columnheader", name="time").count() == 1
    assert page.locator("td.box").count() == len(events)
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def test_a_workshop_without_a_route_is_told_the_next_step(app, page):
    page.goto(f"{app}/order-of-work?workshop=mine")
    page.get_by_text("The order of work needs a route").wait_for()
    page.get_by_text("Write the route on Shop").wait_for()


@pytest.mark.slow  # the whole search; above, the program looks for a shorter time
def test_the_program_as_it_is_looks_to_the_end_and_says_why(tmp_path, demo, page):
    with running_app(tmp_path, demo) as address:
        open_tab(address, page, patience=ALL_SEARCHED)
        page.get_by_text("Why this order").wait_for()
