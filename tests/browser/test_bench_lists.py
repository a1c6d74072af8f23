"""The bench page while the shop's lists are on their way: what it says, and an open sheet."""

import pytest
from playwright.sync_api import expect

from analysis.records.laps import read_laps
from analysis.store.store import open_store
from tests.browser.bench_server import PHONE, Phone

LAPS = """started_at,seconds,worker,product,operation,batch,units
2026-03-02T09:00:00Z,240,Anna,field book,sew,7,4
2026-03-02T10:00:00Z,90,Bea,wall calendar,punch,8,4
"""


@pytest.fixture(scope="module")
def known(server):
    """The server of a shop with two people and two products."""
    store = open_store(f"sqlite:///{server.store}")
    store.import_laps(read_laps(LAPS.encode(), name="known.csv"))
    store.close()
    return server


class LateLists:
    """The lists are held back until they are let go."""

    def __init__(self, page):
        self.held, self.on_time = [], False
        page.route("**/bench/lists", self.asked)

    def asked(self, route) -> None:
        route.continue_() if self.on_time else self.held.append(route)

    def arrive(self) -> None:
        """Let what is held, and what is asked for from now on, through."""
        self.on_time = True
        for route in self.held:
            route.continue_()


@pytest.fixture
def bench(known, browser):
    """A new phone's page that has not had its lists yet."""
    context = browser.new_context(viewport=PHONE, has_touch=True, service_workers="block")
    page = context.new_page()
    page.set_default_timeout(20_000)
    phone = Phone(context, known.address, worker="new", page=page)
    page.on("pageerror", lambda error: phone.errors.append(str(error)))
    phone.late = LateLists(page)
    with page.expect_request("**/bench/lists"):
        page.goto(f"{known.address}/bench")
    page.locator(".target").first.wait_for()
    yield phone
    context.close()
    assert phone.errors == []


def test_a_page_that_still_waits_for_its_first_answer_does_not_say_there_is_no_server(bench):
    queue = bench.page.locator("#queue")
    expect(queue).to_contain_text("connecting…")
    bench.late.arrive()
    expect(queue).to_contain_text("all sent")


def test_an_answer_that_fails_is_no_server(bench):
    queue = bench.page.locator("#queue")
    expect(queue).to_contain_text("connecting…")
    bench.late.held[0].abort()
    expect(queue).to_contain_text("no server")


def test_names_that_come_while_the_sheet_is_open_stand_in_it_and_nothing_typed_is_lost(bench):
    page, sheet = bench.page, bench.page.locator("#sheet")
    page.locator("#who").click()
    field = page.get_by_label("Somebody new")
    field.press_sequentially("Cla")
    expect(sheet.get_by_role("button", name="Anna", exact=True)).to_have_count(0)
    bench.late.arrive()
    expect(sheet.get_by_role("button", name="Anna", exact=True)).to_be_visible()
    expect(sheet.get_by_role("button", name="Bea", exact=True)).to_be_visible()
    page.keyboard.type("ra")  # wherever the focus is
    expect(field).to_have_value("Clara")


def test_nothing_moves_under_a_finger_on_the_sheet_until_its_tap_has_counted(bench):
    page, sheet = bench.page, bench.page.locator("#sheet")
    anna = sheet.get_by_role("button", name="Anna", exact=True)
    page.locator("#who").click()
    page.get_by_label("Somebody new").fill("Clara")
    page.get_by_role("button", name="Use this name").hover()
    page.mouse.down()
    with page.expect_response("**/bench/lists") as lists:
        bench.late.arrive()
    lists.value.finished()
    page.wait_for_function("() => !document.querySelector('#queue').textContent.includes('conn')")
    assert anna.count() == 0
    page.mouse.up()
    expect(sheet).to_be_hidden()
    page.locator("#who").click()
    expect(anna).to_be_visible()
    expect(sheet.get_by_role("button", name="Clara", exact=True)).to_be_visible()


def test_names_that_came_while_a_finger_lay_on_the_sheet_stand_there_after_it(bench):
    page, sheet = bench.page, bench.page.locator("#sheet")
    page.locator("#who").click()
    page.locator("#sheet-title").hover()
    page.mouse.down()
    with page.expect_response("**/bench/lists") as lists:
        bench.late.arrive()
    lists.value.finished()
    page.mouse.up()
    expect(sheet.get_by_role("button", name="Anna", exact=True)).to_be_visible()


def test_products_and_batches_come_into_the_open_sheet_too(bench):
    page, sheet = bench.page, bench.page.locator("#sheet")
    page.locator("#work").click()
    page.get_by_label("Another product").press_sequentially("a box")
    bench.late.arrive()
    expect(sheet.get_by_role("button", name="wall calendar", exact=True)).to_be_visible()
    expect(sheet.get_by_role("heading", name="Batch")).to_be_visible()
    expect(page.get_by_label("Another product")).to_have_value("a box")
    expect(page.get_by_label("Another product")).to_be_focused()


def test_a_button_that_stays_keeps_the_focus_when_others_come(bench):
    page, sheet = bench.page, bench.page.locator("#sheet")
    page.locator("#who").click()
    page.get_by_label("Somebody new").fill("Zoe")
    page.get_by_role("button", name="Use this name").click()
    expect(sheet).to_be_hidden()
    page.locator("#who").click()
    own = sheet.get_by_role("button", name="Zoe", exact=True)
    own.focus()
    bench.late.arrive()
    expect(sheet.get_by_role("button", name="Anna", exact=True)).to_be_visible()
    expect(own).to_be_focused()
