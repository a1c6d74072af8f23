"""What a newcomer sees and does, in a real browser against a real server."""

import csv
import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE, fits, running_app

SAMPLES = Path(__file__).parents[2] / "data_samples"
CHART = "[data-testid='stVegaLiteChart'] canvas, [data-testid='stVegaLiteChart'] svg"


@pytest.fixture
def newcomer(tmp_path, demo):
    """The app with an empty store of its own for one test."""
    with running_app(tmp_path, demo) as address:
        yield address


def own_file(folder: Path) -> Path:
    """Three weeks of a workshop nobody else has: 10, 20 and 30 boxes folded."""
    path = folder / "boxes.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["started_at", "seconds", "product", "operation", "units"])
        for week in range(3):
            for day in range(5):
                began = date(2026, 2, 2) + timedelta(days=7 * week + day)
                units = 2 * (week + 1)
                for hour, operation in enumerate(("cut", "glue", "fold"), 8):
                    seconds = 300 * units + 10 * day
                    rows.writerow([f"{began}T{hour:02}:00", seconds, "card box", operation, units])
    return path


def open_page(page, address: str, name: str) -> None:
    """Open a screen by its address and wait until it has been drawn whole."""
    page.goto(address)
    page.get_by_role("heading", name=name, exact=True).wait_for()
    settled(page)


def settled(page) -> None:
    """Wait until the server has nothing more to draw."""
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for()


def drop(page, label: str, file: Path) -> None:
    page.get_by_test_id("stFileUploader").filter(has_text=label).locator("input").set_input_files(
        file
    )


def test_newcomer_sees_a_working_week_of_the_demo_bindery(app, page):
    open_page(page, app, "This week")
    page.get_by_text("good pieces in").first.wait_for()
    page.get_by_text("The biggest leak is").wait_for()
    page.locator(CHART).first.wait_for()
    expect(page.get_by_text("Demo bindery").first).to_be_attached()
    timing = page.get_by_test_id("stMain").get_by_role("link", name="Start timing")
    expect(timing).to_have_attribute("href", re.compile("/bench$"))
    expect(page.get_by_text("Traceback")).to_have_count(0)
    fits(page)


def test_the_first_page_answers_to_its_own_name(app, page):
    open_page(page, f"{app}/this-week", "This week")
    expect(page.get_by_text("Page not found")).to_have_count(0)


@pytest.mark.parametrize(
    "page, then",
    [("phone", DESKTOP), pytest.param("desktop", PHONE, marks=pytest.mark.slow)],
    indirect=["page"],
    ids=["phone then desktop", "desktop then phone"],
)
def test_newcomer_comes_with_a_bad_file_then_their_own_mends_a_lap_and_says_what_is_asked_for(
    newcomer, page, then, tmp_path
):
    """One newcomer's first hour in one empty workshop, chapter by chapter, at one screen and then
    at another: between them the two walks take every chapter at both sizes."""
    bad_file_is_refused_with_its_faults_and_the_list_to_take_away(newcomer, page)
    own_file_is_dropped_and_an_answer_about_it_read(newcomer, page, own_file(tmp_path))
    page.set_viewport_size(then)
    demand_typed_in_on_shop_moves_keeping_pace(newcomer, page)
    a_lap_is_mended_and_the_mending_undone(newcomer, page)


def bad_file_is_refused_with_its_faults_and_the_list_to_take_away(newcomer, page):
    open_page(page, newcomer, "This week")
    drop(page, "Drop in your own laps (CSV)", SAMPLES / "messy_laps.csv")
    page.get_by_text("was not taken in: 11 faults").wait_for()
    page.get_by_text("Row 3: seconds is not a number").wait_for()
    with page.expect_download() as download:
        page.get_by_role("button", name="Download the list of faults").click()
    listed = Path(download.value.path()).read_text(encoding="utf-8").splitlines()
    assert len(listed) == 11
    assert listed[0].startswith("messy_laps.csv:3: seconds:")
    open_page(page, f"{newcomer}/laps?workshop=mine", "Laps")
    page.get_by_text("No laps on record yet").wait_for()


def own_file_is_dropped_and_an_answer_about_it_read(newcomer, page, file):
    open_page(page, newcomer, "This week")
    drop(page, "Drop in your own laps (CSV)", file)
    page.get_by_text("45 new laps, 0 already there").wait_for()
    page.get_by_text(re.compile("30 good pieces in")).wait_for()
    expect(page.get_by_text("an invented workshop")).to_have_count(0)
    fits(page)


def demand_typed_in_on_shop_moves_keeping_pace(newcomer, page):
    open_page(page, f"{newcomer}/keeping-pace", "Keeping pace")
    page.get_by_text("How many pieces are wanted a week is not known yet").wait_for()
    open_page(page, f"{newcomer}/shop", "Shop")
    type_demand(page, "40")
    open_page(page, f"{newcomer}/keeping-pace", "Keeping pace")
    page.get_by_text(re.compile("A week's demand asks for about .* hours")).wait_for()
    open_page(page, newcomer, "This week")
    page.get_by_text("good pieces in").first.wait_for()
    expect(page.get_by_text(re.compile("how many are asked for a week;"))).to_have_count(0)


def a_lap_is_mended_and_the_mending_undone(newcomer, page):
    open_page(page, f"{newcomer}/laps", "Laps")
    tick_first_lap(page)
    page.get_by_label("Pieces", exact=True).fill("60")
    page.get_by_role("button", name="Save correction").click()
    page.get_by_text("Saved: one lap corrected.").wait_for()
    page.get_by_role("radio", name="Changes").click()
    named = "^Corrected: lap of .*, card box, .*February.* 2026, .*: pieces"
    page.get_by_text(re.compile(named)).wait_for()
    page.get_by_role("button", name="Undo", exact=True).first.click()
    page.get_by_text("Taken back: Corrected: lap").wait_for()
    open_page(page, newcomer, "This week")
    page.get_by_text(re.compile("30 good pieces in")).wait_for()


def tick_first_lap(page) -> None:
    """Tick the first row: the table is a drawing, so its box is found by its place."""
    table = page.get_by_test_id("stDataFrame").first
    table.locator("canvas").first.wait_for()
    table.scroll_into_view_if_needed()
    table.click(position={"x": 16, "y": 52})
    page.get_by_role("button", name="Save correction").wait_for()


def type_demand(page, pieces: str) -> None:
    """Type into the first row of Products, where the laps have put the product's name."""
    table = page.get_by_test_id("stDataFrame").first
    table.locator("canvas").first.wait_for()
    table.scroll_into_view_if_needed()
    table.dblclick(position={"x": 240, "y": 52})  # the column "Asked for a week"
    page.locator("input.gdg-input").fill(pieces)
    page.keyboard.press("Enter")
    page.locator("input.gdg-input").wait_for(state="detached")
    # The table hands on what was typed 150 ms later, unseen; nobody's hand is quicker than that.
    page.wait_for_timeout(400)
    page.get_by_role("button", name="Save products").click()
    page.get_by_text("Saved: products.").wait_for()
    page.get_by_text(f"{pieces} pieces asked for a week").wait_for()


def test_export_gives_back_every_lap(app, page):
    open_page(page, f"{app}/laps", "Laps")
    page.get_by_role("radio", name="Take in").click()
    page.get_by_text("A CSV file of laps.").wait_for()
    page.keyboard.press("ArrowRight")  # a keyboard goes through the parts as it does elsewhere
    page.keyboard.press("Space")
    page.get_by_role("radio", name="Set aside", checked=True).wait_for()
    open_page(page, f"{app}/laps?laps_part=Export", "Laps")
    with page.expect_download() as download:
        page.get_by_role("button", name=re.compile("Download .* laps")).click()
    with open(download.value.path(), encoding="utf-8-sig", newline="") as file:
        exported = {row["lap_id"] for row in csv.DictReader(file)}
    with (SAMPLES / "laps.csv").open(encoding="utf-8", newline="") as file:
        assert exported == {row["lap_id"] for row in csv.DictReader(file)}


@pytest.mark.parametrize(("path", "name"), [("laps", "Laps"), ("shop", "Shop")])
def test_every_screen_to_work_on_opens_by_its_address_and_fits_the_window(app, page, path, name):
    """Those that answer a question: test_look_screens.py."""
    open_page(page, f"{app}/{path}", name)
    expect(page.get_by_text("Traceback")).to_have_count(0)
    fits(page)
