"""What the answering screens share: ranges in one unit, safe files, terms that are explained."""

import math
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import streamlit as st

from analysis.records.shop import Shop
from analysis.screens import answers, glossary, words
from analysis.screens.source import OWN, Source
from analysis.store.store import open_store
from tests.screens.driving import said

SCREENS = Path(answers.__file__).parent
ROOT = SCREENS.parents[1]


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (27.4, 31.2, "27 to 31 s"),
        (1029, 1235, "17 to 21 min"),
        (366, 413, "6.1 to 6.9 min"),
        (24300, 57240, "7 to 16 hours"),
        (116, 127, "116 to 127 s"),
        (1274, 1275, "21.2 min"),
        (None, 5, words.NOT_KNOWN),
        (1, math.inf, words.NOT_KNOWN),
    ],
)
def test_a_range_of_time_has_one_unit_and_no_more_digits_than_it_bears(low, high, said):
    assert words.time_range(low, high) == said


def test_ranges_read_together_share_a_unit():
    assert words.time_range(145, 161, longest=186) == "2.4 to 2.7 min"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(3.42, "3.4 s"), (27.3, "27 s"), (207, "3.5 min"), (979, "16 min"), (40740, "11.3 hours")],
)
def test_a_rough_time_is_said_without_false_exactness(seconds, said):
    assert words.rough(seconds) == said


def test_a_downloaded_table_runs_no_formula_in_a_spreadsheet():
    table = answers.Table.of(pd.DataFrame({"operation": ["=1+1", "sew"], "now (s)": [1.5, None]}))
    text = table.csv.decode("utf-8-sig")
    assert text.splitlines() == ["operation,now (s)", "'=1+1,1.5", "sew,"]


def test_a_table_is_read_with_its_ranges_below_the_figures_and_no_blank_column():
    frame = pd.DataFrame(
        {"operation": ["sew <1>", "trim"], "now (s)": [1234.5, None], "from": [1200.0, None],
         "to": [1300.0, None], "note": ["", ""]}
    )  # fmt: skip
    table = answers.Table.of(frame, {"now (s)": "%.0f"}, {"now (s)": ("from", "to")})
    assert "<th scope=row class=t>sew &lt;1&gt;<td>1,234<small>1,200 to 1,300</small>" in table.html
    assert table.html.endswith("<th scope=row class=t>trim<td>–")
    assert "note" not in table.html
    assert table.csv.decode("utf-8-sig").startswith("operation,now (s),from,to,note")


def test_what_is_owed_is_grouped_as_what_is_earned():
    table = answers.Table.of(pd.DataFrame({"left": [-1234.5, 1234.5, -math.inf]}))
    assert "-1,234.5<" in table.html and ">1,234.5" in table.html and "-inf" in table.html


def test_a_phone_is_shown_the_first_columns_and_offered_the_others():
    wide = pd.DataFrame({name: [1.0] for name in "abcdef"})
    assert answers.Table.of(wide).lead == 3
    assert answers.Table.of(wide[["a", "b", "c"]]).lead == 0  # all of them


def test_every_trade_term_shown_has_one_plain_sentence():
    for term, meaning in glossary.MEANINGS.items():
        assert meaning[0].isupper()
        assert meaning.endswith("."), term
        assert len(meaning) < 200, term


def test_every_term_a_screen_asks_for_is_in_the_glossary():
    asked = set()
    for screen in SCREENS.glob("*.py"):
        for listed in re.findall(r"^TRADE = \(([^)]*)\)", screen.read_text(), re.MULTILINE):
            asked |= set(re.findall(r'"([^"]+)"', listed))
    assert len(asked) > 10
    assert asked <= set(glossary.MEANINGS)


def test_what_is_kept_is_made_once_for_each_version_and_choice(own_store):
    store, made = open_store(own_store), []

    def make():
        made.append(1)
        return len(made)

    def kept(choice):
        return answers.desk(Source(store, is_demo=False)).kept("a", choice, make)

    assert [kept(("x",)), kept(("x",)), kept(("y",)), kept(("x",))] == [1, 1, 2, 1]
    store.save_shop(Shop(overhead_per_week=10.0))
    assert kept(("x",)) == 3


def test_a_start_with_nothing_new_shows_what_the_last_one_worked_out(show, needed_only):
    before = said(show("this_week"))
    here = Source(needed_only, is_demo=False)
    st.cache_resource.clear()  # as a start does
    assert len(answers.desk(here).answers) > 5
    assert said(show("this_week")) == before
    needed_only.undo(needed_only.version())
    assert not answers.desk(here).answers
    assert "No laps yet" in said(show("this_week", OWN))


def test_a_start_with_nothing_new_loads_nothing_that_works_figures_out(own_store, demo_folder):
    first_page = (
        "import sys; from streamlit.testing.v1 import AppTest\n"
        "page = AppTest.from_file('app.py', default_timeout=120).run()\n"
        "assert not page.exception and 'good pieces in' in page.main.markdown[0].value\n"
        "print(*({'pandas', 'pyarrow', 'altair', 'sqlalchemy'} & set(sys.modules)))"
    )

    def loaded() -> str:
        command = [sys.executable, "-c", first_page]
        done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
        return done.stdout.strip()

    loaded()
    assert loaded() == ""


def test_a_long_day_of_looking_around_does_not_fill_the_memory():
    desk = answers.Desk(None, {})
    for number in range(answers.MOST_KEPT + 50):
        desk.kept("a", (number,), lambda: 0)
    assert len(desk.answers) == answers.MOST_KEPT
