"""Laps: looked at page by page, mended, removed, taken in, undone; never lost."""

import json
import re

import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import Shop
from analysis.screens import pairing, source
from analysis.screens.source import OWN
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY, said, turn_to


def tick(screen, row: int):
    """Tick a row of the table of laps, as a tap on its box does."""
    table = next(frame for frame in screen.dataframe if (frame.key or "").startswith("laps_table"))
    screen.session_state[table.key] = {"selection": {"rows": [row], "columns": [], "cells": []}}
    return screen.run()


def press(screen, label: str):
    """Press the button of that name."""
    next(button for button in screen.button if button.label == label).click()
    return screen.run()


def table(screen):
    return next(f for f in screen.dataframe if (f.key or "").startswith("laps_table")).value


def test_laps_come_a_page_at_a_time_newest_first(show):
    screen = show("laps")
    page = table(screen)
    assert len(page) == 50
    assert page["started_at"].is_monotonic_decreasing
    screen.pagination[0].set_value(2).run()
    assert not screen.exception
    assert table(screen)["started_at"].iloc[0] <= page["started_at"].iloc[-1]


def test_a_walk_does_not_read_as_work_at_the_operation_it_was_made_for(show):
    page = table(show("laps"))
    walks = page.loc[page["activity"] == "transport", "operation"]
    made = page.loc[page["activity"] == "operation", "operation"]
    assert len(walks) and walks.str.endswith(" (walk)").all()
    assert len(made) and not made.str.contains("(", regex=False).any()


def test_a_phone_shows_when_what_how_long_and_how_many_without_sliding(show):
    """Of its 390 pixels a phone leaves 325 beside the margins and the ticks; the year, which then
    is not in each row, is said above."""
    screen = show("laps")
    assert "newest first (these of 2026)" in said(screen)
    columns = json.loads(
        next(f for f in screen.dataframe if (f.key or "").startswith("laps_table")).proto.columns
    )
    first = [columns[name] for name in ("started_at", "operation", "seconds", "units")]
    assert sum(column["width"] for column in first) <= 325
    assert "YYYY" not in first[0]["type_config"]["format"]


def test_what_one_looks_for_is_what_one_gets(show):
    screen = show("laps")
    screen.selectbox(key="find_worker").set_value("helper")
    screen.selectbox(key="find_activity").set_value("rework").run()
    page = table(screen)
    assert len(page) > 0
    assert set(page["worker"]) == {"helper"} and set(page["activity"]) == {"rework"}
    screen.text_input(key="find_text").set_value("no such words anywhere").run()
    assert "No lap matches" in said(screen)


def test_days_are_those_of_the_shops_clock(show, needed_only):
    from datetime import date

    screen = show("laps")
    screen.date_input(key="find_from").set_value(date(2026, 11, 4))
    screen.date_input(key="find_to").set_value(date(2026, 11, 4)).run()
    assert len(table(screen)) == 3


def test_a_lap_is_corrected_keeps_its_history_and_is_brought_back(show, needed_only):
    screen = tick(show("laps"), 0)
    seconds = next(box for box in screen.text_input if box.label == "Seconds")
    before = float(seconds.value)
    seconds.set_value("1234")
    press(screen, "Save correction")
    assert "Saved: one lap corrected." in said(screen)
    newest = open_store(needed_only.url).laps().iloc[-1]
    assert newest.seconds == 1234
    words = said(tick(screen, 0))
    assert "What it was before" in words and "20 min 34 s" in words
    turn_to(screen, "Changes").button(key=f"undo_{needed_only.version()}").click().run()
    assert (
        "Taken back: Corrected: lap of fold, card box, 11 November 2026, 10:00: seconds."
        in said(screen)
    )
    assert open_store(needed_only.url).laps().iloc[-1].seconds == before


def test_a_correction_that_breaks_a_rule_is_refused_in_plain_words(show, needed_only):
    version = needed_only.version()
    screen = tick(show("laps"), 0)
    next(box for box in screen.text_input if box.label == "Seconds").set_value("soon")
    press(screen, "Save correction")
    assert "The correction was not taken in: 1 fault" in said(screen)
    assert "seconds is not a number" in said(screen)
    assert needed_only.version() == version


def field(screen, label: str):
    return next(box for box in screen.text_input if box.label == label)


def test_what_is_typed_for_one_lap_does_not_spill_to_another(show, needed_only):
    screen = tick(show("laps"), 0)
    field(screen, "Pieces").set_value("60")
    tick(screen, 1)
    assert field(screen, "Pieces").value == "1"


def test_mending_one_thing_leaves_the_rest_of_the_lap_to_the_last_digit(show, needed_only):
    lap = needed_only.laps().iloc[-1]
    exact = {"seconds": "1234.5678901", "started_at": "2026-11-11T10:00:00.123456+00:00"}
    needed_only.correct_lap(lap.lap_id, exact)
    screen = tick(show("laps"), 0)
    field(screen, "Pieces").set_value("7")
    press(screen, "Save correction")
    mended = needed_only.laps().iloc[-1]
    assert (mended.units, mended.seconds) == (7, 1234.5678901)
    assert mended.started_at.microsecond == 123456


def test_a_tick_is_gone_on_another_page(show):
    screen = tick(show("laps"), 4)
    assert any(button.label == "Save correction" for button in screen.button)
    screen.pagination[0].set_value(2).run()
    assert not any(button.label == "Save correction" for button in screen.button)


def test_a_removed_lap_counts_no_more_and_can_be_brought_back(show, needed_only):
    screen = tick(show("laps"), 3)
    press(screen, "Yes, remove it")
    assert needed_only.lap_count() == 23
    assert "**23 laps on record" in said(screen)
    turn_to(screen, "Changes").button(key=f"undo_{needed_only.version()}").click().run()
    assert needed_only.lap_count() == 24


def test_an_undone_change_offers_no_second_undo_but_its_undo_can_be_undone(show, needed_only):
    imported = needed_only.version()
    screen = turn_to(show("laps"), "Changes")
    screen.button(key=f"undo_{imported}").click().run()
    assert needed_only.lap_count() == 0
    with pytest.raises(KeyError):
        screen.button(key=f"undo_{imported}")
    turn_to(screen, "Changes").button(key=f"undo_{needed_only.version()}").click().run()
    assert needed_only.lap_count() == 24


def test_a_change_names_its_lap_as_a_maker_knows_it(show, needed_only):
    lap = needed_only.laps().iloc[0]
    needed_only.correct_lap(lap.lap_id, {"units": "3", "rework_units": "1"})
    needed_only.remove_laps([lap.lap_id])
    needed_only.undo(needed_only.version())
    words = said(turn_to(show("laps"), "Changes"))
    named = "lap of cut, card box, 2 November 2026, 08:00"
    assert f"Corrected: {named}: pieces, to put right" in words
    assert f"Removed: {named}" in words
    assert f"Undone: {named}" in words
    assert lap.lap_id not in words


def several(screen, rows: list[int]):
    key = next(frame.key for frame in screen.dataframe if (frame.key or "").startswith("laps_tab"))
    screen.session_state[key] = {"selection": {"rows": rows, "columns": [], "cells": []}}
    return screen.run()


def test_many_laps_are_given_a_batch_at_once_and_it_is_undone_at_once(show, needed_only):
    before = needed_only.laps()
    screen = several(show("laps"), [0, 1, 2])
    next(box for box in screen.text_input if box.key.startswith("give_batch")).set_value("007")
    press(screen, "Save for these laps")
    assert "Saved for 3 laps: batch." in said(screen)
    assert needed_only.laps().batch.tolist() == [""] * 21 + ["007"] * 3
    assert "Corrected: 3 laps: batch" in said(turn_to(screen, "Changes"))
    screen.button(key=f"undo_{needed_only.version()}").click().run()
    assert needed_only.laps().equals(before)


def test_a_batch_is_given_to_all_laps_found_beyond_those_ticked(show, needed_only):
    screen = show("laps")
    screen.selectbox(key="find_operation").set_value("fold").run()
    several(screen, [0, 1])
    next(box for box in screen.text_input if box.key.startswith("give_batch")).set_value("9")
    screen.checkbox[0].check()
    press(screen, "Save for these laps")
    laps = needed_only.laps()
    assert set(laps.operation[laps.batch == "9"]) == {"fold"} and (laps.batch == "9").sum() == 8


def test_thousands_of_laps_of_a_file_are_told_as_the_reader_writes_them(show):
    words = said(turn_to(show("laps"), "Changes"))
    assert re.search(r"Taken in: \d,\d{3} laps from laps\.csv", words)


def test_undoing_a_whole_file_asks_first(show, needed_only):
    screen = turn_to(show("laps"), "Changes")
    assert screen.button(key=f"undo_{needed_only.version()}").label == "Yes, take them out"
    assert "All laps of this file leave the figures" in said(screen)


def test_the_same_file_twice_adds_nothing_and_says_so(show, needed_only):
    screen = turn_to(show("laps"), "Take in")
    screen.file_uploader[0].upload("again.csv", NEEDED_ONLY.encode(), "text/csv").run()
    assert "0 new laps, 24 already there." in said(screen)
    assert "Undo it" not in said(screen)  # there is no change that could be undone
    assert needed_only.lap_count() == 24


def test_doubtful_laps_are_listed_with_what_taking_them_back_would_change(show):
    words = said(turn_to(show("laps"), "Set aside"))
    assert "left out of the times" in words
    assert "a piece, the average of all its laps, would be" in words


def test_an_empty_store_says_the_next_step_on_every_tab(show):
    screen = show("laps", source.OWN)
    assert "No laps on record yet" in said(screen)
    assert "Nothing has been changed yet" in said(turn_to(screen, "Changes"))
    for tab in ("Set aside", "Export"):
        assert "Next step: put in a file" in said(turn_to(screen, tab))


SLIPS = "started_at,seconds,product,operation,worker,batch\n" + "".join(
    f"2026-11-02T{8 + at // 60:02}:{at % 60:02}:00,{300 + at},card wallet,sew,Jo,1\n"
    for at in range(60)
) + "2026-11-02T10:30:00,320,card walet,sew,jo,1\n"  # fmt: skip


def test_a_name_that_may_be_a_slip_is_asked_about_and_one_tap_renames_all_its_laps(show, own_store):
    store = open_store(own_store)
    store.import_laps(read_laps(SLIPS.encode(), name="slips.csv"))
    screen = show("laps", OWN)
    assert "Product **card walet** (1 lap): did you mean **card wallet** (60 laps)?" in said(screen)
    assert "Worker **jo** (1 lap): did you mean **Jo** (60 laps)?" in said(screen)
    screen = press(screen, "Rename to card wallet")
    assert not screen.exception
    assert "Renamed: card walet is card wallet now, in all its laps." in said(screen)
    assert store.names("product") == ["card wallet"] and store.names("worker") == ["Jo", "jo"]
    screen = press(screen, "Undo that")
    assert store.names("product") == ["card walet", "card wallet"]


def test_two_names_that_are_two_are_not_asked_about_again(show, own_store):
    store = open_store(own_store)
    store.import_laps(read_laps(SLIPS.encode(), name="slips.csv"))
    screen = press(show("laps", OWN), "No, two names")
    assert not screen.exception
    for again in (screen, show("laps", OWN)):
        assert "card walet** (1 lap)" not in said(again) and "Worker **jo**" in said(again)


def test_screens_open_on_the_product_with_the_most_work(show, own_store):
    """Not on `card walet`, a product of one lap that the alphabet has first."""
    store = open_store(own_store)
    store.import_laps(read_laps(SLIPS.encode(), name="slips.csv"))
    assert show("batch_minutes", OWN).selectbox(key="minutes_product").value == "card wallet"
    assert show("piece_cost", OWN).selectbox(key="cost_piece").value == ("card wallet", "")


def test_a_tick_is_of_one_workshop_and_means_no_lap_of_the_other(show, needed_only, demo_folder):
    """Also where the other one is at the same version."""
    screen = several(show("laps", source.DEMO), [2])
    assert "Lap of" in screen.subheader[0].value
    for number in range(source._demo_store(demo_folder).version() - needed_only.version()):
        needed_only.save_shop(Shop(overhead_per_week=float(number)), "shop")
    screen.session_state["workshop"] = OWN
    screen.run()
    assert not screen.exception and not screen.subheader


def test_how_far_a_phones_clock_was_off_is_said_in_whole_words():
    assert pairing._how_far(60) == "1 minute behind"
    assert pairing._how_far(-25) == "25 s ahead"
    assert pairing._how_far(-300) == "5 minutes ahead"
    assert pairing._how_far(3 * 3600) == "3.0 hours behind"


def test_one_doubtful_lap_is_told_as_one(show, needed_only):
    late = "started_at,seconds,product,operation\n2026-11-12T08:00:00,20000,card box,cut\n"
    needed_only.import_laps(read_laps(late.encode(), name="late.csv"))
    words = said(turn_to(show("laps"), "Set aside"))
    assert "1 lap of 25 left out of the times**, because its time does not fit" in words
    assert "It still counts in pieces" in words
