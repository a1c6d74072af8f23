"""A batch's minutes, as a maker reads it."""

import re

import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.screens import true_times
from analysis.screens.source import DEMO, OWN
from analysis.store.store import open_store
from tests.screens.driving import said, tables


def test_the_demo_is_answered_with_a_range_before_the_chart(show):
    screen = show("batch_minutes", DEMO)
    assert re.search(r"A good piece of .+ takes about [\d.]+ to [\d.]+ min", said(screen))
    assert "Most of it goes into" in said(screen)
    assert "The largest leak is" in said(screen)
    assert "nobody is at work on it" in said(screen)


def test_an_empty_store_says_the_next_step(show):
    screen = show("batch_minutes", OWN)
    assert "Next step" in screen.info[0].value
    assert not tables(screen)


def test_laps_without_batches_say_what_is_missing(show, first_file):
    screen = show("batch_minutes", OWN)
    assert "No lap names a batch yet" in screen.info[0].value
    assert "Give laps a batch, on Laps" in said(screen)


def test_the_time_of_each_operation_is_told_without_batches(show, first_file):
    times = next(t for t in tables(show("batch_minutes", OWN)) if "standard (s a piece)" in t)
    assert set(times["operation"]) == {"cut", "glue", "fold"}
    assert (times["standard (s a piece)"] > 0).all()


def test_a_first_batch_under_way_is_not_passed_off_as_a_finished_one(show, own_store):
    text = "started_at,seconds,product,operation,batch,units\n" + "".join(
        f"2026-11-02T{hour:02d}:00:00,600,card box,{operation},1,{units}\n"
        for hour, operation, units in ((8, "cut", 20), (9, "fold", 20), (10, "glue", 5))
    )
    open_store(own_store).import_laps(read_laps(text.encode(), name="first.csv"))
    words = said(show("batch_minutes", OWN))
    assert "No batch of card box is finished yet" in words
    assert "90 s for each piece started so far" in words
    assert "Finish the batch" in words


def test_two_small_batches_are_read_out_in_minutes_and_said_once_to_be_few(show, own_store):
    text = "started_at,seconds,product,operation,batch,units\n" + "".join(
        f"2026-11-0{day}T09:{minute}:00,200,card box,{operation},{day},4\n"
        for day in (2, 3)
        for minute, operation in (("00", "cut"), ("10", "fold"))
    )
    open_store(own_store).import_laps(read_laps(text.encode(), name="small.csv"))
    words = said(show("batch_minutes", OWN))
    assert words.count("oo few batches for a range") == 1
    assert "A batch lies 6.7 min with nobody at work on it" in words  # 600 s less 200


def test_the_table_carries_units_and_adds_up_to_the_whole(show):
    table = tables(show("batch_minutes", DEMO))[0]
    assert {"per good piece (min)", "per batch (min)", "share of bench time (%)"} <= set(table)
    rounded = 0.05 * len(table)  # each share is written with one decimal
    assert abs(table["share of bench time (%)"].sum() - 100) <= rounded


def test_one_batch_is_read_out_as_one(show):
    screen = show("batch_minutes", DEMO)
    batch = screen.selectbox(key="minutes_batch").options[2]
    screen.selectbox(key="minutes_batch").select(batch).run()
    assert not screen.exception
    assert f"Batch {batch} of" in said(screen)


def test_a_filter_leaves_less_time_than_there_is_in_all(show):
    screen = show("batch_minutes", DEMO)
    whole = tables(screen)[0]["per batch (min)"].sum()
    screen.selectbox(key="minutes_worker").select("helper").run()
    assert not screen.exception
    assert 0 < tables(screen)[0]["per batch (min)"].sum() < whole


def test_another_product_lets_go_of_a_batch_it_does_not_have(show):
    screen = show("batch_minutes", DEMO)
    batch = screen.selectbox(key="minutes_batch").options[2]
    screen.selectbox(key="minutes_batch").select(batch).run()
    other = screen.selectbox(key="minutes_product").options[1]
    screen.selectbox(key="minutes_product").select(other).run()
    assert not screen.exception
    assert other in said(screen)


def test_trade_terms_are_explained_a_tap_away(show):
    words = said(show("batch_minutes", DEMO))
    assert "Setup: Setting up:" in words
    assert "Rework: Putting right:" in words


def test_how_it_was_worked_out_names_the_method(show):
    screen = show("batch_minutes", DEMO)
    assert [box.label for box in screen.expander] == ["How this was worked out"]
    assert "standard error" in said(screen)


def test_each_operations_true_time_is_told_with_its_range_and_the_laps_it_needs(show):
    table = tables(show("batch_minutes", DEMO))[1]
    for head in ("observed", "standard"):
        value = table[f"{head} (s a piece)"]
        low, high = table[f"{head} (s a piece) low"], table[f"{head} (s a piece) high"]
        assert ((low <= value) & (value <= high)).all()
    assert (table["standard (s a piece)"] > table["normal (s a piece)"]).all()
    assert (table["laps they are worth"] <= table["laps"]).all()
    assert (table["laps needed for ±5 %"] >= 2).all()


def test_both_tables_of_operations_are_one_file_with_a_row_for_each():
    times = pd.DataFrame({"operation": ["sew", "=trim"], "standard (s a piece)": [461.0, 90.0]})
    faults = pd.DataFrame({"operation": ["sew", "glue"], "lost (%)": [1.1, 0.0]})
    text = true_times._both(times, faults).decode("utf-8-sig").splitlines()
    assert text[0] == "operation,standard (s a piece),lost (%)"
    assert text[1:] == ["sew,461.0,1.1", "'=trim,90.0,", "glue,,0.0"]


def test_operations_stand_in_the_order_they_are_worked_in(show):
    screen = show("batch_minutes", DEMO)
    for table in tables(screen)[1:3]:
        order = list(table["operation"])
        assert order.index("sew") < order.index("trim") < order.index("wrap")


def test_laps_short_of_five_percent_and_laps_left_out_are_told(show):
    words = said(show("batch_minutes", DEMO))
    assert re.search(r"time more laps of \*.+\* \(\d+ of \d+ needed\)", words)
    assert re.search(r"Doubtful laps left out, listed on \*Laps\*: \*.+\* \d \(with", words)


def test_faults_and_interruptions_are_told_with_ranges(show):
    screen = show("batch_minutes", DEMO)
    assert re.search(r"\d+ to \d+ % of .+ go through every step without a fault", said(screen))
    assert re.search(r"about [\d.]+ % come out good .+ range stands on", said(screen))
    right, stops = tables(screen)[2:4]
    for table, name in ((right, "no fault found there (%)"), (stops, "share of bench time (%)")):
        assert table[f"{name} low"].le(table[name]).all()
        assert table[name].le(table[f"{name} high"]).all()
    assert "telephone" in set(stops["cause"])


def test_a_batch_and_its_largest_leak_carry_a_range(show):
    words = said(show("batch_minutes", DEMO))
    assert re.search(r"the next batch, if of \d+ pieces, about [\d.]+ to [\d.]+ hours", words)
    assert re.search(
        r"From the first lap of the next batch to its last: [\d.]+ to [\d.]+ hours \(.+ days\)\. "
        r"But for its time at the bench nobody is at work on it",
        words,
    )
    assert re.search(
        r"largest leak is .+ about [\d.]+ to [\d.]+ (s|min) on every good piece", words
    )


def test_no_part_of_a_batch_is_told_longer_than_the_whole(show):
    screen = show("batch_minutes", DEMO)
    for product in screen.selectbox(key="minutes_product").options:
        screen.selectbox(key="minutes_product").select(product).run()
        within, whole = _hours_told(said(screen))
        assert within[0] <= whole[0] and within[1] <= whole[1]


def _hours_told(words):
    """(low, high) hours with nobody at work while the shop was open, and first lap to last."""
    span = r"([\d.,]+) to ([\d.,]+) hours"
    patterns = (f"{span} of that while", f"next batch to its last: {span}")
    found = (re.search(pattern, words).groups() for pattern in patterns)
    return [tuple(float(number.replace(",", "")) for number in ends) for ends in found]


def batches_of(sizes):
    """A batch a day: 12 s a piece to cut at nine, and 12 to fold, an hour for each six pieces after
    the cutting began."""
    return "started_at,seconds,product,operation,batch,units\n" + "".join(
        f"2026-11-{day:02d}T{hour:02d}:00:00,{12 * size},card box,{operation},{day},{size}\n"
        for day, size in enumerate(sizes, start=2)
        for hour, operation in ((9, "cut"), (9 + size // 6, "fold"))
    )


def test_batches_small_and_large_by_turns_promise_one_of_the_latest_size(show, own_store):
    text = batches_of((12, 6, 12, 6, 12, 6))
    open_store(own_store).import_laps(read_laps(text.encode(), name="turns.csv"))
    words = said(show("batch_minutes", OWN))
    assert "the next batch, if of 6 pieces, about 144 s" in words
    assert "From the first lap of the next batch to its last: 61.2 min" in words  # 3672 s


def test_hours_that_two_batches_of_a_size_bear_out_have_no_range_and_it_is_said(show, own_store):
    text = batches_of((12, 6, 12))
    open_store(own_store).import_laps(read_laps(text.encode(), name="turns.csv"))
    words = said(show("batch_minutes", OWN))
    assert "the next batch, if of 12 pieces, about 4.8 min" in words
    assert "only 2 finished batches of about 12 pieces, and it takes three" in words
    assert "Promise a day" not in words


def test_each_operation_s_minutes_have_their_range(show):
    screen = show("batch_minutes", DEMO)
    table = tables(screen)[0]
    low, high = (table[f"per good piece (min) {end}"] for end in ("low", "high"))
    assert (low <= table["per good piece (min)"]).all()
    assert (high >= table["per good piece (min)"]).all() and (high > low).any()
    assert re.search(
        r"Most of it goes into \*\*sew\*\*: \d+ %, .+ to .+ on every good piece", said(screen)
    )


@pytest.mark.parametrize("activity", ["setup", "rework"])
def test_a_batch_of_which_every_piece_was_lost_has_minutes_all_the_same(show, own_store, activity):
    text = (
        "started_at,seconds,product,operation,batch,scrap_units,activity\n"
        "2026-11-02T08:00:00,300,card box,fold,7,1,operation\n"
        f"2026-11-02T08:10:00,60,card box,fold,7,0,{activity}\n"
    )
    open_store(own_store).import_laps(read_laps(text.encode(), name="lost.csv"))
    screen = show("batch_minutes", OWN)
    words = said(screen)
    assert "Every piece of card box so far was lost: a batch took 6.0 min at the bench" in words
    assert ("The largest leak is **putting right**: 60 s a batch" in words) == (
        activity == "rework"
    )
    assert "More batches: one gives no range" in words
    assert "not known yet" not in words and "inf" not in _cells(screen)
    screen.selectbox(key="minutes_batch").select("7").run()
    assert "Every piece of batch 7 of card box was lost: it took 6.0 min" in said(screen)


def _cells(screen):
    return [str(cell) for table in tables(screen) for cell in table.to_numpy().ravel()]


def test_a_batch_of_one_piece_is_one_piece(show, own_store):
    text = batches_of((1,))
    open_store(own_store).import_laps(read_laps(text.encode(), name="one.csv"))
    assert "a batch, of 1 good piece on average" in said(show("batch_minutes", OWN))
