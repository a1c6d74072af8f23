"""Every screen for everybody: in the dark, enlarged twice, on a phone, by keyboard, by ear, and
with numbers and dates as the reader's own country writes them."""

import json
import re
from contextlib import ExitStack, contextmanager

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from analysis.screens.frame import SCREENS
from tests.browser.conftest import DESKTOP, PHONE, fits, new_page

# In the accessibility tree, a control without a name: `- button` instead of `- button "…"`.
UNNAMED = (
    r"- (?:button|link|textbox|combobox|radio|checkbox|spinbutton|switch|slider|tab)\b(?! \").*"
)
CHART = "[data-testid='stVegaLiteChart']"
PATHS = {("" if path == "first" else path): title for _, _, title, path in SCREENS}
SIZES = {
    "phone": PHONE,
    "enlarged twice": {"width": 640, "height": 450},  # what 200 % leaves of 1280 x 900
    "desktop": DESKTOP,
}
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture
def visit(app, browser):
    """Open a screen as one kind of reader; fails on a script error that nobody caught."""
    with ExitStack() as pages:
        yield lambda path, size="desktop", **reader: pages.enter_context(
            visited(app, browser, path, size, **reader)
        )


@contextmanager
def visited(app, browser, path, size, **reader):
    """A screen drawn whole for one kind of reader."""
    with new_page(browser, SIZES[size], **reader) as page:
        page.goto(f"{app}/{path}")
        page.get_by_role("heading", name=PATHS[path.partition("?")[0]], exact=True).wait_for()
        settled(page)
        yield page


def settled(page):
    """Nothing runs, and nothing fades any more: what fades has less contrast than it will have."""
    page.locator("[data-testid='stApp'][data-test-script-state='notRunning']").wait_for()
    page.wait_for_function(
        """() => !document.querySelector("[data-stale='true']")
          && document.getAnimations().every(one => one.playState !== 'running'
            || one.effect.getTiming().iterations === Infinity)"""
    )


def barriers(page, within="[data-testid='stMain']"):
    """Serious and critical faults that axe-core finds against WCAG 2.2 A and AA, and that stay:
    a page that is still being drawn has less contrast than it will have."""
    for _ in range(10):
        grave = _barriers(page, within)
        if not grave:
            break
        page.wait_for_timeout(1000)
    return grave


def _barriers(page, within):
    found = Axe().run(page, context=within, options=RULES).response["violations"]
    grave = [fault for fault in found if fault["impact"] in ("serious", "critical")]
    return [(fault["id"], [node["html"][:160] for node in fault["nodes"][:3]]) for fault in grave]


def readers():
    """Every screen for every kind of reader; the normal run takes one of them a screen, in turn."""
    kinds = [("phone", "dark"), ("enlarged twice", "light"), ("desktop", "dark")]
    for place, path in enumerate(PATHS):
        for number, (size, scheme) in enumerate(kinds):
            marks = [] if number == place % len(kinds) else [pytest.mark.slow]
            yield pytest.param((path, size, scheme), id=f"{path}-{size}-{scheme}", marks=marks)


@pytest.fixture(scope="module", params=list(readers()))
def seen(request, app, browser):
    """A screen, opened once for all tests that only look, by a German reader."""
    path, size, scheme = request.param
    with visited(app, browser, path, size, color_scheme=scheme, locale="de-DE") as page:
        ground = "rgb(27, 29, 33)" if scheme == "dark" else "rgb(253, 252, 249)"
        expect(page.get_by_test_id("stApp")).to_have_css("background-color", ground)
        yield page


def test_nobody_meets_a_barrier_on_any_screen(seen):
    assert barriers(seen) == []


def test_nothing_has_to_be_scrolled_sideways(seen):
    """On a phone besides: each file that opens a screen at that size asks the same there."""
    fits(seen)


IN_PARTS = ("putting-right", "order-of-work", "what-if", "laps", "shop")


@pytest.mark.slow  # some 25 parts, one after another
@pytest.mark.parametrize("path", IN_PARTS)
def test_nobody_meets_a_barrier_in_any_part_of_a_screen(visit, path):
    page = visit(path, "phone", color_scheme="dark")
    parts = page.get_by_role("radiogroup", name="Part of this screen").first
    for name in parts.get_by_role("radio").all_inner_texts():
        part = parts.get_by_role("radio", name=name, exact=True)
        part.click()
        expect(part).to_be_checked()
        settled(page)
        assert barriers(page) == [], name
        fits(page)


def test_controls_charts_and_tables_have_names_for_those_who_listen(seen):
    assert re.findall(UNNAMED, seen.locator("body").aria_snapshot()) == []
    # A chart has its words once it is drawn; one that never gets any ends this wait as a failure.
    seen.wait_for_function(
        "charts => [...document.querySelectorAll(charts)].every(one => one.ariaLabel)", arg=CHART
    )
    for chart in seen.locator(CHART).all():
        described = chart.get_attribute("aria-label") or ""
        assert len(described) > 40, described
        assert any(letter.isdigit() for letter in described), described
        assert chart.locator("[role='graphics-symbol']").count() < 5  # not each mark besides
    for table in seen.locator(".figures .rows").all():
        assert table.get_attribute("aria-label")
        assert table.locator("th[scope=col]").count() > 1
        assert table.locator("tbody tr").count() == table.locator("th[scope=row]").count()


def test_what_is_chosen_shows_in_the_readers_own_colours_and_nothing_moves(visit):
    """Forced colours (high contrast) take every ground away but the system's own; and who asks the
    system for less motion sees none."""
    page = visit("", forced_colors="active", reduced_motion="reduce")
    own = page.evaluate(
        """() => { const probe = document.body.appendChild(document.createElement("i"));
          probe.style.background = "Highlight";
          return getComputedStyle(probe).backgroundColor; }"""
    )
    segment = "button[aria-checked={}]"
    ring = "[data-testid=stRadioOption]{} > div > div:first-child"
    for chosen, other in (
        (segment.format("true"), segment.format("false")),
        (ring.format("[data-selected]"), ring.format(":not([data-selected])")),
    ):
        expect(page.locator(chosen).first).to_have_css("background-color", own)
        expect(page.locator(other).first).not_to_have_css("background-color", own)
    expect(page.get_by_test_id("stAlertContainer").first).to_have_css("border-top-style", "solid")
    longest = page.evaluate(
        """() => Math.max(...[...document.querySelectorAll("*")].flatMap(one => {
          const style = getComputedStyle(one);
          return `${style.transitionDuration}, ${style.animationDuration}`.split(", ")
            .map(parseFloat); }))"""
    )
    assert longest <= 0.001  # seconds


GERMAN_DAY = r"\b\d{1,2}\.\d{1,2}\.\d{4}\b"


def main_words(page):
    """What stands on a screen, in its charts and beside them for those who listen."""
    return page.get_by_test_id("stMain").evaluate(
        """main => [main.innerText,
          ...[...main.querySelectorAll('svg text')].map(text => text.textContent),
          ...[...main.querySelectorAll('[aria-label]')].map(one => one.getAttribute('aria-label')),
          ...[...main.querySelectorAll('details')].map(one => one.textContent)].join('\\n')"""
    )


# A number of decimals, less those of a handbook's chapters (6.3.2.2) and of addresses (0.0.0.0).
ENGLISH_DECIMALS = r"(?<![\d.,])\d+\.\d{1,2}(?![\d.]*\d)\b(?!\.\d)"
ENGLISH_DAY = (
    r"\b\d{1,2} (?:January|February|March|April|May|June|July|August|September|October|November"
    r"|December)\b"
)
CHAPTER = r"\d+(?:\.\d+){2,}|[A-Z][a-z]+ \d\.\d+\b"


def test_a_german_browser_reads_german_numbers_and_dates_on_every_screen(seen):
    words = re.sub(GERMAN_DAY, "", main_words(seen))
    words = re.sub(CHAPTER, "", words)
    words = re.sub(r"\b\d{1,2}\.\d{1,2}\.(?!\d)", "", words)  # a day without its year
    assert re.findall(rf".{{0,30}}{ENGLISH_DECIMALS}.{{0,20}}", words) == []
    assert re.findall(ENGLISH_DAY, words) == []


def test_numbers_and_dates_are_those_that_the_browser_itself_writes(visit):
    """The marks and the order of a date, against the browser's own Intl."""
    from datetime import date

    from analysis.records import figures

    when = date(2026, 11, 3)
    try:
        for locale, style in (("de-DE", {}), ("en-US", {"dateStyle": "long"})):
            page = visit("keeping-pace", locale=locale)
            figures.write_as(figures.manner_of(locale))
            assert figures.number(1234567.891, 2) == page.evaluate(
                "(1234567.891).toLocaleString(undefined, {maximumFractionDigits: 2})"
            )
            assert figures.day(when) == page.evaluate(
                f"new Date(2026, 10, 3).toLocaleDateString(undefined, {json.dumps(style)})"
            )
    finally:
        figures.write_as(figures.PLAIN)


def test_an_american_browser_reads_american_dates_and_a_file_stays_as_it_is(visit):
    german = visit("keeping-pace", locale="de-DE")
    with german.expect_download() as download:
        german.get_by_role("link", name="This table as a file (CSV)").first.click()
    head, first = download.value.path().read_text("utf-8-sig").splitlines()[:2]
    assert head.count(",") == first.count(",")
    assert re.search(r",\d+\.\d+,", first)
    american = visit("", locale="en-US")
    assert re.search(r"[A-Z][a-z]+ \d{1,2}(, \d{4})? to ", main_words(american))


@pytest.mark.parametrize("size", ["phone", pytest.param("desktop", marks=pytest.mark.slow)])
def test_a_chart_is_saved_by_keyboard_as_picture_drawing_and_data(visit, size):
    page = visit("keeping-pace", size)
    page.locator(f"{CHART} svg").first.wait_for()
    begins = {"PNG": b"\x89PNG", "SVG": b"<svg", "CSV": b"\xef\xbb\xbf"}
    for kind, begin in begins.items():
        link = page.get_by_role("link", name=re.compile(f"Save the chart of .*{kind}")).first
        link.focus()
        with page.expect_download() as download:
            page.keyboard.press("Enter")
        assert download.value.suggested_filename.endswith(kind.lower())
        assert download.value.path().read_bytes().startswith(begin)


def test_the_main_path_is_walked_by_keyboard_alone(visit):
    """Put the first steps away, turn to another screen, open a part of it and what is folded."""
    page = visit("")
    tab_to(page, "Got it, do not show this again")
    page.keyboard.press("Enter")
    page.get_by_text("New here? Three steps.").wait_for(state="hidden")
    tab_to(page, "Keeping pace")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Keeping pace", exact=True).wait_for()
    settled(page)
    tab_to(page, "How this was worked out")
    page.keyboard.press("Enter")
    page.get_by_text("For those who check the figures").first.wait_for()
    page.reload()
    page.get_by_role("link", name="This week").first.wait_for()
    page.goto(page.url.replace("keeping-pace", ""))
    page.get_by_text("good pieces in").first.wait_for()
    expect(page.get_by_text("New here? Three steps.")).to_have_count(0)  # and it stays away


STOP = """async () => {
  window.stops ??= [];
  window.looks ??= (node) => {
    const found = [];
    for (let at = node, level = 0; at && level < 6; at = at.parentElement, level++) {
      const style = getComputedStyle(at);
      found.push(style.outlineStyle + style.outlineWidth + style.boxShadow + style.borderColor
        + style.backgroundColor + style.color + style.textDecorationLine + style.transform);
    }
    return found;
  };
  const at = document.activeElement;
  if (at === document.body || stops.some(([known]) => known === at)) return false;
  await new Promise((done) => setTimeout(done, 40));
  const box = (at.closest("canvas") ?? at).getBoundingClientRect();
  const away = box.bottom <= 0 || box.top >= innerHeight
    || box.right <= 0 || box.left >= innerWidth;
  stops.push([at, looks(at), away]);
  return true;
}"""
# A canvas draws its own focus: the frame of a cell in a table that is ticked or edited. The cell
# itself stands inside the canvas for those who listen, and has no place on the screen.
UNSEEN = """async () => {
  document.activeElement.blur();
  await new Promise((done) => setTimeout(done, 400));
  return stops
    .filter(([at, on, away]) => away
      || (at.isConnected && !at.closest("canvas") && String(on) === String(looks(at))))
    .map(([at, , away]) => `${away ? "off the screen" : "no sign"}: ${at.outerHTML.slice(0, 150)}`);
}"""


# A narrow window's menu slides out when the page has been drawn, and is hidden once it is out.
MENU_AT_REST = """() => {
  const menu = document.querySelector("[data-testid=stSidebar]");
  return menu.getBoundingClientRect().left >= 0 || getComputedStyle(menu).visibility === "hidden";
}"""


def keyboard_stops(page, most=200):
    """Press the tab key until it comes round; returns how often it stopped, and where unseen."""
    page.wait_for_function(MENU_AT_REST)
    count = 0
    while count < most:
        page.keyboard.press("Tab")
        if not page.evaluate(STOP):
            break
        count += 1
    return count, page.evaluate(UNSEEN)


@pytest.mark.parametrize(
    "size", ["enlarged twice", pytest.param("desktop", marks=pytest.mark.slow)]
)
@pytest.mark.parametrize(
    "path", ["", *(pytest.param(path, marks=pytest.mark.slow) for path in PATHS if path)]
)
def test_the_tab_key_never_leads_where_nobody_sees_it(visit, path, size):
    stops, unseen = keyboard_stops(visit(path, size))
    assert stops > 5
    assert unseen == []


def tab_to(page, words):
    """Press the tab key until what has the focus says these words."""
    for _ in range(150):
        page.keyboard.press("Tab")
        name, tag = page.evaluate(
            """() => { const at = document.activeElement;
            return [at.innerText || at.getAttribute('aria-label') || '', at.tagName]; }"""
        )
        if words in name and tag in ("A", "BUTTON", "SUMMARY"):
            return
    raise AssertionError(f"the tab key never reached “{words}”")
