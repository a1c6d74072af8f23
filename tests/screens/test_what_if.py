"""What if, as a maker asks it: a helper, a machine, a move, with the answer in plain words."""

import dataclasses
import re
import tomllib
from types import SimpleNamespace

import pytest

from analysis.decisions.answer import DO, SoFar
from analysis.records.laps import read_laps
from analysis.records.scenario import KIND, read_scenario, scenario_of
from analysis.records.shop import read_shop
from analysis.records.toml import parsed
from analysis.screens import (
    saves,
    what_if,
    what_if_drafts,
    what_if_fields,
    what_if_form,
    what_if_jobs,
    what_if_told,
)
from analysis.screens.source import DEMO, OWN, SAMPLES
from analysis.store.store import open_store
from tests.memo.pages import sample_answer
from tests.screens.driving import (
    LONGEST,
    NEEDED_ONLY,
    end_what_is_beside_the_page,
    said,
    tables,
)

ROUTE = "product,operation,after,seconds\ncard box,cut,,300\ncard box,glue,cut,300\n" \
        "card box,fold,glue,300\n"  # fmt: skip
SHOP = """
[workers.maker]
{wage}hours_per_week = 20
[products."card box"]
demand_per_week = 120
batch_size = 10
{price}material_cost = 2.0
"""
WAGE, PRICE = "cost_per_hour = 20.0\n", "price = 15.0\n"


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    """No list of an earlier test; its answers stay, as those of the same question do. A first
    answer is waited for, however busy the machine is."""
    what_if_drafts._remembered.clear()
    monkeypatch.setattr(what_if_jobs, "FIRST_WAIT_SECONDS", 60)


@pytest.fixture
def nothing_answered():
    """No answer of an earlier test, and none left to a later one."""
    what_if_jobs.jobs.clear()
    yield
    end_what_is_beside_the_page()
    what_if_jobs.jobs.clear()


@pytest.fixture
def first_answers_only(nothing_answered, monkeypatch):
    """For what is typed into the form: each answer is over with its first runs."""
    monkeypatch.setattr(what_if_jobs.Job, "go_on", lambda job: job.over.set())


def box_store(url: str, wage: str = WAGE, price: str = PRICE):
    """A store with a week of laps; with what its shop file does not say."""
    store = open_store(url)
    store.import_laps(read_laps(NEEDED_ONLY.encode(), name="first.csv"))
    store.save_routing(ROUTE)
    store.save_shop(read_shop(SHOP.format(wage=wage, price=price).encode(), "shop.toml"), "s")
    return store


@pytest.fixture(scope="module")
def boxes(tmp_path_factory):
    """The store of `box_maker`, its figures worked out once."""
    return box_store(f"sqlite:///{tmp_path_factory.mktemp('boxes') / 'workshop.sqlite'}")


@pytest.fixture
def box_maker(boxes, one_demo, monkeypatch):
    """One's own store with laps and a shop, and no list of scenarios yet; no record may change."""
    version = boxes.version()
    boxes.remember(what_if_drafts.REMEMBERED, "")
    monkeypatch.setenv("WORKSHOP_STORE", boxes.url)
    yield
    assert boxes.version() == version


def played(screen):
    """The screen once all its scenarios are played through; an earlier test may have left some."""
    jobs = [job for job in what_if_jobs.jobs().all() if not job.left]
    for _ in range(LONGEST * len(jobs)):
        for job in jobs:
            job.asked()  # as an open page does
        if all(job.over.wait(1 / len(jobs)) for job in jobs):
            break
    assert all(job.over.is_set() and not job.left for job in jobs)
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def turn(screen, part):
    screen.session_state["what_if_part"] = part
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def part_key(screen):
    """Where the open draft's form keeps which part of it is shown."""
    groups = screen.get("button_group")
    return next(one.key for one in groups if (one.key or "").startswith("what_if_of_"))


def widget(kind, label):
    return next(one for one in kind if one.label.startswith(label))


def type_in(screen, label, value):
    kind = screen.number_input if isinstance(value, int | float) else screen.text_input
    widget(kind, label).set_value(value).run()
    assert not screen.exception, screen.exception[0].message
    return said(screen)


def press(screen, label):
    widget(screen.button, label).click().run()
    assert not screen.exception, screen.exception[0].message
    return said(screen)


def test_the_answer_is_one_sentence_first_and_how_sure_is_said_in_runs(show):
    words = said(played(show("what_if", DEMO)))
    assert re.search(r"## A second helper, eight hours a week\. (Do it|Not yet|Do not)", words)
    assert re.search(r"Sold in a week: \d+ before, \d+ after \(\d+ to \d+\)", words)
    for heading in ("What would have to be true", "What would settle it",
                    "What moves the answer", "The money of this change",
                    "Before anything is signed or the helper is at work"):  # fmt: skip
        assert f"**{heading}**" in words, heading
    assert "employment law where the shop is" in words and "licensed" in words


def test_before_after_and_difference_stand_side_by_side_as_plain_ranges(show):
    table = tables(played(show("what_if", DEMO)))[0]
    assert list(table)[:2] == ["an average week", "before"]
    sold = table[table["an average week"] == "sold (pieces)"].iloc[0]
    assert sold["before low"] <= sold["before"] <= sold["before high"]
    for _, row in table.iterrows():
        seen = [
            float(str(row[name]).replace(",", "")) for name in ("before", "after", "difference")
        ]
        assert round(seen[1] - seen[0], 1) == seen[2], row["an average week"]


def test_the_money_stands_there_part_by_part_and_adds_up_as_shown(show):
    table = tables(played(show("what_if", DEMO)))[1]
    assert list(table["money (USD)"]) == ["Sales", "Material", "Pay of the second helper",
                                          "All together"]  # fmt: skip
    for column in ("in all", "at today's worth"):
        *parts, total = (float(str(cell).replace(",", "")) for cell in table[column])
        assert sum(parts) == total
    assert list(table["when"])[2:] == ["136 a week", "over 2 years"]


def test_the_money_stands_there_by_the_calendar_and_ends_at_the_same_sum(show):
    listed, by_calendar = tables(played(show("what_if", DEMO)))[1:3]
    assert list(by_calendar["money (USD)"]) == ["weeks 1 to 13", "weeks 14 to 26",
                                                "weeks 27 to 52", "weeks 53 to 104"]  # fmt: skip
    each, so_far = (
        [float(str(cell).replace(",", "")) for cell in by_calendar[column]]
        for column in ("in these weeks", "so far")
    )
    assert sum(each) == so_far[-1] == float(str(listed["in all"].iloc[-1]).replace(",", ""))


def test_no_percentile_or_present_value_stands_among_the_plain_words(show):
    screen = played(show("what_if", DEMO))
    worked_out = next(one for one in screen.expander if one.label == "How this was worked out")
    hidden = {id(one) for one in worked_out.markdown}
    plain = "\n".join(one.value for one in screen.markdown if id(one) not in hidden)
    full = "\n".join(one.value for one in worked_out.markdown)
    plain = plain.replace(full, "")
    for word in ("percentile", "present value", "tornado", "NPV", "discount"):
        assert word not in plain
    assert "In plain words" in full and "percentile" in full


def test_a_first_answer_does_not_wait_for_all_runs(show, nothing_answered, monkeypatch):
    monkeypatch.setattr(what_if_jobs.Job, "go_on", lambda job: None)
    screen = show("what_if", DEMO)
    for job in what_if_jobs.jobs().all():
        assert job.first.wait(LONGEST)
    words = said(screen.run())
    assert "Sold in a week" in words
    assert re.search(r"An answer from \d runs? so far; getting surer", words)
    assert widget(screen.button, "Stop here")


def test_a_stop_keeps_what_is_done_and_can_be_gone_on_from(show, nothing_answered, monkeypatch):
    monkeypatch.setattr(what_if_jobs, "ALL_RUNS", 100_000)
    screen = show("what_if", DEMO)
    for job in what_if_jobs.jobs().all():
        assert job.first.wait(LONGEST)
    screen.run()
    press(screen, "Stop here")
    words = said(played(screen))
    assert re.search(r"Stopped: this rests on [\d,]+ runs? instead of 100,000", words)
    assert "Sold in a week" in words
    monkeypatch.setattr(what_if_jobs, "ALL_RUNS", 6)
    press(screen, "Go on")
    assert "Stopped" not in said(played(screen))


def test_an_empty_workshop_is_told_the_next_step(show):
    screen = show("what_if", OWN)
    assert "Next step: drop in a file of laps" in screen.info[0].value


def test_a_shop_without_prices_is_asked_for_them(show, own_store):
    box_store(own_store, price="")
    words = said(show("what_if", OWN))
    assert "card box: what a piece is sold for (Shop, Products)" in words
    assert "Give them on Shop" in words


def test_a_shop_without_a_route_is_asked_for_it(show, needed_only):
    shop = SHOP.format(wage=WAGE, price=PRICE).encode()
    needed_only.save_shop(read_shop(shop, "shop.toml"), "shop")
    assert "The shop has no route yet" in said(show("what_if", OWN))


def test_a_missing_wage_is_asked_for_and_once_given_answered(show, own_store):
    box_store(own_store, wage="")
    screen = show("what_if", OWN)
    words = said(screen)
    assert "## One thing more:" in words and "Cost of an hour" in words
    assert "The wages of your people stand on Shop, People" in words
    turn(screen, "Change it")
    assert "Give the wage with all that is paid on it" in screen.error[0].value.replace("\\", "")
    type_in(screen, "Cost of an hour", 18.0)
    assert not screen.error
    assert "at today's worth" in said(played(screen))


def test_the_wage_of_a_helper_is_at_first_the_lowest_of_the_shop(
    show, box_maker, first_answers_only
):
    screen = turn(show("what_if", OWN), "Change it")
    assert widget(screen.number_input, "Cost of an hour").value == 20.0
    assert widget(screen.number_input, "Hours a week").value == 8.0


@pytest.mark.parametrize(
    ("label", "value", "told"),
    [
        ("Hours a week", 0.0, "Hours a week: leaves no hours to work"),
        ("Cost of an hour", -3.0, "is less than nothing"),
        ("First pieces take", "a lot", "Give percent, such as 120, or a range, 100 to 140"),
        ("First pieces take", "140 to 100", "has its higher end first"),
    ],
)
def test_a_figure_that_cannot_be_is_told_beside_its_field(
    show, box_maker, first_answers_only, label, value, told
):
    screen = turn(show("what_if", OWN), "Change it")
    words = type_in(screen, label, value)
    assert "## This does not fit together yet:" in words
    assert told in screen.error[0].value.replace("\\", "")


def test_a_helper_who_leaves_before_coming_is_told_so_in_the_forms_own_words(
    show, box_maker, first_answers_only
):
    screen = turn(show("what_if", OWN), "Change it")
    widget(screen.toggle, "More to say").set_value(True).run()
    type_in(screen, "From week", 20)
    type_in(screen, "Until week", 5)
    assert "Until week: is before the first week" in screen.error[0].value.replace("\\", "")
    type_in(screen, "Until week", 40)
    assert not screen.error


def test_a_machine_begins_with_the_fullest_operation_and_asks_only_its_price(show, box_maker):
    screen = turn(show("what_if", OWN), "Change it")
    words = press(screen, "Machine")
    assert "## One thing more:" in words and "Price (" in words
    assert widget(screen.multiselect, "For (operations)").value[0] in ("cut", "glue", "fold")
    type_in(screen, "Price", "800-1200")
    words = said(played(screen))
    assert re.search(
        r"A machine to \w+: 50 to 80 % of the present time \(63.2 % in the middle\), "
        r"for 800 to 1,200 \w* ?\(1,000 on average\)",
        words,
    )


def cells(screen, what):
    """How the answer knows a figure, by its name in "What the answer rests on"."""
    rests = next(one for one in tables(screen) if "how known" in one)
    return dict(zip(rests["what"], rests["how known"], strict=True))[what]


def test_what_the_program_proposed_is_not_called_given_until_it_is_set_or_confirmed(
    show, box_maker, first_answers_only
):
    screen = turn(played(show("what_if", OWN)), "Change it")
    words = said(screen)
    assert "**Proposed, yours to set** under *Change it*: Hours a week: 8" in words
    assert re.search(r"; Cost of an hour \(\w*\): 20\.", words)
    captions = [one.value for one in screen.caption]
    assert captions.count("proposed; yours to set") == 2  # hours and wage
    assert cells(turn(screen, "The answer"), "The new helper") == "proposed; yours to set"
    turn(screen, "Change it")
    type_in(screen, "Hours a week", 9.0)  # one of the two is set
    words = said(played(screen))
    assert "Proposed, yours to set** under *Change it*: Cost of an hour" in words
    assert "Hours a week" not in words.split("Proposed, yours to set")[1].split(".")[0]
    assert cells(turn(screen, "The answer"), "The new helper") == "proposed; yours to set"
    turn(screen, "Change it")
    press(screen, "What is proposed here is right")
    assert "Proposed, yours to set" not in said(screen)
    assert "proposed; yours to set" not in [one.value for one in screen.caption]
    assert cells(turn(screen, "The answer"), "The new helper") == "as given"


def test_the_list_remembers_what_nobody_has_set(show, box_maker, first_answers_only):
    press(turn(show("what_if", OWN), "Change it"), "Demand")
    what_if_drafts._remembered.clear()  # what a new process begins with
    screen = turn(show("what_if", OWN), "Change it")
    screen.selectbox[0].set_value("1").run()
    played(screen)
    assert "Asked for, % of today: 110 to 130" in said(screen).split("Proposed, yours to set")[1]


def test_of_two_machines_each_keeps_what_is_proposed_of_it():
    known = what_if_drafts.Known(("sew",), (), ("box",), "sew", None)
    tables = what_if_drafts.begun("equipment", known)
    what_if_drafts.begin_part(tables, "equipment", known)
    first, second = ("equipment", 0, "time_factor"), ("equipment", 1, "time_factor")
    assert what_if_drafts.proposed(tables) == (first, second)
    what_if_drafts.own(tables, [first])
    assert what_if_drafts.proposed(tables, ("equipment", 0)) == ()
    what_if_drafts.without_machine(tables, 0)
    assert what_if_drafts.proposed(tables) == (first,), "the second has moved up"
    assert what_if_drafts.read(tables).proposed == (first,)
    assert set(what_if_drafts.read(tables).faults) == {("equipment", 0, "price")}


def test_a_file_taken_home_names_what_nobody_has_set():
    from analysis.screens.what_if_more import _not_set

    known = what_if_drafts.Known(("sew",), (), ("box",), "sew", 12.0)
    tables = what_if_drafts.begun("helper", known)
    line = _not_set(what_if_drafts.read(tables))
    assert line == (
        "# proposed by the program, not yet set: helper.hours_per_week, helper.cost_per_hour\n"
    )
    assert tomllib.loads(line) == {}
    assert _not_set(what_if_drafts.read(what_if_drafts.samples()[0])) == ""


def test_how_far_is_looked_ahead_stands_among_what_a_phone_shows():
    whole = sample_answer("what_if_machine")
    table = what_if_told.comparison([whole])
    head = re.findall(r"<th scope=col[^>]*>([^<]+)", table.html)
    assert "looked ahead" in head[: table.lead] and "said in short" in head[: table.lead]


def test_a_move_and_a_helper_in_one_scenario_are_answered_together(show, box_maker):
    screen = turn(show("what_if", OWN), "Change it")
    screen.session_state[part_key(screen)] = "move"
    screen.run()
    widget(screen.toggle, "A move is part").set_value(True).run()
    words = type_in(screen, "More rent than now", "40 to 60")
    words = said(played(screen))
    assert "another room for 40 to 60" in words and "new helper" in words
    assert "lease" in words


def test_a_scenario_removed_comes_back_where_it_was(show, first_answers_only):
    screen = turn(show("what_if", DEMO), "Change it")
    before = list(screen.selectbox[0].options)
    press(screen, "Remove this one")
    assert screen.selectbox[0].options == before[1:]
    press(screen, "Bring back")
    assert screen.selectbox[0].options == before
    assert "A second helper" in said(screen)


def test_a_switch_of_a_scenario_removed_meanwhile_or_that_stands_as_it_did_changes_nothing(
    monkeypatch,
):
    """Streamlit says so of widgets of a page that a tap broke off while it was drawn."""
    state = {"switch": True}
    monkeypatch.setattr(what_if_form.st, "session_state", state)
    drafts = SimpleNamespace(
        all={"1": {"helper": {"hours_per_week": 8}}}, url="", keep=lambda: None
    )
    what_if_form._switch(drafts, "7", "helper", None, "switch")
    what_if_form._switch(drafts, "1", "helper", None, "switch")
    assert drafts.all == {"1": {"helper": {"hours_per_week": 8}}}
    state["switch"] = False
    what_if_form._switch(drafts, "1", "helper", None, "switch")
    assert drafts.all == {"1": {}}


def test_a_second_tap_of_an_impatient_finger_is_no_second_wish():
    taken = []
    tap = saves.once(taken.append)
    tap("machine")
    tap("machine")
    assert taken == ["machine"]


def test_what_was_typed_does_not_bring_back_a_part_taken_out_in_the_same_moment(
    show, box_maker, first_answers_only
):
    screen = turn(show("what_if", OWN), "Change it")
    widget(screen.number_input, "Hours a week").set_value(5.0)
    widget(screen.toggle, "A helper is part").set_value(False)
    screen.run()
    (drafts,) = screen.session_state["what_if"].values()
    assert "helper" not in drafts["0"]


def test_what_was_typed_for_a_machine_taken_out_is_not_the_next_ones(
    show, box_maker, first_answers_only
):
    screen = turn(show("what_if", OWN), "Change it")
    press(screen, "Machine")
    press(screen, "One more machine")
    widget(screen.selectbox, "Which machine").set_value(0).run()
    widget(screen.text_input, "Price").set_value("800")
    widget(screen.button, "Without this machine").click()
    screen.run()
    (drafts,) = screen.session_state["what_if"].values()
    assert [machine.get("price") for machine in drafts["1"]["equipment"]] == [None]


def test_a_page_opened_anew_finds_the_scenarios_again(show, box_maker, first_answers_only):
    screen = turn(show("what_if", OWN), "Change it")
    type_in(screen, "Hours a week", 11.0)
    press(screen, "Copy this one")
    again = turn(show("what_if", OWN), "Change it")
    assert again.selectbox[0].options == screen.selectbox[0].options
    assert widget(again.number_input, "Hours a week").value == 11.0


def test_scenarios_are_still_there_after_the_program_was_ended(show, box_maker, first_answers_only):
    screen = turn(show("what_if", OWN), "Change it")
    type_in(screen, "Hours a week", 11.0)
    type_in(screen, "First pieces take", "not yet known")  # half done is kept as well
    press(screen, "Copy this one")
    what_if_drafts._remembered.clear()  # what a new process begins with
    again = turn(show("what_if", OWN), "Change it")
    assert again.selectbox[0].options == screen.selectbox[0].options
    assert widget(again.number_input, "Hours a week").value == 11.0
    assert widget(again.text_input, "First pieces take").value == "not yet known"


def test_scenarios_side_by_side_share_their_luck_and_the_dearest_is_named(show):
    screen = turn(played(show("what_if", DEMO)), "Side by side")
    screen = played(screen)
    table = tables(screen)[0]
    assert list(table["scenario"])[0] == "A second helper, eight hours a week"
    assert len(table) == 4
    # The same demand comes either way in the first and the third: what is sold before is the same.
    before = table["sold a week, before"]
    assert before[0] == before[2]
    assert re.search(r"\*\*(The best of them is|None of the 4 pays)", said(screen))


def test_a_gain_that_hangs_on_demand_is_not_short_for_do_it_among_others():
    whole = sample_answer("what_if_machine")
    hangs = dataclasses.replace(whole, verdict=DO, condition="demand grows by at least about 12 %")
    said = what_if_told.comparison([hangs]).csv.decode()
    assert "do it, only if demand grows by at least about 12 %" in said


def test_a_tenth_that_nobody_gave_is_said_to_be_tried_and_what_moves_nothing_takes_one_line():
    whole = sample_answer("what_if_machine")
    lines = what_if_told.movers(whole)
    for line, one in zip(lines, whole.movers, strict=False):
        assert (what_if_told.TRIED in line) == one.tried
        at_low, at_high = re.findall(r"a (?:gain|loss) of [\d,]+ USD", line)
        assert at_low != at_high, "a row that moves nothing"
    assert "running cost of the machine" in what_if_told.unmoving(whole)
    assert what_if_told.unmoving(dataclasses.replace(whole, unmoving=())) == ""


def test_while_an_answer_stands_no_second_figure_for_the_money_is_told():
    whole = sample_answer("what_if_machine")
    job = what_if_jobs.Job(None, None, "USD", (whole, 1))
    worth = whole.money.net_present_value
    job.so_far = SoFar("x", 30, 200, whole.changed.sold_per_week, worth)
    assert "30 of 200 runs changed" in what_if._progress_words(job, "USD")
    assert "USD" not in what_if._progress_words(job, "USD")
    job.so_far = dataclasses.replace(job.so_far, other_values=3, now="demand")
    assert "again at other values" in what_if._progress_words(job, "USD")


@pytest.mark.parametrize("name", what_if_drafts.SAMPLE_FILES)
def test_nothing_of_an_uploaded_scenario_is_lost_in_the_form(name):
    file = SAMPLES / f"what_if_{name}.toml"
    tables = what_if_drafts.from_file(file.name, file.read_bytes())
    for part in ("helper", "equipment", "move", "demand", "scenario"):
        places = [(part, 0)] if part == "equipment" else [(part,)]
        for place in places if part in tables else ():
            for field in what_if_fields.fields_of(part, "USD"):
                path = (*place, field.key)
                value = what_if_drafts.value_at(tables, path)
                typed = what_if_fields.shown(field, value)
                what_if_drafts.put_at(tables, path, what_if_fields.taken(field, typed, value))
    assert what_if_drafts.read(tables).scenario == read_scenario(file)


def test_an_uploaded_scenario_with_faults_is_told_by_line_and_not_taken():
    from analysis.problems import BadInput

    with pytest.raises(BadInput) as bad:
        what_if_drafts.from_file("mine.toml", b"[helper]\nhours_per_week = 0\ncost = 3\n")
    assert {fault.row for fault in bad.value.faults} == {1, 2, 3}


def test_the_scenario_taken_home_is_the_one_on_the_page(show):
    from analysis.records.scenario_text import scenario_toml

    screen = turn(show("what_if", DEMO), "Memo and files")
    assert any(one.proto.label == "Scenario (TOML)" for one in screen.get("download_button"))
    tables = what_if_drafts.samples()[0]
    scenario = what_if_drafts.read(tables).scenario
    assert scenario_of(tomllib.loads(scenario_toml(scenario))) == scenario


@pytest.mark.parametrize(
    ("typed", "taken"),
    [
        ("45 to 70", [0.45, 0.7]), ("45-70", [0.45, 0.7]), ("45 – 70 %", [0.45, 0.7]),
        ("60", 0.6), ("60,5", 0.605), ("1,200", 12.0), ("", None), ("much", "much"),
        ("10 to", "10 to"), ("2.300-2.900", [0.023, 0.029]), ("-5 to 5", [-0.05, 0.05]),
        ("45 70", "45 70"), ("2 300", 23.0),
    ],
)  # fmt: skip
def test_a_range_is_read_however_it_is_written(typed, taken):
    field = what_if_fields.Field("time_factor", "", what_if_fields.RANGE, 100)
    assert what_if_fields.taken(field, typed) == taken


def test_faults_of_the_second_machine_stand_at_the_second_machine():
    tables = parsed("x", '[[equipment]]\noperation = "a"\nprice = 1\n[[equipment]]\n'
                         'operation = "b"\nprice = 2\nlife_weeks = 0\n', KIND)  # fmt: skip
    faults = what_if_drafts.read(tables).faults
    assert list(faults) == [("equipment", 1, "life_weeks")]


def test_a_draft_that_asks_nothing_is_told_so():
    faults = what_if_drafts.read({"scenario": {"name": "x"}}).faults
    assert next(iter(faults.values())).problem == "asks for no change"


def test_a_name_that_looks_like_markup_is_shown_as_it_is(show, box_maker, first_answers_only):
    screen = turn(show("what_if", OWN), "Change it")
    screen.session_state[part_key(screen)] = "Time and money"
    screen.run()
    type_in(screen, "Called", "*glue* [hot](x)")
    played(screen)
    assert r"\*glue\*" in "\n".join(one.value for one in screen.markdown)


def test_worth_is_written_with_its_sign():
    assert [what_if_told._worth(v) for v in (12.4, -3.2, 0.2)] == ["+12", "-3", "0"]


def test_the_page_to_show_is_offered_on_both_papers_and_names_shop_and_scenario(show):
    screen = turn(played(show("what_if", DEMO)), "Memo and files")
    buttons = {one.proto.label: one.proto for one in screen.get("download_button")}
    assert {"Page to print (PDF)", "Page for a browser (HTML)"} <= set(buttons)
    screen.session_state["what_if_paper"] = "letter"
    assert not screen.run().exception


def test_a_file_is_named_after_its_scenario():
    from analysis.screens.what_if_more import file_name

    assert file_name("Größe 3, für Plätze!") == "groe_3_fur_platze"
    assert file_name("  ../..  ") == "scenario"


def test_who_writes_points_for_thousands_is_read_so():
    from analysis.records import figures

    field = what_if_fields.Field("price", "", what_if_fields.RANGE)
    figures.write_as(figures.GERMAN)
    try:
        assert what_if_fields.taken(field, "2.300 to 2.900,50") == [2300, 2900.5]
        assert what_if_fields.shown(field, [0.5, 2900]) == "0,5 to 2900"
        answer = what_if_told._written((1234.5, 1234.5, 1234.5), 1, signed=True)
        assert answer[0] == "+1.234,5"
    finally:
        figures.write_as(figures.PLAIN)


def test_scenarios_that_cannot_be_worked_out_are_named_and_the_page_comes_to_rest(
    show, own_store, nothing_answered
):
    """As of a shop with more people than weeks can be simulated for."""
    store = box_store(own_store)
    many = "".join(f"[workers.w{n}]\ncost_per_hour = 20.0\n" for n in range(33))
    shop = SHOP.format(wage=WAGE, price=PRICE) + many
    store.save_shop(read_shop(shop.encode(), "shop.toml"), "shop")
    screen = show("what_if", OWN)
    press(turn(screen, "Change it"), "Copy this one")
    words = said(played(turn(played(screen), "Side by side")))
    assert "the shop has more products, steps or people" in words
    assert (
        "Cannot be worked out: A helper, 8 hours a week; A helper, 8 hours a week, other" in words
    )
    assert "fully played through" not in words


def test_the_question_repeats_each_figure_as_it_was_given_and_with_its_unit():
    tables = {
        "move": {"rent_per_week": 50, "notice_weeks": 1},
        "demand": {
            "products": {"desk journal": 125},
            "orders": [{"product": "desk journal", "pieces": 60, "week": 9, "price": 14.5}],
        },
    }
    asked = what_if_told.asked(scenario_of(tables), "USD").replace("\\", "")
    assert "125 of the desk journal asked for in a week" in asked
    assert "due in week 9 at 14.5 USD a piece" in asked
    assert "1 week of notice" in asked and "lease" not in asked


def test_a_new_scenario_begins_with_nothing_that_was_laid_aside_of_a_removed_one(
    show, box_maker, first_answers_only
):
    screen = turn(show("what_if", OWN), "Change it")
    press(screen, "Demand")
    press(screen, "Helper")
    type_in(screen, "Hours a week", 17.0)
    widget(screen.toggle, "A helper is part of it").set_value(False).run()  # 17 hours laid aside
    for _ in range(2):
        press(screen, "Remove this one")
        screen.selectbox(key="what_if_chosen").select_index(-1).run()
    press(screen, "Demand")
    screen.session_state[part_key(screen)] = "helper"
    screen.run()
    widget(screen.toggle, "A helper is part of it").set_value(True).run()
    assert widget(screen.number_input, "Hours a week").value == 8.0


def test_one_answer_of_several_scenarios_is_not_said_to_stand_alone(show, box_maker):
    screen = turn(show("what_if", OWN), "Change it")
    press(screen, "Machine")  # its price is not filled in
    words = said(played(turn(played(screen), "Side by side")))
    assert "Only one of the 2 has an answer" in words and "Not yet filled in" in words
    assert "One scenario alone" not in words
