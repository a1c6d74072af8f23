"""The bench page's own logic, without a screen: its modules run in Chromium, test by test."""

import http.server
import re
import threading
from functools import partial
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HERE = ROOT / "tests" / "bench_page"
PAGE = ROOT / "analysis" / "bench" / "page"
FILES = ("taps.js", "mending.js", "parts.js", "sending.js", "benches.js", "figures.js")
CASES = [
    (name, title)
    for name in FILES
    for title in re.findall(r'^test\("(.+?)", ', (HERE / name).read_text(), re.MULTILINE)
]


class Folders(http.server.SimpleHTTPRequestHandler):
    """/page/… from the page's folder, /tests/… from tests/bench_page."""

    def translate_path(self, path):
        folder = PAGE if path.startswith("/page/") else HERE
        return str(folder / Path(path).name)

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def modules(browser):
    """A page for each country, with every test module loaded; `modules[locale]([file, title])`
    answers "" or what went wrong."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Folders))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    pages = {locale: browser.new_page(locale=locale) for locale in ("en-US", "de-DE")}
    for page in pages.values():
        page.goto(f"http://127.0.0.1:{server.server_port}/tests/blank.html")
    yield {locale: partial(page.evaluate, RUN) for locale, page in pages.items()}
    for page in pages.values():
        page.close()
    server.shutdown()


RUN = """async ([file, title]) => {
  await import(`/tests/${file}`);
  const { tests } = await import("/tests/harness.js");
  try { await tests.get(title)(); return ""; } catch (error) { return error.stack; }
}"""


def test_the_page_kept_for_no_network_is_whole():
    listed = re.findall(r'"([a-z_]+\.[a-z]+)"', (PAGE / "sw.js").read_text())
    asked_for = {path.name for path in PAGE.iterdir()} - {"index.html", "sw.js"}
    assert sorted(listed) == sorted(asked_for)


@pytest.mark.parametrize(("file", "title"), CASES, ids=[title for _, title in CASES])
def test_page_logic(modules, file, title):
    assert modules["en-US"]([file, title]) == ""


@pytest.mark.parametrize("title", [title for name, title in CASES if name == "figures.js"])
def test_a_german_phone_reads_and_takes_german_numbers_and_times(modules, title):
    assert modules["de-DE"](["figures.js", title]) == ""
