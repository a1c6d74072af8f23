"""The phone itself: clock, storage, network, tabs, plain http, screens of every size."""

import contextlib
import os
import re
import signal
import socket
import time
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Error, expect

from analysis.records.laps import read_laps
from analysis.store.bench_devices import Devices
from analysis.store.store import open_store
from tests.browser.bench_server import PHONE, BenchServer, Phone, laps_of
from tests.browser.conftest import CHROMIUM, FLAGS

APART = 320  # milliseconds between two taps that are meant


def tap(phone, times=1, apart=APART):
    for _ in range(times):
        phone.page.wait_for_timeout(apart)
        phone.tap()


# --- clock --------------------------------------------------------------------------------------

SET_CLOCK = """(ms) => {
  const real = Date.now.bind(Date);
  Date.now = () => real() + ms;
}"""


def test_clock_set_back_an_hour_leaves_times_right_and_says_so(server, phone):
    tap(phone, 2)
    phone.page.evaluate(SET_CLOCK, -3_600_000)
    tap(phone, 2)
    phone.waits_for(3)
    phone.page.get_by_text("clock was set back by 1:00:00").wait_for()
    phone.waits_until_sent()
    laps = laps_of(server, phone.worker)
    assert [lap["flags"] for lap in laps] == ["", "clock_changed", ""]
    for lap, (seconds, _), (pressed_at, _) in zip(
        laps, phone.lap_seconds(), phone.taps, strict=False
    ):
        assert lap["seconds"] == pytest.approx(seconds, abs=0.02)
        assert lap["started_at"] / 1000 == pytest.approx(pressed_at, abs=1000)


def test_clock_hours_off_is_put_right_by_the_server(server, context, request):
    context.add_init_script(f"({SET_CLOCK})(7200000)")
    phone = Phone(context, server.address, worker=request.node.name[5:])
    phone.open().choose_work(product="notebook of another time")
    tap(phone, 2)
    phone.waits_for(1)
    phone.waits_until_sent()
    phone.page.get_by_text("clock is off by 2:00:0").wait_for()
    [lap] = laps_of(server, phone.worker)
    assert lap["started_at"] / 1e6 == pytest.approx(time.time(), abs=30)


# --- reload, tabs -------------------------------------------------------------------------------


def test_running_lap_survives_a_reload_and_says_what_happened(server, phone):
    tap(phone, 1)
    phone.waits_for(0)
    phone.page.reload()
    phone.page.get_by_text("the running lap went on").wait_for()
    tap(phone, 1)
    phone.waits_for(1)
    phone.waits_until_sent()
    [lap] = laps_of(server, phone.worker)
    assert lap["flags"] == "reload"
    assert lap["seconds"] == pytest.approx(phone.lap_seconds()[0][0], abs=1)


def test_a_second_tab_has_a_bench_of_its_own_and_a_closed_one_is_taken_up(server, phone):
    tap(phone, 1)
    phone.waits_for(0)
    second = Phone(phone.context, server.address, worker=f"{phone.worker} 2").open()
    expect(second.page.locator(".target-action")).to_have_text(re.compile("^(?!Piece done$).+"))
    phone.page.close()
    second.page.close()
    third = Phone(phone.context, server.address, worker=phone.worker).open()
    third.page.get_by_text("the running lap went on").wait_for()
    expect(third.page.locator(".target-action")).to_have_text("Piece done")


def test_a_tab_closed_right_after_a_reload_leaves_its_running_lap_to_the_next(server, phone):
    tap(phone, 1)
    phone.waits_for(0)
    phone.page.reload()
    phone.page.get_by_text("the running lap went on").wait_for()
    phone.page.close()
    phone.open()
    phone.page.get_by_text("the running lap went on").wait_for()
    tap(phone, 1)
    phone.waits_for(1)
    phone.waits_until_sent()
    [lap] = laps_of(server, phone.worker)
    assert lap["seconds"] == pytest.approx(phone.lap_seconds()[0][0], abs=1)


def processes_of(folder) -> list[int]:
    """The browser processes that were started with this folder for their data."""
    found = []
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # it may just have ended
            if str(folder).encode() in process.read_bytes():
                found.append(int(process.parent.name))
    return found


def test_a_dead_battery_loses_no_lap_that_the_screen_has_shown(server, browser, tmp_path):
    chromium = browser.browser_type
    options = {"executable_path": CHROMIUM, "args": FLAGS, "viewport": PHONE}
    context = chromium.launch_persistent_context(tmp_path / "phone", **options)
    phone = Phone(context, server.address, worker="whose battery died").open()
    phone.choose_work(product="notebook of a dead battery")
    context.route("**/laps", lambda route: route.abort())
    tap(phone, 4)
    phone.waits_for(3)
    for process in processes_of(tmp_path / "phone"):
        with contextlib.suppress(ProcessLookupError):  # ended with its parent
            os.kill(process, signal.SIGKILL)
    with contextlib.suppress(Error):
        context.close()
    phone.context = chromium.launch_persistent_context(tmp_path / "phone", **options)
    phone.open()
    phone.page.get_by_text("the running lap went on").wait_for()
    tap(phone, 1)
    phone.waits_for(4)
    phone.waits_until_sent()
    laps = laps_of(server, phone.worker)
    assert [lap["flags"] for lap in laps] == ["", "", "", "reload"]
    for lap, (seconds, disturbed) in zip(laps, phone.lap_seconds(), strict=True):
        assert lap["seconds"] == pytest.approx(seconds, abs=1 if disturbed else 0.02)
    phone.context.close()


# --- storage ------------------------------------------------------------------------------------


# Fills what the quota leaves with ever smaller writes, until not even a short text fits.
FILL = """async () => {
  const database = await new Promise((resolve) => {
    indexedDB.open("bench").onsuccess = ({ target }) => resolve(target.result);
  });
  const write = (key, length) => new Promise((resolve) => {
    const writing = database.transaction("shared", "readwrite");
    writing.objectStore("shared").put({ key, value: "x".repeat(length) });
    writing.onabort = () => resolve(writing.error.name);
    writing.oncomplete = () => resolve("kept");
  });
  let answer;
  for (const length of [200000, 20000, 2000, 200, 20]) {
    let number = 0;
    do answer = await write(`filler ${length} ${number++}`, length);
    while (answer === "kept");
  }
  database.close();
  return answer;
}"""


def test_full_storage_says_so_and_loses_nothing_kept(server, context):
    # The quota must stand before the page is opened: Chromium then asks for it only now and then.
    page = context.new_page()
    protocol = context.new_cdp_session(page)
    quota = {"origin": server.address, "quotaSize": 1_000_000}
    protocol.send("Storage.overrideQuotaForOrigin", quota)
    phone = Phone(context, server.address, worker="with a full phone")
    phone.open().choose_work(product="notebook of a full phone")
    context.set_offline(True)
    tap(phone, 3)
    phone.waits_for(2)
    assert phone.page.evaluate(FILL) == "QuotaExceededError"
    tap(phone, 2)
    phone.page.get_by_text("storage is full: 2 taps could not be kept").wait_for()
    assert phone.shows("Pieces done").startswith("2")
    protocol.send("Storage.overrideQuotaForOrigin", {"origin": server.address})
    phone.waits_for(4)
    context.set_offline(False)
    phone.waits_until_sent()
    laps = laps_of(server, phone.worker)
    assert len(laps) == 4
    for lap, (seconds, _) in zip(laps, phone.lap_seconds(), strict=True):
        assert lap["seconds"] == pytest.approx(seconds, abs=0.02)


def test_a_saved_copy_imports_what_waits_and_nothing_twice(server, phone, tmp_path):
    phone.context.set_offline(True)
    tap(phone, 4)
    phone.waits_for(3)
    phone.page.locator("#queue").get_by_text("3 laps wait").wait_for()
    phone.page.locator("#queue").click()
    with phone.page.expect_download() as download:
        phone.page.get_by_role("button", name="Save a copy").click()
    copy = tmp_path / "copy.csv"
    download.value.save_as(copy)
    phone.page.locator("#sheet-close").click()
    store = open_store(f"sqlite:///{server.store}")
    assert store.import_laps(read_laps(copy)).new == 3
    store.close()
    phone.context.set_offline(False)
    phone.waits_until_sent()
    assert len(laps_of(server, phone.worker)) == 3, server.laps()


# --- answers of the server ----------------------------------------------------------------------

ANSWERS = {
    "a portal's page with status 200": {"status": 200, "body": "<html>Log in</html>"},
    "JSON that acknowledges nothing": {"status": 200, "body": "{}"},
    "an error of the server": {"status": 500, "body": "oops"},
    "too many requests": {"status": 429, "headers": {"Retry-After": "1"}, "body": "{}"},
    "a device no longer paired": {"status": 401, "body": "{}"},
}


TOLD_ALIKE = {"JSON that acknowledges nothing", "an error of the server"}


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(answer, id=name, marks=[pytest.mark.slow] if name in TOLD_ALIKE else [])
        for name, answer in ANSWERS.items()
    ],
)
def test_laps_stay_on_the_phone_until_the_server_has_them(server, phone, answer):
    phone.context.route("**/laps", lambda route: route.fulfill(**answer))
    tap(phone, 3)
    phone.waits_for(2)
    phone.page.locator("#queue").get_by_text("2 laps wait").wait_for()
    phone.page.wait_for_timeout(1500)
    phone.page.locator("#queue").get_by_text("2 laps wait").wait_for()
    phone.context.unroute("**/laps")
    phone.waits_until_sent()
    assert len(laps_of(server, phone.worker)) == 2


def test_a_refused_lap_is_kept_with_the_reason_and_can_be_mended(server, phone):
    page = phone.page
    long_names = ["fold " + "x" * 110, "press " + "y" * 110]
    for name in long_names:
        phone.choose_operation(name)
    page.locator("#route button:last-child").click()
    for name in long_names:
        page.locator("#sheet").get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name="Time them as one").click()
    tap(phone, 2)
    phone.waits_for(1)
    page.locator("#queue").get_by_text("1 to mend").wait_for()
    assert laps_of(server, phone.worker) == []
    page.locator("#queue").click()
    page.get_by_text("is longer than 200 characters").wait_for()
    page.get_by_role("textbox", name="operation").fill("fold and press")
    page.get_by_role("button", name="Send again").click()
    page.locator("#sheet-close").click()
    phone.waits_until_sent()
    assert [lap["operation"] for lap in laps_of(server, phone.worker)] == ["fold and press"]


# --- network ------------------------------------------------------------------------------------


def test_the_page_opens_without_a_network_and_says_how_many_laps_wait(server, phone):
    phone.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    phone.context.set_offline(True)
    tap(phone, 2)
    phone.waits_for(1)
    phone.page.reload()
    phone.page.locator("#queue").get_by_text("1 lap waits").wait_for()
    tap(phone, 1)
    phone.waits_for(2)
    phone.context.set_offline(False)
    phone.waits_until_sent()
    assert len(laps_of(server, phone.worker)) == 2


def own_address() -> str:
    """This machine's address in its network; the packet is never sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        return probe.getsockname()[0]


def test_a_paired_phone_works_on_plain_http(browser, tmp_path):
    server = BenchServer(tmp_path, host=own_address())
    server.start()
    context = browser.new_context(viewport=PHONE, has_touch=True)
    try:
        store = open_store(f"sqlite:///{server.store}")
        code = Devices(store.engine).new_code(time.time_ns() // 1000)
        page = context.new_page()
        page.goto(f"{server.address}/bench#pair={code}")
        page.get_by_role("button", name="Pair this device").click()
        page.locator(".target").wait_for()
        assert page.evaluate("[isSecureContext, 'wakeLock' in navigator]") == [False, False]
        page.close()
        phone = Phone(context, server.address, worker="by phone").open().choose_work()
        tap(phone, 3)
        phone.waits_for(2)
        phone.page.wait_for_function("() => !document.querySelector('video.lit')?.paused ?? false")
        phone.waits_until_sent()
        phone.context.set_offline(True)
        tap(phone, 2)
        phone.waits_for(4)
        phone.page.locator("#queue").get_by_text("2 laps wait").wait_for()
        phone.context.set_offline(False)
        phone.waits_until_sent()
        assert len(laps_of(server, "by phone")) == 4
        [device] = Devices(store.engine).all()
        Devices(store.engine).revoke(device.id, time.time_ns() // 1000)
        tap(phone, 1)
        phone.page.get_by_text("This phone is not let in yet").wait_for()
        assert len(laps_of(server, "by phone")) == 4
        store.close()
    finally:
        context.close()
        server.kill()


# --- looks --------------------------------------------------------------------------------------

SIZES = {"small phone": (320, 568), "phone": (390, 844), "phone in a browser": (390, 664),
         "phone on its side": (844, 390), "desktop": (1440, 900)}  # fmt: skip


def assert_fits(page, name, width, height):
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_function(
        """([width, height]) => innerWidth === width && innerHeight === height
          && document.documentElement.scrollWidth <= width""",
        arg=[width, height],
    )
    box = page.locator(".target").bounding_box()
    assert box["width"] * box["height"] >= 0.4 * width * height, name
    for button in page.locator("button:visible").all():
        box = button.bounding_box()
        assert box["height"] >= 24 and box["width"] >= 24, (name, button.inner_text())


def test_the_target_is_two_fifths_of_the_screen_and_nothing_sticks_out(server, browser):
    context = browser.new_context(viewport=PHONE)
    phone = Phone(context, server.address, worker="on every screen").open().choose_work()
    tap(phone, 2)
    phone.waits_until_sent()
    for name, size in SIZES.items():
        assert_fits(phone.page, name, *size)
    phone.page.reload()
    phone.page.locator("#banner").get_by_text("the running lap went on").wait_for()
    for name, size in SIZES.items():
        assert_fits(phone.page, f"{name}, with a notice", *size)
    context.close()


SHEETS = ("Forgot to switch", "Last laps", "Pieces in one go", "Lap from memory", "Note",
          "Something dries", "Pace cue", "Two people", "Try two ways", "Batch, put into stock",
          "Screen stays lit", "Waiting laps, save a copy")  # fmt: skip


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.slow)])
def test_anyone_can_read_and_reach_everything(server, browser, scheme):
    context = browser.new_context(viewport=PHONE, color_scheme=scheme)
    phone = Phone(context, server.address, worker=f"in the {scheme}")
    phone.open().choose_work(product=f"notebook in the {scheme}")
    assert_no_barrier(phone, "idle")
    tap(phone, 2)
    phone.page.get_by_role("button", name="Done, lost", exact=True).click()
    assert_no_barrier(phone, "running")
    for other in ("dark", "light"):  # the sheets in the dark, one by one: in the slow run
        phone.page.emulate_media(color_scheme=other)
        assert_no_barrier(phone, f"running, turned to {other}")
    phone.page.emulate_media(color_scheme=scheme)
    for activity in ("Walk", "Pause"):
        phone.page.locator("#sides").get_by_text(activity).click()
        assert_no_barrier(phone, activity)
    for sheet in SHEETS:
        phone.more(sheet)
        assert_no_barrier(phone, sheet)
        phone.page.locator("#sheet-close").click()
    phone.more("Pace cue")
    phone.page.get_by_label("Seconds a piece").fill("1")
    phone.page.get_by_role("button", name="Show the cue").click()
    tap(phone, 2)  # the walk goes on after the pause, and then the piece
    phone.page.locator(".target").get_by_text("over the aim").wait_for()
    assert_no_barrier(phone, "over the aim")
    context.close()


def assert_no_barrier(phone, where):
    """axe-core finds no serious or critical fault against WCAG 2.2 A and AA."""
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(phone.page, options=rules).response["violations"]
    grave = [fault for fault in found if fault["impact"] in ("serious", "critical")]
    shown = [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in grave]
    assert shown == [], where


def test_the_bench_is_worked_by_tab_and_enter_alone_and_shows_where_one_is(server, context):
    phone = Phone(context, server.address, worker="by keyboard").open()
    phone.choose_work(product="notebook by keyboard").choose_operation("glue")
    page = phone.page
    tab_to(page, "sew")
    page.keyboard.press("Enter")
    page.locator("#route [aria-pressed=true]").get_by_text("sew").wait_for()
    tab_to(page, "sew")
    for _ in range(2):
        tab_to(page, "Start", "Piece done")
        page.keyboard.press("Enter")
        page.wait_for_timeout(320)
    phone.waits_for(1)
    tab_to(page, "More")
    page.keyboard.press("Enter")
    page.locator("#sheet").wait_for()
    page.keyboard.press("Escape")
    page.locator("#sheet").wait_for(state="hidden")
    phone.waits_until_sent()
    assert [lap["operation"] for lap in laps_of(server, phone.worker)] == ["sew"]
    # Everything that can be worked has a name for those who listen.
    assert not re.findall(r"- (?:button|textbox|spinbutton|checkbox)\b(?! \")", snapshot(page))


def snapshot(page):
    return page.locator("body").aria_snapshot()


def tab_to(page, *words):
    """Press the tab key until one of these has the focus, with an outline to see at every stop."""
    for _ in range(60):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            """() => { const at = document.activeElement;
              return [at === document.body ? null : at.innerText || at.ariaLabel || at.id,
                getComputedStyle(at).outlineStyle]; }"""
        )
        assert name is None or outline == "solid", name
        if name and name.strip() and any(one in name for one in words):
            return
    raise AssertionError(f"the tab key never reached {words}")


def test_what_is_pressed_shows_in_the_readers_own_colours_too(server, browser):
    """Forced colours (high contrast) take every ground away but the system's own."""
    context = browser.new_context(viewport=PHONE, has_touch=True, forced_colors="active")
    phone = Phone(context, server.address, worker="in own colours").open()
    phone.choose_work(product="notebook in own colours").choose_operation("glue")
    ground = "chip => getComputedStyle(chip).backgroundColor"
    pressed, other = (
        phone.page.locator(f"#route [aria-pressed={on}]").first.evaluate(ground)
        for on in ("true", "false")
    )
    assert pressed != other
    context.close()


def test_at_two_hundred_percent_nothing_of_the_bench_is_cut_off(server, browser):
    """A window 1280 wide, enlarged twice, leaves 640: all can be reached, nothing goes sideways."""
    context = browser.new_context(viewport={"width": 640, "height": 450})
    phone = Phone(context, server.address, worker="enlarged").open()
    phone.choose_work(product="notebook enlarged")
    phone.tap()
    page = phone.page
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.wait_for_function(  # the controls stand beside the target, all of them in sight
        "controls => controls.scrollHeight <= controls.clientHeight",
        arg=page.query_selector(".controls"),
    )
    for name in ("Done, lost", "More", "Pause"):
        button = page.get_by_role("button", name=name, exact=True)
        button.scroll_into_view_if_needed()
        box = button.bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= 450, name
        button.click(trial=True)
    assert page.locator(".target").bounding_box()["height"] >= 0.4 * 450 - 10
    context.close()
