"""What a thumb, a foot or the other hand does on the bench page, and what the store then holds."""

import pytest
from playwright.sync_api import expect

from tests.browser.bench_server import PHONE, Phone, laps_of

APART = 320  # milliseconds between two taps that are meant: longer than a bounce
HELD = 750  # longer than what the page takes for a hold


def pass_time(phone, milliseconds=APART):
    phone.page.wait_for_timeout(milliseconds)


def laps_when_sent(server, phone):
    phone.waits_until_sent()
    return laps_of(server, phone.worker)


def test_space_enter_and_page_down_do_what_the_target_does(server, phone):
    for key in ("Space", "Enter", "PageDown", "Space"):
        phone.page.keyboard.press(key)
        pass_time(phone)
    phone.waits_for(3)
    assert len(laps_when_sent(server, phone)) == 3


def test_the_pedal_still_finds_the_target_after_a_chip_was_touched(server, phone):
    phone.tap()
    pass_time(phone)
    phone.page.locator("#sides").get_by_text("Walk").click()
    pass_time(phone)
    phone.page.keyboard.press("Space")
    pass_time(phone)
    phone.page.keyboard.press("Enter")
    phone.waits_for(1)
    laps = laps_when_sent(server, phone)
    assert sorted(lap["activity"] for lap in laps) == ["operation", "transport"]


def test_a_keyboard_that_walks_to_another_button_presses_that_one(server, phone):
    phone.tap()
    phone.waits_for(0)
    lost = phone.page.locator("#mark-scrap")
    expect(lost).to_be_enabled()  # before, it takes no focus
    lost.focus()
    pass_time(phone)
    phone.page.keyboard.press("Enter")
    phone.waits_for(1)
    assert [lap["scrap_units"] for lap in laps_when_sent(server, phone)] == [1]


def test_a_double_tap_counts_once(server, phone):
    phone.tap()
    pass_time(phone)
    phone.page.locator(".target").dblclick()
    phone.waits_for(1)
    pass_time(phone)
    assert len(laps_when_sent(server, phone)) == 1


def test_holding_the_target_or_the_pedal_says_that_this_one_was_fixed(server, phone):
    phone.tap()
    pass_time(phone)
    phone.page.locator(".target").click(delay=HELD)
    phone.waits_for(1)
    phone.page.get_by_text("Where did the fault come from?").wait_for()
    phone.page.keyboard.press("Space", delay=HELD)
    phone.waits_for(2)
    laps = laps_when_sent(server, phone)
    assert [(lap["rework_units"], lap["flags"]) for lap in laps] == [(1, "fixed_here")] * 2


def test_sliding_off_the_target_cancels_the_press(server, phone):
    phone.tap()
    pass_time(phone)
    box = phone.page.locator(".target").bounding_box()
    phone.page.mouse.move(box["x"] + 50, box["y"] + 50)
    phone.page.mouse.down()
    phone.page.mouse.move(box["x"] + 50, box["y"] - 60)
    phone.page.mouse.up()
    phone.tap()
    phone.waits_for(1)
    assert len(laps_when_sent(server, phone)) == 1


def test_a_lost_piece_takes_one_tap_and_its_cause_another(server, phone):
    phone.tap()
    pass_time(phone)
    phone.page.get_by_role("button", name="Done, lost", exact=True).click()
    phone.page.get_by_role("button", name="Other…").click()
    phone.page.get_by_label("Another cause").fill("thread broke")
    phone.page.get_by_role("button", name="Use this name").click()
    phone.page.locator("#sheet").wait_for(state="hidden")
    pass_time(phone)
    phone.page.get_by_role("button", name="Done, faulty", exact=True).click()
    phone.page.get_by_role("button", name="thread broke").click()
    phone.page.locator("#ask").wait_for(state="hidden")  # then the cause is on the phone's disk
    laps = laps_when_sent(server, phone)
    found = [(lap["rework_units"], lap["scrap_units"], lap["cause"]) for lap in laps]
    assert found == [(0, 1, "thread broke"), (1, 0, "thread broke")]


def test_a_lost_piece_is_confirmed_counted_apart_and_not_logged_twice(server, phone):
    page = phone.page
    phone.tap()
    pass_time(phone)
    page.get_by_role("button", name="Done, lost", exact=True).click()
    page.locator("#ask").get_by_text("Piece 1 noted: lost.").wait_for()
    page.locator("#marked").get_by_text("0 good, 1 lost").wait_for()
    page.locator("#ask").get_by_role("button", name="Undo").click()
    phone.waits_for(0)
    page.locator("#marked").wait_for(state="hidden")
    page.evaluate(MARK_AND_TAP)
    page.locator("#ask").get_by_text("second tap was the same piece").wait_for()
    phone.waits_for(1)
    assert [lap["scrap_units"] for lap in laps_when_sent(server, phone)] == [1]


MARK_AND_TAP = """() => {
  document.getElementById("mark-scrap").click();
  document.querySelector(".target").click();
}"""


def test_an_interruption_can_be_given_its_cause_in_one_tap(server, phone):
    page = phone.page
    phone.tap()
    pass_time(phone)
    page.locator("#sides").get_by_text("Interruption").click()
    pass_time(phone)
    phone.tap()
    page.locator("#ask").get_by_text("Why?").wait_for()
    page.get_by_role("button", name="Other…").click()
    page.get_by_label("Another cause").fill("somebody at the door")
    page.get_by_role("button", name="Use this name").click()
    page.locator("#sheet").wait_for(state="hidden")
    [lap] = laps_when_sent(server, phone)
    assert (lap["activity"], lap["cause"]) == ("delay", "somebody at the door")


def test_the_last_laps_are_told_apart_by_piece_and_seconds(phone):
    for _ in range(3):
        phone.tap()
        pass_time(phone)
    phone.waits_for(2)
    phone.more("Last laps")
    heads = phone.page.locator(".lap-head").all_inner_texts()
    assert [head.split(":")[0] for head in heads] == ["Piece 2", "Piece 1"]
    assert all(head.endswith(" s") for head in heads)


def test_undo_takes_the_lap_out_of_the_store_too(server, phone):
    phone.tap()
    pass_time(phone)
    phone.tap()
    phone.waits_for(1)
    assert len(laps_when_sent(server, phone)) == 1
    phone.page.get_by_role("button", name="Undo", exact=True).click()
    phone.waits_for(0)
    pass_time(phone)
    phone.tap()
    phone.waits_for(1)
    [lap] = laps_when_sent(server, phone)
    between_first_and_last = (phone.taps[-1][0] - phone.taps[0][0]) / 1000
    assert lap["seconds"] == pytest.approx(between_first_and_last, abs=0.02)


def test_a_forgotten_switch_is_mended_in_two_taps(server, phone):
    page = phone.page
    phone.choose_operation("glue")
    phone.choose_operation("sew", known=True)
    for _ in range(3):
        phone.tap()
        pass_time(phone)
    phone.waits_for(2)
    page.locator("#route").get_by_text("glue", exact=True).click()
    page.locator("#ask").get_by_text("All since").click()
    phone.waits_for(2)
    laps = laps_when_sent(server, phone)
    assert [lap["operation"] for lap in laps] == ["glue", "glue"]
    assert all("mended" in lap["flags"] for lap in laps)


def test_a_tray_asks_once_for_done_fixed_and_lost(server, phone):
    page = phone.page
    phone.more("Pieces in one go")
    page.locator("#sheet").get_by_role("button", name="10", exact=True).click()
    phone.tap()
    pass_time(phone)
    phone.tap()
    phone.waits_for(10)
    page.get_by_role("button", name="Count: done, fixed, lost").click()
    page.get_by_role("button", name="of these put right: one more").click()
    page.get_by_role("spinbutton", name="of these lost").fill("2")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.locator("#sheet").wait_for(state="hidden")
    page.locator("#ask").wait_for(state="hidden")
    [lap] = laps_when_sent(server, phone)
    assert (lap["units"], lap["rework_units"], lap["scrap_units"]) == (10, 1, 2)


def test_two_people_share_a_propped_phone(server, phone):
    page = phone.page
    page.locator("#who").click()
    page.get_by_role("button", name="Two targets").click()
    page.locator("#sheet-close").click()
    left, right = page.locator(".target").nth(0), page.locator(".target").nth(1)
    left.click()
    right.click()
    pass_time(phone)
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    phone.waits_for(2)
    phone.waits_until_sent()
    workers = {lap["worker"] for lap in server.laps() if lap["started_at"] >= phone.opened_at}
    assert len(workers) == 2 and phone.worker in workers


def test_a_lap_from_memory_can_be_added(server, phone):
    phone.more("Lap from memory")
    phone.page.get_by_label("Minutes it took").fill("12")
    phone.page.get_by_role("spinbutton", name="Pieces").fill("6")
    phone.page.get_by_role("button", name="Keep this lap").click()
    phone.waits_for(6)
    [lap] = laps_when_sent(server, phone)
    assert (lap["seconds"], lap["units"], lap["flags"]) == (720, 6, "from_memory")


@pytest.mark.parametrize(
    ("locale", "typed", "ended", "shown"),
    [("de-DE", "1,5", "14:30", "began 14:28"), ("en-US", "1.5", "14:30", "began 2:28 PM")],
)
def test_each_country_types_and_reads_its_own_numbers_and_times(
    server, browser, locale, typed, ended, shown
):
    context = browser.new_context(viewport=PHONE, has_touch=True, locale=locale)
    phone = Phone(context, server.address, worker=f"maker in {locale}").open()
    phone.choose_work(product=f"notebook in {locale}")
    phone.more("Lap from memory")
    phone.page.get_by_label("Minutes it took").fill(typed)
    phone.page.get_by_label("Ended at").fill(ended)
    phone.page.get_by_role("button", name="Keep this lap").click()
    phone.waits_for(1)
    phone.waits_until_sent()
    [lap] = laps_of(server, phone.worker)
    assert lap["seconds"] == 90
    phone.more("Last laps")
    phone.page.locator("#sheet").get_by_text(shown).wait_for()
    assert phone.errors == []
    context.close()


def test_packed_pieces_go_into_stock_and_close_the_batch(server, phone):
    page = phone.page
    phone.tap()
    pass_time(phone)
    phone.tap()
    phone.waits_for(1)
    phone.more("Batch, put into stock")
    page.get_by_role("button", name="is packed: put into stock").click()
    page.get_by_role("spinbutton", name="pieces").fill("25")
    page.get_by_role("button", name="Put into stock").click()
    page.get_by_text("no batch yet").wait_for()
    phone.waits_until_sent()
    page.wait_for_function(BATCHES_OF, arg=f"notebook of {phone.worker}")
    [event] = server.rows("SELECT * FROM stock_event WHERE ended_by IS NULL")
    assert (event["product"], event["units"]) == (f"notebook of {phone.worker}", 25)


BATCHES_OF = """async (product) => {
  const lists = await (await fetch("/bench/lists")).json();
  return lists.batches.every((batch) => batch.product !== product);
}"""


def test_a_batch_that_is_full_is_noticed_and_the_next_begins_in_one_tap(server, phone):
    phone.page.locator("#work").click()
    phone.page.get_by_role("button", name="New batch").click()
    phone.page.get_by_label("Number").fill("701")
    phone.page.get_by_label("pieces", exact=True).fill("2")
    phone.page.get_by_role("button", name="Begin this batch").click()
    for pause in (0, 400, 400, 400):
        phone.page.wait_for_timeout(pause)
        phone.tap()
    ask = phone.page.locator("#ask")
    ask.get_by_text("Piece 3, but batch 701 has 2.").wait_for()
    ask.get_by_role("button", name="Batch 702 began").click()
    phone.page.locator("#work").get_by_text("batch 702").wait_for()
    phone.waits_for(1)
    phone.waits_until_sent()
    assert [lap["batch"] for lap in laps_of(server, phone.worker)] == ["701", "701", "702"]


def test_the_pace_cue_tells_over_the_aim_by_shape_words_and_colour(phone):
    phone.more("Pace cue")
    phone.page.get_by_label("Seconds a piece").fill("2")
    phone.page.get_by_role("button", name="Show the cue").click()
    phone.tap()
    target = phone.page.locator(".target")
    colour = "node => getComputedStyle(node).backgroundColor"
    target.get_by_text("○ 2 s to the aim").wait_for()
    ahead = target.evaluate(colour)
    target.get_by_text("▲ 1 s over the aim").wait_for()
    assert target.evaluate(colour) != ahead


def test_something_that_dries_says_when_it_is_dry(phone):
    phone.more("Something dries")
    phone.page.get_by_role("button", name="10 min", exact=True).click()
    phone.page.locator("#drying").get_by_text("dry at").wait_for()


def test_names_that_are_script_are_shown_as_text(server, context):
    evil = "<img src=x onerror=window.hacked=1>"
    phone = Phone(context, server.address, worker=f"{evil} worker").open()
    phone.choose_work(product=f"{evil} product", operation=f"{evil} operation")
    page = phone.page
    phone.tap()
    pass_time(phone)
    phone.more("Note")
    page.get_by_label("Note on the running lap").fill(f"{evil} note")
    page.get_by_role("button", name="Keep").click()
    page.get_by_role("button", name="Done, lost", exact=True).click()
    page.get_by_role("button", name="Other…").click()
    page.get_by_label("Another cause").fill(f"{evil} cause")
    page.get_by_role("button", name="Use this name").click()
    for sheet in ("Last laps", "Forgot to switch", "Batch, put into stock", "Two people"):
        phone.more(sheet)
        page.locator("#sheet-close").click()
    phone.waits_until_sent()
    page.reload()
    page.locator("#route").get_by_text(f"{evil} operation").wait_for()
    assert page.evaluate("window.hacked === undefined && document.images.length === 0")
    [lap] = laps_of(server, f"{evil} worker")
    assert (lap["product"], lap["cause"], lap["note"]) == (
        f"{evil} product", f"{evil} cause", f"{evil} note",
    )  # fmt: skip
