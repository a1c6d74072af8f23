"""Putting right in a real browser: each part's chart stands whole at phone and desktop size."""

from urllib.parse import quote

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import fits
from tests.browser.test_look_screens import CHART

DRAWN = {
    "Pace": "percent of the time expected",
    "Care that pays later": "percent of the time expected at glue spine",
    "Try it": "seconds a piece",
    "Week by week": "week beginning",
}
OUTSIDE = """svg => { const edge = svg.getBoundingClientRect();
    return [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
      .filter(t => { const b = t.getBoundingClientRect();
        return b.left < edge.left - 1 || b.right > edge.right + 1; })
      .map(t => t.textContent); }"""


def open_part(app, page, part):
    page.goto(f"{app}/putting-right?putting_right_part={quote(part)}")
    page.get_by_text("How this was worked out").wait_for()


@pytest.mark.parametrize("part", DRAWN)
def test_each_part_s_chart_is_drawn_whole_with_its_axis_in_words(app, page, part):
    open_part(app, page, part)
    chart = page.locator(f"{CHART} svg").nth(1)
    chart.get_by_text(DRAWN[part], exact=True).wait_for()
    assert chart.evaluate(OUTSIDE) == []
    fits(page)
    expect(page.get_by_test_id("stException")).to_have_count(0)


def test_a_slider_moved_by_keyboard_says_what_more_time_would_do(app, page):
    open_part(app, page, "Try it")
    page.get_by_text("Move the slider to give it more, or less").wait_for()
    slider = page.get_by_role("slider", name="Seconds more for a piece")
    slider.focus()
    page.keyboard.press("ArrowRight")
    page.get_by_text("s more a piece (").wait_for()
    page.get_by_text("more at the bench").wait_for()


def test_where_faults_were_made_is_a_tap_away_from_where_they_were_found(app, page):
    open_part(app, page, "Pace")
    rows = page.get_by_role("region", name="What faults cost a week, by cause")
    rows.get_by_role("rowheader", name="torn section").wait_for()
    page.get_by_role("radio", name="where they were made").or_(
        page.get_by_role("button", name="where they were made")
    ).first.click()
    rows = page.get_by_role("region", name="What faults cost a week, where they were made")
    rows.get_by_role("rowheader", name="glue spine").wait_for()
