"""The HTML page in a real browser: printed on one or two sheets, read on a phone."""

import io

import pytest
from playwright.sync_api import sync_playwright
from pypdf import PdfReader

from analysis.memo.html import memo_html
from tests.memo.pages import BY_SCENARIO, HOSTILE, LONG, named, sample_answer
from tests.memo.test_memo import DAY, SHOP, SIZES, squeezed

PHONE = {"width": 390, "height": 844}


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        yield launched
        launched.close()


@pytest.fixture
def opened(browser, tmp_path):
    """Opens a page from its file; what it asked for and complained about."""
    page, asked, said = browser.new_page(viewport=PHONE), [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("dialog", lambda dialog: said.append(dialog.message))

    def open_(html):
        file = tmp_path / "memo.html"
        file.write_text(html)
        page.goto(file.as_uri())
        assert asked == [file.as_uri()] and said == []
        return page

    yield open_
    page.close()


# Letter is the shorter sheet.
@pytest.mark.parametrize("paper", ["letter", pytest.param("a4", marks=pytest.mark.slow)])
@pytest.mark.parametrize("scenario", BY_SCENARIO)
def test_it_prints_on_one_or_two_numbered_sheets(opened, scenario, paper):
    page = opened(memo_html(sample_answer(scenario), SHOP, DAY, paper))
    sheets = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    assert 1 <= len(sheets) <= 2
    for number, sheet in enumerate(sheets, 1):
        assert (sheet.mediabox.width, sheet.mediabox.height) == pytest.approx(SIZES[paper], abs=1)
        assert f"page{number}of{len(sheets)}" in squeezed(sheet.extract_text())


@pytest.mark.parametrize("name", [HOSTILE, LONG], ids=["hostile", "long"])
def test_any_name_is_shown_whole_and_runs_nothing(opened, name):
    page = opened(memo_html(named(name), name, DAY))
    assert page.inner_text("h1") == " ".join(name.split())
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_it_can_be_read_on_a_phone(opened):
    page = opened(memo_html(sample_answer("what_if_move"), SHOP, DAY))
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.locator("figure svg").count() == 2
