"""Dashboards that stay open in one Chromium while laps come in, and what they show amiss."""

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from playwright.sync_api import Page, TimeoutError, sync_playwright

from tests.browser.conftest import CHROMIUM, FLAGS

PATHS = ("", "batch-minutes", "keeping-pace", "putting-right", "laps")
AMISS = "[data-testid='stException'], [data-testid='stAlertContentError']"
APP = "[data-testid='stApp']"
OPENING_MILLISECONDS = 300_000  # the machine may be shared with many others


class Dashboards:
    """Pages on one server, each with the text it showed at first."""

    def __init__(self, pages: list[Page]):
        self.errors: set[str] = set()
        for page in pages:
            page.on("pageerror", lambda error: self.errors.add(str(error)))
        self.first = {page: _text(page) for page in pages}

    def look(self) -> None:
        """Note an exception or error on a page, and a page that has lost the server."""
        for page in self.first:
            shown = page.locator(AMISS).all_inner_texts()
            self.errors.update(text.partition("\n")[0] for text in shown)
            if not page.locator(f"{APP}[data-test-connection-state=CONNECTED]").count():
                self.errors.add(f"{page.url} has no connection")

    def moved(self, wait_seconds: float = 120) -> int:
        """How many show something else than at first, once they have caught up or had so long."""
        until = time.monotonic() + wait_seconds
        for page in self.first:
            behind = page.get_by_text("the figures follow in")
            left = max(1.0, 1000 * (until - time.monotonic()))  # 0 would be for ever
            with suppress(TimeoutError):
                behind.wait_for(state="detached", timeout=left)
        return sum(_text(page) != text for page, text in self.first.items())


def _text(page: Page) -> str:
    return page.get_by_test_id("stMain").inner_text()


@contextmanager
def opened(origin: str) -> Iterator[Dashboards]:
    """All of them drawn once and left open."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        pages = [chromium.new_page(viewport={"width": 1440, "height": 900}) for _ in PATHS]
        for page, path in zip(pages, PATHS, strict=True):
            page.goto(f"{origin}/{path}?workshop=mine")
            page.get_by_role("heading", level=1).wait_for(timeout=OPENING_MILLISECONDS)
            page.locator(f"{APP}[data-test-script-state=notRunning]").wait_for(
                timeout=OPENING_MILLISECONDS
            )
        yield Dashboards(pages)
        chromium.close()
