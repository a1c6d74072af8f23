"""Remake the README's pictures from the real pages: `python -m tests.browser.screenshots [FOLDER]`.

The demo bindery in Chromium, each screen at phone and desktop size; what README.md shows is
written to .docs/, everything to FOLDER when one is named.
"""

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from analysis.screens.frame import FIRST, SCREENS  # noqa: E402
from tests.browser.conftest import CHROMIUM, DESKTOP, FLAGS, PHONE, running_app  # noqa: E402

PATHS = ["", *(path for _, _, _, path in SCREENS[1:])]
IN_README = {
    ("this-week", "desktop"),
    ("getting-faster", "desktop"),
    ("putting-right", "phone"),
}


def main(folder: Path | None) -> None:
    with (
        tempfile.TemporaryDirectory() as home,
        running_app(Path(home)) as address,
        sync_playwright() as playwright,
    ):
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for size_name, size in {"phone": PHONE, "desktop": DESKTOP}.items():
            page = chromium.new_page(viewport=size)
            for path in PATHS:
                name = path or FIRST
                if not folder and (name, size_name) not in IN_README:
                    continue
                _open(page, f"{address}/{path}")
                if folder:
                    _whole(page, folder / f"{name}-{size_name}.png")
                if (name, size_name) in IN_README:
                    page.screenshot(
                        path=ROOT / ".docs" / f"{name}-{size_name}.jpg", type="jpeg", quality=70
                    )


def _open(page, address: str) -> None:
    """Open a screen and wait until it has stopped computing and drawing."""
    page.goto(address)
    page.get_by_role("heading", level=1).wait_for(timeout=60_000)
    idle = "[data-testid='stApp'][data-test-script-state='notRunning']"
    page.locator(idle).wait_for(timeout=60_000)
    page.wait_for_function("!document.querySelector('[data-stale=true]')")
    page.get_by_role("button", name="Stop").wait_for(state="detached", timeout=120_000)
    page.wait_for_timeout(1500)  # fonts and charts settle; this is no test


def _whole(page, path: Path) -> None:
    """Picture the whole screen: Streamlit scrolls inside a container, so grow the window first."""
    size = page.viewport_size
    tall = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": max(size["height"], tall)})
    page.wait_for_timeout(500)
    page.screenshot(path=path)
    page.set_viewport_size(size)


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    (ROOT / ".docs").mkdir(exist_ok=True)
    if target:
        target.mkdir(parents=True, exist_ok=True)
    main(target)
