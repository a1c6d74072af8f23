"""This week: a newcomer's way in, the three sentences, and what they rest on."""

import csv
import re
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import pandas as pd

from analysis.records.laps import read_laps
from analysis.screens import source, this_week_told
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY, said, tables

SAMPLES = Path(__file__).parents[2] / "data_samples"


def good_pieces_of_the_demo(monday: str) -> int:
    """Counted by hand from the sample file: pieces wrapped in a week, lost ones off."""
    with (SAMPLES / "laps.csv").open(encoding="utf-8", newline="") as rows:
        wrapped = [
            row
            for row in csv.DictReader(rows)
            if row["operation"] == "wrap"
            and row["activity"] == "operation"
            and _monday(row["started_at"]) == monday
        ]
    return sum(int(row["units"]) - int(row["scrap_units"]) for row in wrapped)


def _monday(started_at: str) -> str:
    year, week, _ = datetime.fromisoformat(started_at).isocalendar()
    return datetime.fromisocalendar(year, week, 1).date().isoformat()


def test_newcomer_reads_three_answers_about_the_demo_and_how_to_put_in_their_own(show):
    screen = show("this_week")
    words = said(screen)
    pieces = good_pieces_of_the_demo("2026-11-16")
    assert f"16 to 22 November 2026: {pieces} good pieces in" in words
    assert "Each hour at the bench earned about" in words
    assert "1. " in words and "Begin **" in words
    assert re.search(r"at the bench, [\d.]+ pieces an hour", words)
    assert re.search(r"a batch is \d+ pieces, .* at [\d.]+ pieces asked for a week", words)
    assert re.search(r"Put away what is packed: \d+ pieces of", words)
    assert "Finish batch 057 of" in words
    assert "next is *case in*, still to do on 39 of its 41 pieces" in words
    assert "overhead, before pay" in words and "Pay at the rates on Shop takes" in words
    assert "The biggest leak is" in words and "over the last 8 weeks worked" in words
    assert "Demo bindery" in words
    assert screen.file_uploader[0].label == "Drop in your own laps (CSV)"
    assert "Template to fill in (CSV)" in [button.label for button in screen.download_button]


def test_an_earlier_week_can_be_read_out(show):
    screen = show("this_week")
    earlier = screen.selectbox(key="week").options[3]
    screen.selectbox(key="week").select_index(3).run()
    pieces = good_pieces_of_the_demo("2026-10-26")
    assert earlier == "26 October to 1 November 2026"
    assert f"{earlier}: {pieces} good pieces in" in said(screen)


def test_empty_store_says_what_to_do_next(show):
    screen = show("this_week", source.OWN)
    assert "No laps yet" in said(screen)
    assert len(screen.file_uploader) == 1
    assert len(screen.download_button) == 1


def test_template_is_a_file_the_program_takes(own_store):
    from analysis.screens.parts import TEMPLATE

    assert len(read_laps(TEMPLATE.encode(), name="template").frame) == 3


def test_dropping_a_file_turns_to_ones_own_workshop_and_answers(show, own_store):
    screen = show("this_week")
    screen.file_uploader[0].upload("first.csv", NEEDED_ONLY.encode(), "text/csv").run()
    assert not screen.exception
    words = said(screen)
    assert "first.csv: 24 new laps" in words
    assert "9 to 15 November 2026: 3 good pieces in" in words
    assert "Demo bindery" not in words
    assert open_store(own_store).lap_count() == 24


def test_a_first_file_alone_says_what_to_fill_in_and_invents_no_money(show, first_file):
    words = said(show("this_week"))
    assert "What an hour earned is not known yet" in words
    assert "Fill in on Shop" in words
    assert "price and material of each product" in words
    assert "not known yet USD" not in words and "nan" not in words.lower()


def test_a_bad_file_is_refused_whole_with_each_fault_named(show, own_store):
    screen = show("this_week")
    messy = (SAMPLES / "messy_laps.csv").read_bytes()
    screen.file_uploader[0].upload("messy_laps.csv", messy, "text/csv").run()
    words = said(screen)
    assert "was not taken in: 11 faults" in words
    assert "Row 3: seconds is not a number, found" in words
    assert "Download the list of faults" in [button.label for button in screen.download_button]
    assert open_store(own_store).lap_count() == 0
    assert "Traceback" not in words


def test_a_file_that_is_no_table_is_a_fault_and_not_a_crash(show, own_store):
    screen = show("this_week")
    screen.file_uploader[0].upload("photo.csv", b"\x89PNG\r\n\x1a\n\0\0", "text/csv").run()
    assert not screen.exception
    assert "was not taken in" in said(screen)


def test_a_small_first_file_is_read_out_without_guesses(show, first_file):
    screen = show("this_week")
    words = said(screen)
    assert "The order of your work is taken from your laps; check it on *Shop*, *Route*." in words
    assert "You log no faults yet, so this cannot be told." in words
    assert "With more weeks, lines show" in words and "dashed lines" not in words
    assert "Add another file" in [folded.label for folded in screen.expander]


def test_nobody_is_told_of_a_guessed_order_where_there_is_a_route(show):
    assert "taken from your laps" not in said(show("this_week"))


def test_what_has_not_been_timed_for_months_is_not_called_last_week(show, own_store):
    old = NEEDED_ONLY.replace("2026-11-", "2026-03-")
    open_store(own_store).import_laps(read_laps(old.encode(), name="march.csv"))
    screen = show("this_week")
    assert "No laps since 11 March 2026." in said(screen)
    assert "last full week" not in screen.selectbox(key="week").value


def test_a_few_seconds_of_work_give_no_rate(show, own_store):
    row = "2026-11-02T08:00:00Z,20,card box,fold,6\n"
    file = "started_at,seconds,product,operation,units\n" + row
    open_store(own_store).import_laps(read_laps(file.encode(), name="six.csv"))
    words = said(show("this_week"))
    assert "6 good pieces in under a minute of work: too little to tell." in words
    assert "e+" not in words and " 0 hours" not in words


def test_a_leak_of_seconds_is_not_worth_naming(show, own_store):
    call = "started_at,seconds,product,operation,activity\n2026-11-11T12:00:00Z,30,,,delay\n"
    store = open_store(own_store)
    store.import_laps(read_laps(NEEDED_ONLY.encode(), name="first.csv"))
    store.import_laps(read_laps(call.encode(), name="call.csv"))
    assert "**No leak worth naming yet.**" in said(show("this_week"))


def test_the_order_of_advice_is_put_away_then_finish_then_begin(show):
    words = said(show("this_week"))
    steps = [words.index(f"\n{step}") for step in ("1. Put away", "2. Finish", "3. Begin")]
    assert steps == sorted(steps)
    assert "days with what is packed and on the bench" in words


def week_of_limits(pieces: tuple, standard: tuple):
    names = ("centre", "lower", "upper", "standard_centre", "standard_lower", "standard_upper")
    row = dict(zip(names, (*pieces, *standard), strict=True))
    return SimpleNamespace(good_units_per_bench_hour=2.0, standard_hours_per_bench_hour=0.5, **row)


def test_limits_that_nothing_can_fall_out_of_are_not_called_a_judgement():
    blind = this_week_told._ordinary(week_of_limits((2.4, 0.2, 4.7), (0.8, 0.0, 1.7)))
    assert "differ too much to call any of them unusual: batches come out whole" in blind
    assert "short products" not in blind  # standard times would have evened those out
    unknown = this_week_told._ordinary(week_of_limits((2.4, 0.2, 4.7), (float("nan"),) * 3))
    assert "long and short products are mixed, or batches come out whole" in unknown


def test_where_pieces_an_hour_cannot_warn_standard_times_do():
    warned = this_week_told._ordinary(week_of_limits((2.4, 0.2, 4.7), (0.8, 0.6, 1.0)))
    assert warned.startswith("Less than an ordinary week (0.6 to 1.0 standard hours")


def test_two_products_that_last_alike_are_called_a_tie():
    known = pd.DataFrame(
        {"product": ["box", "tray"], "variant": ["", ""], "lasts_in_all_days": [9.6, 10.1]}
    )
    assert "Nearly a tie with tray (10 days in all)" in this_week_told._near_tie(known)
    assert this_week_told._near_tie(known.assign(lasts_in_all_days=[9.0, 12.0])) == ""


def test_what_is_filled_in_on_shop_is_not_asked_for_again(show, needed_only):
    assert "needs what is on the shelf and how many are asked for a week" in said(show("this_week"))
    needed_only.save_shop(SHOP_WITH_DEMAND)
    words = said(show("this_week", source.OWN))
    assert "**What to make next** needs what is on the shelf; fill it in on Shop" in words
    assert "how many are asked for" not in words


SHOP_WITH_DEMAND = '[products."card box"]\ndemand_per_week = 40\n'
ONE_SHORT = "started_at,seconds,product,operation,batch,units\n" + "".join(
    f"2026-11-0{day}T{hour:02d}:00:00,600,card box,{operation},{batch},{units}\n"
    for day, batch, packed in ((2, "W1", 11), (4, "W2", 12))
    for hour, operation, units in ((8, "cut", 12), (9, "fold", 12), (10, "pack", packed))
)


def test_a_batch_one_piece_short_is_asked_about_and_finished_as_told(show, own_store):
    store = open_store(own_store)
    store.import_laps(read_laps(ONE_SHORT.encode(), name="short.csv"))
    words = said(show("this_week", source.OWN))
    assert "**Batch W1 of card box: one is missing**, 11 of 12 went through *pack*. Lost?" in words
    assert "last lap of *fold* in that batch and write 1 under *Lost*" in words
    assert "next is *pack*" not in words
    assert "for want of a few pieces: W1" in said(show("batch_minutes", source.OWN))
    laps, _ = store.page(0, 9, {"batch": "W1", "operation": "fold"})
    store.correct_lap(laps["lap_id"].iloc[0], {"scrap_units": "1"})
    assert "missing" not in said(show("this_week", source.OWN))
    assert "for want of" not in said(show("batch_minutes", source.OWN))


def test_the_shelf_is_listed_by_what_to_make_first_and_says_so(show):
    screen = show("this_week")
    assert "On top stands what to make first" in said(screen)
    [shelf] = [table for table in tables(screen) if "lasts in all (days)" in table]
    in_all = shelf["lasts in all (days)"].tolist()
    assert in_all == sorted(in_all) and len(in_all) > 3
    assert in_all[0] > shelf["the shelf alone (days)"].iloc[0]


def test_why_a_week_s_loss_differs_from_screen_to_screen_is_said_where_it_is_compared(
    show, own_store
):
    """This week takes eight weeks, Putting right all; a piece's cost takes the times of today."""
    leaks = said(show("this_week", source.DEMO))
    assert "over the last 8 weeks worked. *Putting right* looks at all 17" in leaks
    faults = said(show("putting_right", source.DEMO))
    assert "over the 17 weeks worked so far (*This week* takes the last 8 alone): " in faults
    assert "*What a piece costs* takes today's times, with rests" in faults
    assert "*Putting right* takes the times as they were" in said(show("piece_cost", source.DEMO))
    open_store(own_store).import_laps(read_laps(ONE_SHORT.encode(), name="short.csv"))
    assert "looks at all" not in said(show("this_week", source.OWN))


def test_where_a_route_leaves_open_what_comes_first_the_plan_is_named_and_not_a_guess():
    row = pd.Series({"product": "book", "variant": ""})
    route = pd.DataFrame(
        [("book", "", "fold", 1, (), "routing"), ("book", "", "cut", 2, (), "routing"),
         ("book", "", "sew", 3, ("fold", "cut"), "routing")],
        columns=["product", "variant", "operation", "position", "follows", "source"],
    )  # fmt: skip
    said_first = this_week_told._first_operation
    assert "Order of work" in said_first(row, route)
    assert said_first(row, route[route.operation != "cut"]) == ", first *fold*"
    assert said_first(row, route.assign(source="laps")) == ", first *fold*"
    assert said_first(pd.Series({"product": "box", "variant": ""}), route) == ""


def test_one_piece_an_hour_is_one(show, own_store):
    text = "started_at,seconds,product,operation\n2026-11-02T08:00:00,3600,card box,fold\n"
    open_store(own_store).import_laps(read_laps(text.encode(), name="one.csv"))
    assert "1 good piece in 1 hour at the bench, 1 piece an hour." in said(show("this_week"))


def test_a_first_weeks_leak_of_lost_pieces_is_told_as_that(show, own_store):
    rows = "".join(f"2026-11-0{day}T09:00:00,10000,box,glue,10,1\n" for day in (3, 4))
    laps = "started_at,seconds,product,operation,units,scrap_units\n" + rows
    open_store(own_store).import_laps(read_laps(laps.encode(), name="first.csv"))
    words = said(show("this_week", source.OWN))
    assert "**The biggest leak is faults of *glue* (mending and lost pieces)**" in words
    assert "of the time at the bench, in the one week worked." in words
    assert "In the one week worked so far." in words
