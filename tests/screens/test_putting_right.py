"""Putting right, as a maker reads it."""

import re
from io import BytesIO

import numpy as np
import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.screens.putting_right import PARTS
from analysis.screens.putting_right_care import _left_blank, _pace_table
from analysis.screens.source import DEMO, OWN
from analysis.store.store import open_store
from analysis.study.putting_right import putting_right
from analysis.study.summary import study
from tests.screens.driving import said
from tests.study.building import laps_frame

# Ten batches of ten boxes: gluing is done at paces that differ, crooked ones are found there.
HEADER = (
    "started_at,seconds,product,operation,batch,units,activity,rework_units,scrap_units,cause,"
    "cause_operation\n"
)


def fault_laps(batches: int = 10, cause: str = "crooked") -> str:
    rows = []
    for number in range(batches):
        day, wrong, lost = f"2026-11-{2 + number:02d}", number % 3, int(number % 4 == 0)
        rows += [
            f"{day}T08:00:00,600,card box,cut,{number},10,operation,0,0,,",
            f"{day}T09:00:00,{900 - 100 * wrong},card box,glue,{number},10,operation,{wrong},0,"
            f"{cause if wrong else ''},",
            f"{day}T10:00:00,300,card box,check,{number},10,inspection,0,{lost},"
            f"{'torn' if lost else ''},{'cut' if lost else ''}",
        ]
        if wrong:
            rows.append(f"{day}T11:00:00,120,card box,glue,{number},{wrong},rework,0,0,{cause},")
    return HEADER + "\n".join(rows) + "\n"


def put_in(url: str, text: str):
    store = open_store(url)
    store.import_laps(read_laps(text.encode(), name="faults.csv"))
    return store


@pytest.fixture(scope="module")
def three_batches(tmp_path_factory):
    return put_in(f"sqlite:///{tmp_path_factory.mktemp('three') / 'w.sqlite'}", fault_laps(3))


@pytest.fixture
def few_faults(three_batches, one_demo, monkeypatch):
    """A store of three batches with faults in them, to look at only."""
    monkeypatch.setenv("WORKSHOP_STORE", three_batches.url)


def opened(show, part: str, whose: str = DEMO):
    """The screen with one of its parts open."""
    screen = show("putting_right", whose)
    screen.session_state["putting_right_part"] = part
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def test_the_demo_says_what_a_week_costs_in_money_first(show):
    words = said(show("putting_right", DEMO))
    assert re.search(
        r"## Putting right cost you about \d+ to \d+ USD a week, .+ made at \w+", words
    )
    assert re.search(r"Faults made at \*\*sew\*\* are \d+ % of it; only \d+ % shows there", words)
    assert re.search(r"USD on each good desk journal", words)
    assert re.search(r"Checking takes \d+ to \d+ USD a week besides", words)
    assert "What would make this surer" in words


def test_each_view_has_its_table_and_its_chart_s_unit(show):
    screen = show("putting_right", DEMO)
    for view, first in (("causes", "torn section"), ("caused", "sew"), ("found", "inspect")):
        screen.session_state["faults_view"] = view
        screen.run()
        assert not screen.exception
        assert re.search(rf"<th scope=row[^>]*>{first}<", tables(screen))
    assert "USD a week" in tables(screen) and "added up (%)" in tables(screen)


def tables(screen) -> str:
    return " ".join(element.proto.body for element in screen.get("html"))


@pytest.mark.parametrize(
    "part, told",
    [
        ("Pace", r"A piece worked a tenth faster is spoiled [\d.]+ to [\d.]+ times as often"),
        ("Care that pays later", r"at glue spine had .+ less mending a piece at trim"),
        ("Try it", r"Move the slider to give it more, or less"),
        ("Two ways tried", r"No trial of two ways yet"),
        ("Week by week", r"usually [\d.]+ % are at fault"),
        ("How many to start", r"To be sure of \d+ good .+, start \d+"),
        ("Who and what", r"no ranking of people"),
    ],
)
def test_each_part_of_the_demo_answers_its_question(show, part, told):
    assert part in PARTS
    assert re.search(told, said(opened(show, part)))


def test_the_slider_says_minutes_money_and_faults_with_their_ranges(show):
    screen = opened(show, "Try it")
    screen.selectbox(key="try_key").select(("desk journal", "sew")).run()
    screen.session_state["try_more_desk journal_sew"] = 48
    screen.run()
    assert not screen.exception
    words = said(screen)
    assert re.search(r"48 s more a piece \(\d+ s in place of \d+ s\)", words)
    assert re.search(r"would cost \d+ to \d+ USD a week more than it saves", words)
    assert re.search(r"Spoiled here: [\d.]+ to [\d.]+ %, against [\d.]+ to [\d.]+ % now", words)
    assert re.search(r"good pieces a week that is .+ more at the bench", words)


def test_spoiled_pieces_are_told_as_they_were_counted(show):
    words = said(opened(show, "Pace"))
    found = re.search(
        r"Of ([\d,]+) pieces that had others just before them (\d+) were spoiled here, that is put "
        r"right or lost \(([\d.]+) %\). Worked evenly at the usual pace it would be",
        words,
    )
    pieces, faults = (int(found[n].replace(",", "")) for n in (1, 2))
    assert float(found[3]) == round(100 * faults / pieces, 1)


def test_where_haste_spoils_and_a_faster_pace_costs_least_it_is_said_why_both_hold(show):
    words = said(opened(show, "Pace"))
    assert "A piece worked a tenth faster is spoiled" in words
    told = re.search(
        r"\*\*pocket notebook\*\*: About (\d+) to (\d+) s a piece costs least, against (\d+) s "
        r"now\. Of 100 pieces .+? more are then spoiled, but each takes about (\d+) s less",
        words,
    )
    assert re.search(r"Only faults found at sew itself count in this: \d+ ?% of those it", words)
    assert "Faults made at fold sections, glue spine show only later" in words
    fastest, slowest, now, less = map(int, told.groups())
    assert fastest < now and now - slowest <= less <= now - fastest


def test_more_good_pieces_wanted_ask_for_more_starts(show):
    screen = opened(show, "How many to start")
    screen.number_input(key="good_wanted").set_value(100).run()
    found = re.search(r"To be sure of 100 good .+, start (\d+)", said(screen))
    assert int(found[1]) > 100


def test_faults_come_with_a_caution_that_they_are_no_measure_of_people(show):
    caution = show("putting_right", DEMO).warning[0].value
    for word in ("not about people", "needle", "doctor", "rules of your place", "licensed"):
        assert word in caution


def test_the_weekly_share_says_that_products_are_mixed_and_shows_one_by_itself(show):
    screen = opened(show, "Week by week")
    assert "All products are counted together here" in said(screen)
    screen.selectbox(key="faults_product").set_value("desk journal").run()
    assert not screen.exception
    words = said(screen)
    assert "Of the pieces of desk journal that go through" in words
    assert "counted together" not in words


def test_an_empty_store_says_the_next_step(show):
    assert "Next step" in show("putting_right", OWN).info[0].value


def test_laps_without_a_fault_say_how_many_there_may_be_and_what_to_flag(show, first_file):
    words = said(show("putting_right", OWN))
    assert re.search(
        r"No piece was put right or lost so far. Pieces went through an operation 24 times: "
        r"at most 14 %",
        words,
    )
    assert "Flag a piece on the bench page" in words


def test_without_a_wage_it_is_told_in_minutes_and_says_so(show, own_store):
    put_in(own_store, fault_laps())
    screen = show("putting_right", OWN)
    words = said(screen)
    assert re.search(r"## Putting right cost you about [\d.]+ to [\d.]+ min a week", words)
    assert "hourly pay of maker, so work is in minutes and not in money" in words
    assert "material cost of card box" in words
    assert "EUR a week" not in words


def test_faults_without_a_cause_are_named_as_such(show, own_store):
    put_in(own_store, fault_laps(cause=""))
    words = said(show("putting_right", OWN))
    assert "no cause given" in words
    assert "Give each fault a cause" in words


def test_one_batch_is_a_figure_without_a_range_and_says_why(show, own_store):
    put_in(own_store, fault_laps(batches=1) + "2026-11-02T12:00:00,60,card box,glue,0,1,rework,"
           "0,0,crooked,\n")  # fmt: skip
    words = said(show("putting_right", OWN))
    assert "All of it is one batch" in words
    assert re.search(r"Putting right cost you about [\d.]+ (min|s) a week", words)


def test_flags_without_a_timed_mending_are_not_called_a_cost_of_nothing(show, own_store):
    put_in(own_store, HEADER + "2026-11-02T08:00:00,600,card box,cut,1,10,operation,1,0,,\n")
    screen = show("putting_right", OWN)
    told, words = " ".join(element.value for element in screen.markdown), said(screen)
    assert "1 piece was put right, but no mending was timed" in told
    assert "Time the mending of one piece" in told
    assert "0.00" not in told and "0.0 to 0.0" not in words and "not known yet of it" not in words
    assert "putting right, not timed–" in words  # in the table of kinds too: a dash, not 0


def test_every_screen_tells_of_mending_that_nobody_timed_alike(show, own_store):
    """They said: none was logged; 2 pieces were flagged; no leak of mending; 0.00 a week."""
    put_in(own_store, HEADER + "2026-11-02T08:00:00,600,card box,cut,1,10,operation,2,0,,\n")
    for name in ("this_week", "piece_cost", "putting_right", "batch_minutes"):
        words = said(show(name, OWN))
        assert "No putting right, walking" not in words, name
        assert "2 pieces were put right, but no mending was timed" in words, name
        assert "No leak logged" not in words and "None logged" not in words, name
        assert "No putting right and no lost piece" not in words, name


def test_once_a_mending_is_timed_it_counts_everywhere(show, own_store):
    mended = "2026-11-02T12:00:00,400,card box,cut,1,1,rework,0,0,,\n"
    laps = "2026-11-02T08:00:00,600,card box,cut,1,10,operation,2,0,,\n"
    put_in(own_store, HEADER + laps + mended)
    for name in ("this_week", "piece_cost", "putting_right"):
        assert "no mending was timed" not in said(show(name, OWN)), name


@pytest.mark.parametrize("part", PARTS)
def test_each_part_is_answered_with_few_laps_or_no_fault(show, few_faults, part):
    opened(show, part, OWN)


@pytest.mark.parametrize("part", PARTS)
def test_each_part_is_answered_without_any_fault(show, first_file, part):
    opened(show, part, OWN)


def test_a_share_that_the_laps_leave_open_is_blank_with_the_reason():
    """It said: 1 of 29 spoiled (3.4 %), and below: at the usual pace 20.4 % (0.0 to 99.2)."""
    rng = np.random.default_rng(7)
    rows = [
        {"operation": name, "seconds": 400 * rng.lognormal(0, 0.12), "batch": str(at // 12),
         "rework_units": int(at == wrong)}
        for name, laps, wrong in (("sew", 30, 13), ("cut", 400, 8))
        for at in range(laps)
    ]  # fmt: skip
    found = putting_right(study(laps_frame(rows)), np.random.default_rng(0))
    curves = found.spoilage.curves.set_index("operation")
    width = curves["usual_chance_high"] - curves["usual_chance_low"]
    assert width["sew"] > 0.5 > width["cut"]  # what this test is about
    table = pd.read_csv(BytesIO(_pace_table(found).csv), index_col="operation")
    figures = table.loc[:, "spoiled at the usual pace (%)":"times to"]
    assert figures.loc["sew"].isna().all()
    assert abs(table.loc["cut", "spoiled at the usual pace (%)"] - 0.25) < 1
    assert "Left blank in the table: sew." in _left_blank(found.spoilage.curves)


def test_a_trial_marked_in_the_notes_of_a_file_is_compared(show, own_store):
    rows = [
        f"2026-11-{day:02d}T{8 + turn:02d}:00:00,{100 if way == 'A' else 70},card box,glue,{day},5,"
        f"operation,0,0,,,trial:{way}"
        for day in range(2, 8)
        for turn, way in enumerate("ABAB")
    ]
    put_in(own_store, HEADER.strip() + ",note\n" + "\n".join(rows) + "\n")
    words = said(opened(show, "Two ways tried", OWN))
    assert "Way B takes" in words


def test_trials_of_two_batches_are_said_to_count_as_one_and_can_be_taken_apart(show, own_store):
    rows = "".join(
        f"2026-11-{day:02d}T{8 + piece // 60:02d}:{piece % 60:02d}:00Z,{30 + piece % 7},box,glue,"
        f"{day},{1},trial:{'AB'[piece // 5 % 2]}\n"
        for day in (2, 4)
        for piece in range(40)
    )
    put_in(own_store, f"started_at,seconds,product,operation,batch,units,note\n{rows}")
    screen = opened(show, "Two ways tried", OWN)
    assert "less than two weeks lie between them: 2 batches at glue" in said(screen)
    screen.checkbox(key="trial_by_batch").check().run()
    assert not screen.exception
    words = said(screen)
    assert "At glue (batch 4)" in words and "At glue (batch 2)" in words
    assert "less than two weeks" not in words


def test_where_nothing_was_made_yet_no_share_of_faults_is_told(show, own_store):
    text = (
        "started_at,seconds,product,operation,activity\n"
        "2026-11-02T08:00:00,300,card box,fold,setup\n"
    )
    put_in(own_store, text)
    words = said(show("putting_right", OWN))
    assert "No piece went through an operation so far" in words
    assert "not known yet of such times" not in words


def test_two_batches_alike_are_told_without_a_range_that_has_no_width(show, own_store):
    alike = "".join(
        f"2026-11-{day:02d}T09:00:00,1000,card box,glue,{day},10,operation,0,1,torn,\n"
        for day in (3, 4)
    )
    put_in(own_store, HEADER + alike)
    screen = show("putting_right", OWN)
    words = said(screen)
    assert "Putting right cost you about 3.3 min a week, all of it torn, made at glue." in words
    assert "In the one week worked: 3.3 min of work in lost pieces." in words
    assert "It puts 11 s on each good card box." in words
    assert not re.search(r"\b([\d.]+) to \1\b", words)
