"""What the tests of screens read off them, and the file a newcomer brings."""

import html
import re

import pandas as pd
from streamlit.testing.v1 import AppTest

from analysis.screens import planning, what_if_jobs

LONGEST = 120  # seconds that work beside a page may take to end on a busy machine

# The columns a file must have and no others: what a newcomer's first file looks like.
NEEDED_ONLY = "started_at,seconds,product,operation\n" + "".join(
    f"2026-11-{day:02d}T{hour:02d}:00:00,{300 + 10 * day + hour},card box,{operation}\n"
    for day in (2, 3, 4, 5, 6, 9, 10, 11)
    for hour, operation in ((8, "cut"), (9, "glue"), (10, "fold"))
)


def end_what_is_beside_the_page() -> None:
    """As with a page that is left: what is done stands, and no thread is at it when this ends."""
    answers, plans = what_if_jobs.jobs(), planning.jobs()
    for job in [*answers.all(), *plans.all()]:
        job.left = job.left or not job.over.is_set()
    for threads in (answers._first, answers._rest, plans._thread):  # each does one after another
        threads.submit(lambda: None).result(LONGEST)


def turn_to(screen: AppTest, tab: str) -> AppTest:
    """Open a tab of Laps or Shop, as a tap on its name does."""
    screen.session_state[f"{screen.title[0].value.lower()}_part"] = tab
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def said(screen: AppTest) -> str:
    """All the words on a screen, as they are read: without Markdown's backslashes."""
    kinds = ("title", "subheader", "markdown", "caption", "info", "warning", "error", "success")
    words = [element.value for kind in kinds for element in getattr(screen, kind)]
    pages = [html.unescape(re.sub("<[^>]+>", "", part)) for part in _pages(screen)]
    return "\n".join([*words, *pages]).replace("\\", "").replace("\N{NO-BREAK SPACE}", " ")


def tables(screen: AppTest) -> list[pd.DataFrame]:
    """The tables of a screen as they are read: numbers as numbers, NaN where there is a dash, the
    ends of a range as `HEADER low` and `HEADER high`."""
    return [_table(part) for part in _pages(screen) if "<table>" in part]


def _pages(screen: AppTest) -> list[str]:
    return [element.proto.body for element in screen.get("html")]


def _table(page: str) -> pd.DataFrame:
    head, *rows = [re.split("<t[dh]( [^>]*)?>", row)[2::2] for row in page.split("<tr>")[1:]]
    headers = [html.unescape(name.partition("<")[0]).replace("\u00a0", " ") for name in head]
    read = []
    for row in rows:
        cells = {}
        for name, cell in zip(headers, row, strict=True):
            value, _, span = cell.partition("<small>")
            cells[name] = _read(value.partition("<")[0])
            if span:
                low, high = span.partition("<")[0].split(" to ")
                cells |= {f"{name} low": _read(low), f"{name} high": _read(high)}
        read.append(cells)
    return pd.DataFrame(read)


def _read(text: str):
    if text == "–":
        return float("nan")
    try:
        return float(text.replace(",", ""))
    except ValueError:
        return html.unescape(text)
