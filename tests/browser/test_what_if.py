"""What if in a real browser, at phone and desktop size: asked, changed, compared, taken home."""

import tomllib

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import fits, running_app
from tests.browser.test_people import barriers

CHART = "[data-testid='stVegaLiteChart']"
PARTS = ("The answer", "Change it", "Side by side", "Memo and files")
PLAYED = 240_000  # milliseconds that the runs may take on a busy machine
ALL_PLAYED = 1_200_000  # and all runs that the program itself makes


def open_part(app, page, part="The answer", query="", patience=PLAYED):
    page.goto(f"{app}/what-if?what_if_part={part.replace(' ', '+')}{query}")
    settled(page, patience)


def settled(page, patience=PLAYED):
    """Wait until everything is played through and drawn."""
    page.locator("[data-testid='stMain'] h2").first.wait_for(timeout=patience)
    page.get_by_text("The first runs are being made").wait_for(state="hidden", timeout=patience)
    page.get_by_role("button", name="Stop here").wait_for(state="hidden", timeout=patience)
    page.get_by_text("fully played through").wait_for(state="hidden", timeout=patience)
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for()
    page.locator("[data-stale='true']").first.wait_for(state="hidden")  # pale while drawn anew


def answer(page):
    return page.locator("[data-testid='stMain'] h2").first


@pytest.mark.parametrize(
    "part", [*PARTS[:2], *(pytest.param(part, marks=pytest.mark.slow) for part in PARTS[2:])]
)
def test_each_part_is_drawn_whole_and_is_no_barrier(app, page, part):
    open_part(app, page, part)
    expect(answer(page)).to_contain_text("A second helper, eight hours a week.")
    expect(page.get_by_test_id("stException")).to_have_count(0)
    fits(page)
    for table in page.locator(".figures .rows").all():
        if table.is_visible():
            assert table.evaluate("rows => rows.scrollWidth <= rows.clientWidth")
    assert barriers(page) == []


def test_the_money_is_drawn_with_axis_words_and_no_jargon_stands_before_the_fold(app, page):
    open_part(app, page)
    svg = page.locator(f"{CHART} svg").first
    svg.get_by_text("weeks from the start", exact=True).wait_for()
    box = svg.bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= page.viewport_size["width"] + 1
    read = page.locator("[data-testid='stMain']").inner_text()
    for word in ("percentile", "tornado", "NPV"):
        assert word not in read
    page.get_by_text("How this was worked out").click()
    page.get_by_text("In plain words.").wait_for()
    # While it unfolds it is 40 pixels high, and what scrolls to a click scrolls within these.
    page.wait_for_function("!document.querySelector('details[open][style*=height]')")
    page.locator("summary", has_text="tornado chart").click()
    expect(page.get_by_text("Bars that show how far each assumption")).to_be_visible()


def test_a_figure_is_changed_by_keyboard_and_the_answer_follows(app, page):
    open_part(app, page, "Change it")
    hours = page.get_by_role("spinbutton", name="Hours a week")
    hours.fill("12")
    hours.press("Enter")
    page.get_by_text("A second helper, 12 hours a week at 17 USD an hour").wait_for()
    settled(page)
    hours.fill("0")
    hours.press("Enter")
    page.get_by_text("Hours a week: leaves no hours to work").first.wait_for()
    settled(page)  # while the form is drawn anew, the field stands there twice
    fault = page.get_by_test_id("stAlert").filter(has_text="leaves no hours to work")
    around = page.get_by_test_id("stVerticalBlock").filter(has=hours).filter(has=fault).last
    expect(around.locator("input")).to_have_count(1)  # below its own field, not below them all
    hours.fill("8")
    hours.press("Enter")
    page.get_by_text("A second helper, 8 hours a week at 17 USD an hour").wait_for()


def test_the_form_is_one_tap_from_the_answers_sentence(app, page):
    open_part(app, page)
    expect(page.get_by_role("radio", name="Change it")).to_be_in_viewport()


def test_what_is_proposed_is_said_at_its_field_until_it_is_confirmed(app, page):
    open_part(app, page, "Change it")
    page.get_by_role("button", name="Demand", exact=True).last.click()
    page.get_by_role("heading", name="More is asked for").wait_for()
    settled(page)
    page.get_by_text("Asked for, % of today: 110 to 130").wait_for()
    factor = page.get_by_role("textbox", name="Asked for, % of today")
    mark = page.get_by_text("proposed; yours to set")
    around = page.get_by_test_id("stVerticalBlock").filter(has=factor).filter(has=mark).last
    expect(around.locator("input")).to_have_count(1)
    page.get_by_role("button", name="What is proposed here is right").click()
    mark.wait_for(state="hidden")
    page.get_by_role("button", name="Remove this one").click()  # one list for both sizes
    page.get_by_role("button", name="Bring back").wait_for()


def test_how_far_is_looked_ahead_is_seen_beside_each_scenario(app, page):
    open_part(app, page, "Side by side")
    page.get_by_role("columnheader", name="looked ahead").wait_for()


def test_a_machine_is_asked_for_its_price_and_a_removal_is_undone(app, page):
    open_part(app, page, "Change it")
    page.get_by_role("button", name="Machine", exact=True).last.click()
    page.get_by_text("One thing more").wait_for()
    settled(page)
    price = page.get_by_role("textbox", name="Price (USD)")
    price.fill("800-1200")
    price.press("Enter")
    page.get_by_text("for 800 to 1,200 USD").wait_for()
    settled(page)
    page.get_by_role("button", name="Remove this one").click()
    undo = page.get_by_role("button", name="Bring back")
    undo.click()
    undo.wait_for(state="hidden")
    page.get_by_text("for 800 to 1,200 USD").wait_for()


def test_page_and_scenario_are_taken_home(app, page):
    open_part(app, page, "Memo and files")
    with page.expect_download() as download:
        page.get_by_role("button", name="Page to print (PDF)").click()
    assert download.value.suggested_filename == "a_second_helper_eight_hours_a_week.pdf"
    assert download.value.path().read_bytes().startswith(b"%PDF-")
    with page.expect_download() as download:
        page.get_by_role("button", name="Page for a browser (HTML)").click()
    assert "second helper" in download.value.path().read_text()
    with page.expect_download() as download:
        page.get_by_role("button", name="Scenario (TOML)").click()
    tables = tomllib.loads(download.value.path().read_text())
    assert tables["helper"]["hours_per_week"] == 8


def test_a_scenario_put_in_joins_the_list_and_a_faulty_one_is_told_by_line(app, page):
    open_part(app, page, "Memo and files")
    upload = page.locator("input[type='file']")
    faulty = b"[helper]\nhours_per_week = 0\ncost_per_hour = 18\n"
    upload.set_input_files({"name": "f.toml", "mimeType": "text/plain", "buffer": faulty})
    page.get_by_text("Row 2: helper.hours_per_week leaves no hours to work").wait_for()
    name = f"Saturdays at {page.viewport_size['width']}"  # one list for both pages of this server
    good = f'[scenario]\nname = "{name}"\n[helper]\nhours_per_week = 5\ncost_per_hour = 18\n'
    upload.set_input_files({"name": "g.toml", "mimeType": "text/plain", "buffer": good.encode()})
    page.get_by_role("heading", name=f"{name}.").wait_for(timeout=PLAYED)


def test_an_empty_workshop_is_told_the_next_step(app, page):
    page.goto(f"{app}/what-if?workshop=mine")
    page.get_by_text("Next step: drop in a file of laps").wait_for()
    expect(page.get_by_test_id("stException")).to_have_count(0)


@pytest.mark.slow  # minutes of simulated weeks; above, the program plays fewer of them
def test_all_runs_of_the_program_as_it_is_are_played_through(tmp_path, demo, page):
    with running_app(tmp_path, demo) as address:
        open_part(address, page, patience=ALL_PLAYED)
        expect(answer(page)).to_contain_text("A second helper, eight hours a week.")
        expect(page.get_by_test_id("stMain")).to_contain_text("From 200 runs")
