"""The bench page's speed: from the thumb to the screen, and a long day offline delivered.

Both are measured in a real Chromium against a real server with a store on the disk. The time of a
tap runs from the browser's own time stamp of the thumb's lifting, which is what ends a lap (its
time is that of the coming down), to the first picture after the count has changed, which the page
does only once the lap is flushed to the disk (IndexedDB, strict).
"""

import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from tests.benchmarks.rows import Row
from tests.browser.bench_server import PHONE, BenchServer, Phone
from tests.browser.conftest import CHROMIUM, FLAGS

TAPS = 200
SLOWDOWN = 4  # a cheap phone's processor against this machine's
TAP_LIMIT_SECONDS = 0.1
QUEUED = 50_000
DELIVERY_LIMIT_SECONDS = 60

MEASURE_TAPS = """() => {
  window.shownAfter = [];
  let pressed = null;
  window.addEventListener("pointerup", (event) => {
    if (event.target.closest(".target")) pressed = event.timeStamp;
  }, true);
  new MutationObserver(() => {
    const from = pressed;
    pressed = null;
    if (from === null) return;
    requestAnimationFrame(() => {
      const painted = new MessageChannel();
      painted.port1.onmessage = () => window.shownAfter.push(performance.now() - from);
      painted.port2.postMessage(null);
    });
  }).observe(document.querySelector("#figures dd"), { childList: true, subtree: true, characterData: true });
}"""  # noqa: E501

QUEUE_LAPS = """async (count) => {
  const { makeLap } = await import("/bench/assets/laps.js");
  const { newId } = await import("/bench/assets/ids.js");
  const database = await new Promise((resolve) => {
    indexedDB.open("bench").onsuccess = ({ target }) => resolve(target.result);
  });
  const start = Date.now() - 1000 * count;
  for (let at = 0; at < count; at += 5000) {
    const writing = database.transaction("waiting", "readwrite");
    for (let k = at; k < at + 5000; k++) {
      writing.objectStore("waiting").put(makeLap({
        lap_id: newId(), start: start + 1000 * k, seconds: 40 + (k % 17), worker: "maker",
        product: "pocket notebook", operation: "sew", variant: "linen", batch: "012",
      }));
    }
    await new Promise((resolve) => (writing.oncomplete = resolve));
  }
  database.close();
}"""


def rows():
    """The rows of the benchmark table."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        server = BenchServer(Path(folder))
        server.start()
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            yield _tap_to_screen(chromium, server)
            yield _long_day_delivered(chromium, server)
        finally:
            chromium.close()
            server.kill()


def _phone(chromium, server, worker: str) -> Phone:
    context = chromium.new_context(viewport=PHONE, has_touch=True)
    return Phone(context, server.address, worker).open().choose_work()


def _tap_to_screen(chromium, server) -> Row:
    phone = _phone(chromium, server, "tapping")
    protocol = phone.context.new_cdp_session(phone.page)
    protocol.send("Emulation.setCPUThrottlingRate", {"rate": SLOWDOWN})
    phone.tap()
    phone.waits_for(0)
    phone.page.evaluate(MEASURE_TAPS)
    for taps in range(TAPS):
        phone.page.wait_for_timeout(260)
        phone.tap()
        phone.waits_for(taps + 1)
    seconds = np.array(phone.page.evaluate("window.shownAfter")) / 1000
    phone.context.close()
    worst = float(np.percentile(seconds, 99))
    note = f"{len(seconds)} taps at {SLOWDOWN}x slowdown, median {1000 * np.median(seconds):.0f} ms"
    measured = len(seconds) > 0.95 * TAPS  # a press held up by the machine may become a hold
    met = worst < TAP_LIMIT_SECONDS and measured
    return Row("tap to screen, lap on disk, p99", None, worst, None, "under 100 ms", met, note)


def _long_day_delivered(chromium, server) -> Row:
    phone = _phone(chromium, server, "offline")
    phone.waits_until_sent()
    [(before,)] = server.rows("SELECT count(*) FROM lap WHERE ended_by IS NULL")
    phone.context.route("**/laps", lambda route: route.abort())
    phone.page.evaluate(QUEUE_LAPS, QUEUED)
    phone.context.unroute("**/laps")
    start = time.perf_counter()
    phone.page.evaluate("window.dispatchEvent(new Event('online'))")
    phone.page.locator("#queue").get_by_text("wait").wait_for()
    phone.waits_until_sent(patience_seconds=300)
    seconds = time.perf_counter() - start
    [(after,)] = server.rows("SELECT count(*) FROM lap WHERE ended_by IS NULL")
    phone.context.close()
    met = seconds < DELIVERY_LIMIT_SECONDS and after - before == QUEUED
    note = f"{after - before} laps in the store"
    return Row(
        "50,000 laps queued offline, delivered", None, seconds, None, "under 60 s", met, note
    )
