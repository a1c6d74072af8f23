"""Order of work, as a maker reads it and works it."""

import re
import time
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from analysis.flow.by_hand import Run, by_turns
from analysis.flow.plan import Step
from analysis.flow.why import Gap
from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.shop import read_shop
from analysis.screens import answers, planning
from analysis.screens.order_batch_size import _yours
from analysis.screens.order_choice import ANOTHER, makes, next_opening, people
from analysis.screens.order_words import MOST_GAPS, in_the_gaps
from analysis.screens.source import DEMO, OWN, SAMPLES, Source
from analysis.screens.work_card import card_page
from analysis.store.store import open_store
from tests.screens.driving import said

LONGEST = 120  # seconds a search may take on a busy machine before the test gives up


def searched(screen):
    """The screen once the search beside it is over."""
    jobs = planning.jobs().all()
    until = time.monotonic() + LONGEST
    while not all(job.over.wait(0.2) for job in jobs):
        assert time.monotonic() < until
        for job in jobs:
            job.asked()  # as an open page does: a search that nobody looks at ends
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


@pytest.fixture
def small(show):
    """The demo's page with a batch small enough to be searched through at once."""
    screen = show("order_of_work", DEMO)
    pieces = next(one for one in screen.number_input if one.label == "Pieces")
    pieces.set_value(4).run()
    return searched(screen)


def button(screen, label):
    return next(one for one in screen.button if one.label == label)


def test_the_answer_says_what_comes_first_how_long_and_when_it_is_done(show):
    words = said(show("order_of_work", DEMO))
    assert re.search(
        r"## [\w -]+, then [\w -]+, then [\w -]+: \d+ [\w ,-]+ take about .+ of your time and are "
        r"done on \w+day \d+ \w+ at \d\d:\d\d", words,
    )  # fmt: skip


def test_a_first_answer_does_not_wait_for_the_search(show, monkeypatch):
    monkeypatch.setattr(planning.Job, "run", lambda job: None)
    planning.jobs.clear()
    try:
        words = said(show("order_of_work", DEMO))
    finally:
        planning.jobs.clear()
    assert "are done on" in words
    assert "best so far: done" in words and "no order can be done before" in words


def test_the_search_can_be_stopped_and_says_so(show):
    planning.jobs.clear()
    screen = show("order_of_work", DEMO)
    stop = [one for one in screen.button if one.label == "Stop here"]
    if stop:
        stop[0].click().run()
        assert "The search was stopped" in said(searched(screen))
    assert "are done on" in said(screen)


def test_how_sure_the_order_is_stands_below_the_answer(small):
    assert re.search(r"\*\*Proven\*\*|at most could still be won", said(small))
    assert re.search(r"\*\*\d+ blocks? to remember\*\*", said(small))


def test_fewer_blocks_come_with_what_they_cost(small):
    radio = small.radio[0]
    assert "the quickest" in radio.options[-1]
    assert all(re.match(r"\d+ blocks, .+ (longer|quickest)$", one) for one in radio.options)
    if len(radio.options) > 1:
        radio.set_value(radio.options[-1] if isinstance(radio.value, str) else _last(radio)).run()
        assert "takes" not in said(small).split("blocks to remember")[0].split("won.")[-1]


def _last(radio):
    return int(radio.options[-1].split()[0])


def test_a_block_is_moved_by_hand_and_its_cost_said(small):
    assert "Nothing moved" in said(small)
    for _ in range(8):
        button(small, "Later").click().run()
        if "cannot come later" not in said(small):
            break
        select = next(one for one in small.selectbox if one.label == "Block")
        select.set_value((select.value or 0) + 1).run()
    assert re.search(r"Costs nothing|in the plan\.\*\*", said(small))
    button(small, "Back to the plan").click().run()
    assert "Nothing moved" in said(small)


def test_the_first_block_cannot_be_moved_earlier(small):
    button(small, "Earlier").click().run()
    assert "is the first already" in said(small)


def test_the_reasons_and_the_caution_are_there(small):
    words = said(small)
    assert "Why this order" in words
    for word in ("pauses", "blade", "press", "solvents", "rules of your place", "licensed"):
        assert word in words


def test_two_people_share_a_batch_and_their_pace_is_said_to_be_one(small):
    small.session_state["order_people"] = ["maker", "helper"]
    small.run()
    words = said(searched(small))
    assert "of work in all" in words
    assert "mean of their present times" in words


def test_two_batches_share_a_session(small):
    for make in small.selectbox(key="order_make").options:
        small.session_state[f"order_pieces_0_{make}"] = 4
    more = next(one for one in small.number_input if one.label.startswith("More batches"))
    more.set_value(1).run()
    words = said(searched(small))
    assert re.search(r"A, .+: done \w{3} \d\d:\d\d", words)
    assert re.search(r"B, .+: done \w{3} \d\d:\d\d", words)
    assert "pieces per hour of work" in words


def turn(screen, part):
    screen.session_state["order_part"] = part
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return said(screen)


def test_each_part_opens_with_its_own_answer(small):
    words = turn(small, "Batch size")
    assert re.search(r"## Make [\w ,]+ in batches of \d+", words)
    assert "singly" in words
    words = turn(small, "Two people")
    assert re.search(r"## As a line, maker and helper finish one .+ every .+ somebody waits", words)
    assert re.search(r"by maker: done .+ at the earliest found, with .+ changes of task", words)
    words = turn(small, "What to make")
    assert re.search(r"## (Make \d+|Nothing need be made)", words)
    assert "What is scarcest: the hours of" in words


def test_what_now_is_told_from_the_laps(show):
    screen = show("order_of_work", DEMO)
    assert re.search(r"What now, maker\? (Next: |Nothing to do)", screen.info[0].value.replace(
        "**", "").replace("\\", ""))  # fmt: skip


def test_without_a_route_the_next_step_is_said(show):
    screen = show("order_of_work", OWN)
    assert "Next step: write it on **Shop**" in screen.info[0].value


ROUTE = "product,operation,after,seconds,wait_seconds\nbox,cut,,60,0\nbox,glue,cut,30,{wait}\n" \
        "box,fold,glue,20,0\n"  # fmt: skip


def test_a_route_without_a_lap_is_planned_with_its_planned_times(show, own_store):
    open_store(own_store).save_routing(ROUTE.format(wait=600))
    words = said(searched(show("order_of_work", OWN)))
    assert "25 box take about" in words
    assert "Time what is only planned so far: cut, fold, glue" in words


def test_a_route_nobody_can_follow_names_the_row(show, own_store):
    open_store(own_store).save_routing(
        "product,operation,after,seconds,max_wait_seconds\n"
        "box,glue,,60,30\nbox,close,glue,60,\nbox,mark,glue,60,\n"  # one hand, two at once
    )
    screen = show("order_of_work", OWN)
    assert "max_wait_seconds" in said(screen)
    assert not screen.exception


def test_people_who_cannot_do_it_all_are_told_why(small):
    small.session_state["order_people"] = [ANOTHER]
    small.run()
    assert "cannot be planned as chosen" in small.error[0].value
    assert "nobody here has the skill" in said(small)
    assert not small.exception


def test_every_variant_with_a_route_is_offered_and_everybody_who_could_help():
    shop, routing = read_shop(SAMPLES / "shop.toml"), read_routing(SAMPLES / "routing.csv")
    assert ("desk journal", "left-open") in makes(shop, routing)
    assert ("desk journal", "") not in makes(shop, routing)
    assert people(shop, routing) == ["maker", "helper", ANOTHER]


def test_a_session_begins_at_the_next_opening_by_the_shops_clock():
    shop = read_shop(SAMPLES / "shop.toml")
    chicago = ZoneInfo("America/Chicago")
    early = datetime(2026, 11, 25, 13, 0, tzinfo=UTC)  # 07:00 in the shop
    assert next_opening(shop, early) == datetime(2026, 11, 25, 8, 30, tzinfo=chicago)
    friday_noon = datetime(2026, 11, 27, 18, 0, tzinfo=UTC)
    assert next_opening(shop, friday_noon) == datetime(2026, 11, 30, 8, 30, tzinfo=chicago)


def test_the_card_shows_names_as_they_are_and_runs_nothing():
    from analysis.flow.calendar import CardLine

    lines = [CardLine("Mon 23 Mar", "08:00-09:00", "<b>me</b>", "glue & sew", 5, "ready 10:00")]
    page = card_page("<script>", datetime(2026, 3, 23, 8, tzinfo=UTC), lines).decode()
    assert "<script>" not in page and "&lt;b&gt;me" in page and "glue &amp; sew" in page
    assert "rules of your place" in page


def test_going_to_and_fro_between_two_operations_is_told_as_one_thing_to_do():
    def block(operation, units=2):
        step = Step(operation, "operation", "maker", 0.0, 60.0, units)
        return Run("maker", operation, (step,))

    listed = [block(name) for name in ("sew", *("trim", "inspect") * 3, "wrap", "trim", "inspect")]
    told = [[run.operation for run in group] for group in by_turns(listed)]
    assert told == [["sew"], ["trim", "inspect"] * 3, ["wrap"], ["trim"], ["inspect"]]
    assert by_turns([]) == []


def test_gaps_too_short_to_begin_anything_are_told_together():
    """A minute's wait between pieces, as at a press, is no line of its own."""
    start = datetime(2026, 11, 23, 8, 0, tzinfo=ZoneInfo("Europe/Vienna"))
    waits = [Gap("maker", 100.0 * n, 100.0 * n + 64, "press", "stretch") for n in range(30)]
    long = [Gap("maker", 7200.0 * n, 7200.0 * n + 1200, "glue", "restock") for n in range(1, 7)]
    lines = in_the_gaps(start, [*waits, *long])
    assert lines[0] == "Mon 10:00, maker free for 20 min: restock."
    assert len(lines) == MOST_GAPS + 2 and lines[-2] == "2 later gaps like these."
    assert lines[-1].startswith("30 gaps of less than 5 min, 32 min in all")
    assert in_the_gaps(start, []) == []


def test_laps_without_a_route_are_led_to_the_one_that_stands_on_shop(show, first_file):
    words = said(show("order_of_work", OWN))
    assert "press *Save route*" in words and "as your laps had them" in words


def test_the_same_work_in_another_week_is_told_and_taken_home_by_that_weeks_days(show, own_store):
    """Its hours are alike from its beginning on, so that the plan is the same: only its days are
    not."""
    open_store(own_store).save_routing(ROUTE.format(wait=600))
    screen = show("order_of_work", OWN)
    for day in (date(2027, 1, 11), date(2027, 1, 18)):
        screen.date_input(key="order_day").set_value(day)
        searched(screen.run())
        assert f"are done on Monday {day.day} January at" in said(screen)
    kept = answers.desk(Source(open_store(own_store), is_demo=False)).answers
    calendar, card = [files for key, files in kept.items() if key[0] == "order files"][-1]
    assert b"20270118T" in calendar and b"20270111T" not in calendar
    assert b"Monday, 18 January 2027" in card


def test_what_is_only_planned_is_told_by_product_and_however_long_the_page_was_open(
    show, needed_only
):
    """What was kept of the pace may be gone while the plan is still kept."""
    needed_only.save_routing(
        "product,operation,after,seconds\ncard box,cut,,300\ncard box,glue,cut,300\n"
        "tray,cut,,300\ntray,stain,cut,300\n"
    )
    screen = searched(show("order_of_work", OWN))
    assert "only planned" not in said(screen)
    kept = answers.desk(Source(needed_only, is_demo=False)).answers
    for key in [key for key in kept if key[0] == "order pace"]:
        del kept[key]
    assert "only planned" not in said(screen.run())
    screen.selectbox(key="order_make").select(("tray", ""))
    assert "only planned so far: cut, stain." in said(searched(screen.run()))


def test_a_maker_of_single_pieces_is_told_of_one():
    assert _yours(1, 1, 5) == ", and your 1 is among them"
    assert _yours(1, 5, 9) == "; yours of 1 are smaller"
    assert _yours(2, 5, 9) == "; your 2 are fewer"


def test_what_to_make_is_told_before_the_shelf_was_ever_counted(show, own_store):
    """A lap of one piece: what is packed is then not known, which is no number to count with."""
    store = open_store(own_store)
    text = "started_at,seconds,product,operation\n2026-11-02T08:00:00,300,box,fold\n"
    store.import_laps(read_laps(text.encode(), name="one.csv"))
    store.save_routing("product,operation,after,seconds\nbox,fold,,300\n")
    shop = "[workers.maker]\ncost_per_hour = 20\n[products.box]\ndemand_per_week = 1\nprice = 9\n"
    store.save_shop(read_shop(shop.encode(), "shop.toml"), "shop")
    words = turn(show("order_of_work", OWN), "What to make")
    assert re.search(r"## (Make \d+|Nothing need be made)", words)
