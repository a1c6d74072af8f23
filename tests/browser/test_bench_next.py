"""The next task on the bench page: one line, true without a network, gone at a tap."""

from datetime import UTC, datetime, timedelta

import pytest

from analysis.records.laps import read_laps
from analysis.store.store import open_store
from tests.browser.bench_server import Phone
from tests.browser.test_bench_phone import assert_no_barrier

ROUTE = (
    "product,operation,after,seconds,wait_seconds\n"
    "book,sew,,60,0\nbook,glue,sew,30,1200\nbook,trim,glue,20,0\n"
)


@pytest.fixture(scope="module")
def at_work(server):
    """The server's store with a route, and a batch that was sewn a few minutes ago."""
    store = open_store(f"sqlite:///{server.store}")
    store.save_routing(ROUTE)
    at = (datetime.now(UTC) - timedelta(minutes=6)).isoformat()
    text = f"started_at,seconds,worker,product,operation,batch,units\n{at},240,maker,book,sew,7,4\n"
    store.import_laps(read_laps(text.encode(), name="sewn.csv"))
    return server


@pytest.fixture
def bench(at_work, context):
    phone = Phone(context, at_work.address, worker="maker").open()
    phone.page.locator("#next-words").get_by_text("Next: glue, 4 of book").wait_for()
    yield phone
    assert phone.errors == []


def test_the_next_task_stands_in_one_line_that_a_tap_hides_for_good(bench):
    assert bench.page.locator("#next").bounding_box()["height"] <= 60
    bench.page.get_by_role("button", name="Hide this hint").click()
    bench.page.locator("#next").wait_for(state="hidden")
    bench.page.reload()
    bench.page.locator(".target").first.wait_for()
    bench.page.wait_for_function(
        "() => document.querySelector('#queue').textContent.includes('sent')"
    )
    assert bench.page.locator("#next").is_hidden()


def test_the_hint_leaves_when_that_task_is_begun(bench):
    bench.choose_operation("glue", known=True)
    bench.page.locator(".target").first.click()
    bench.page.locator("#next").wait_for(state="hidden")


def test_the_hint_is_no_barrier_and_does_not_push_the_target_away(bench):
    assert_no_barrier(bench, "with a hint")
    target = bench.page.locator(".target").first.bounding_box()
    assert target["height"] >= 0.38 * bench.page.viewport_size["height"]


def test_without_a_network_the_last_answer_stays_with_its_hour(bench, context):
    context.set_offline(True)
    bench.page.evaluate("dispatchEvent(new Event('offline'))")
    bench.page.locator(".target").first.click()  # the last test of the file: it logs a lap
    bench.page.wait_for_timeout(300)
    bench.page.locator(".target").first.click()
    bench.page.locator("#next-words").get_by_text("(as of ").wait_for()
    context.set_offline(False)
