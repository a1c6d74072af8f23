"""The answer in words: shares, spans and payback as a maker would say them."""

from dataclasses import replace

import pytest

from analysis.decisions.answer import (
    DO,
    DO_NOT,
    GIVEN,
    NOT_YET,
    NOTHING,
    Money,
    Mover,
    Situation,
    Spread,
)
from analysis.decisions.doubts import curve_words
from analysis.decisions.sentences import (
    condition,
    headline,
    helper_sentence,
    in_ten,
    must_be_true,
    orders_sentence,
    payback_words,
    sentences,
    settling,
    span,
    verdict_of,
)
from analysis.records.scenario import Demand, Estimate, Helper, Move, Scenario, sure

NONE = Spread(None, None, None, None)
MONEY = Money(
    net_present_value=Spread(1300.0, -200.0, 1200.0, 3000.0),
    payback_weeks=Spread(None, 20.0, 39.0, None), pieces_until_paid=NONE,
    probability_of_payback=0.8, probability_of_gain=0.85, break_even_demand_per_week=90.0,
    break_even_searched_to=400.0, demand_per_week=100.0, worth_per_week=12.0, paid_at_start=900.0,
)  # fmt: skip
NEVER = replace(
    MONEY, payback_weeks=NONE, probability_of_payback=0.0, probability_of_gain=0.0,
    net_present_value=Spread(-1300.0, -1500.0, -1300.0, -1100.0),
)  # fmt: skip


def test_payback_is_said_in_plain_words():
    said = payback_words(MONEY)
    assert said == "it earns itself back after about 9 months; in 2 of 10 runs not at all"
    assert payback_words(NEVER) == "it does not pay back"
    at_once = replace(MONEY, payback_weeks=Spread(0.0, 0.0, 0.0, 0.0), probability_of_payback=1.0)
    assert payback_words(at_once) == "it earns from the start, with nothing to pay back"


def test_the_headline_says_do_it_do_not_or_not_yet():
    said = {
        money.probability_of_gain: headline(verdict_of(money, True), money, Scenario(), "EUR")
        for money in (MONEY, replace(MONEY, probability_of_gain=0.5), NEVER)
    }
    assert said[0.85].startswith("Do it: it earns itself back")
    assert said[0.5].startswith("Not yet: ")
    assert said[0.0] == (
        "Do not do it as it stands: on average it costs 1,300 EUR more than it brings within 2 "
        "years."
    )
    assert "changes nothing" in headline(verdict_of(NEVER, False), NEVER, Scenario(), "EUR")


@pytest.mark.parametrize(
    ("gains", "verdict"),
    [(0.0, DO_NOT), (0.2, DO_NOT), (0.21, NOT_YET), (0.79, NOT_YET), (0.8, DO), (1.0, DO)],
)
def test_the_verdict_turns_where_the_page_says_it_does(gains, verdict):
    """A gain in at least 8 of 10 runs, in at most 2 of 10, or between: so the screen words it."""
    assert verdict_of(replace(MONEY, probability_of_gain=gains), True) == verdict


@pytest.mark.parametrize(
    "share, words",
    [
        (0.0, "none of the"), (0.004, "fewer than 1 of 10"), (0.21, "2 of 10"),
        (0.97, "more than 9 of 10"), (1.0, "all"),
    ],
)  # fmt: skip
def test_shares_are_said_in_tens(share, words):
    assert in_ten(share) == words


@pytest.mark.parametrize(
    "weeks, words",
    [
        (0.3, "1 week"), (5, "5 weeks"), (10, "10 weeks"), (11, "11 weeks"), (13, "3 months"),
        (16, "16 weeks"), (22, "5 months"), (30, "7 months"), (52, "1 year"), (78, "18 months"),
        (104, "2 years"), (130, "2.5 years"),
    ],
)  # fmt: skip
def test_spans_are_said_in_weeks_months_or_years(weeks, words):
    assert span(weeks) == words


WAGE = Mover("hourly cost", "18", "22", 1500.0, 1100.0, "given", turns_at="33 an hour")
DEMAND = Mover("demand", "90", "110", 200.0, 2400.0, "given", turns_at="88 a week",
               settled_by="count it", worth_knowing=120.0)  # fmt: skip


def test_what_would_have_to_be_true_says_on_which_side():
    assert must_be_true(DO, MONEY, [WAGE, DEMAND]) == (
        "It stops paying once the hourly cost is 33 an hour, or more.",
        "It stops paying once the demand is 88 a week, or less.",
    )
    assert must_be_true(DO_NOT, NEVER, [WAGE, DEMAND]) == (
        "It would pay once the hourly cost is 33 an hour, or less.",
        "It would pay once the demand is 88 a week, or more.",
    )
    assert must_be_true(NOTHING, NEVER, [WAGE]) == ()


@pytest.mark.parametrize(
    "name", ["days lost by the move", "hours of teaching", "hours on the way there",
             "interruptions", "faults of motor", "pieces lost in sew (box)"],
)  # fmt: skip
def test_what_is_many_is_not_said_to_be_one(name):
    many = Mover(name, "2", "12", 900.0, -300.0, GIVEN, turns_at="7 days")
    assert must_be_true(DO, MONEY, [many]) == (
        f"It stops paying once the {name} are 7 days, or more.",
    )
    assert condition(MONEY, [many], Scenario()) == f"the {name} are 7 days or less"


def test_what_would_settle_it_is_what_is_worth_most_to_know():
    said = settling(NOT_YET, MONEY, [WAGE, DEMAND], "EUR")
    assert said.startswith("What would settle it: count it") and "120 EUR" in said
    assert settling(DO, MONEY, [WAGE], "EUR").startswith("Nothing that could be found out")
    assert "chance" in settling(NOT_YET, MONEY, [WAGE], "EUR")


# At today's 80 pieces it loses; it pays from 90, an eighth more.
TODAY_LOSES = replace(MONEY, demand_now_per_week=80.0, value_now=-2100.0, value_now_error=40.0)
GROWN = Scenario(demand=Demand(factor=Estimate(1.15, 1.5), either_way=True))


def test_a_gain_that_todays_demand_would_turn_is_headed_by_its_condition():
    """A maker who reads the headline alone must not buy for a demand that has not come yet."""
    hangs_on = condition(TODAY_LOSES, [], GROWN)
    assert hangs_on == "demand grows by at least about 12 %"
    assert headline(DO, TODAY_LOSES, GROWN, "USD", hangs_on) == (
        "Do it only if demand grows by at least about 12 %: it earns itself back after about 9 "
        "months; in 2 of 10 runs not at all; at today's demand it loses about 2,100 USD."
    )
    said = settling(DO, TODAY_LOSES, [replace(DEMAND, worth_knowing=0.0)], "USD", hangs_on)
    assert said == "Count it: it pays only if demand grows by at least about 12 %."
    unsure = replace(TODAY_LOSES, value_now_error=2000.0)
    assert headline(DO, unsure, GROWN, "USD", hangs_on).endswith("it about breaks even.")


def test_a_gain_within_all_that_was_given_hangs_on_nothing():
    gains = replace(TODAY_LOSES, value_now=900.0)
    assert condition(gains, [replace(DEMAND, tried=True, value_at_low=-5.0)], GROWN) == ""
    assert condition(replace(MONEY, demand_now_per_week=100.0), [WAGE], Scenario()) == ""


def test_a_range_that_turns_the_answer_is_its_condition():
    frame = Mover("time of the frame", "45 %", "90 %", 900.0, -300.0, GIVEN, turns_at="80 %")
    assert condition(MONEY, [frame], Scenario()) == "the time of the frame is 80 % or less"
    assert condition(MONEY, [replace(frame, tried=True)], Scenario()) == "", "nobody gave its ends"
    said = headline(NOT_YET, MONEY, Scenario(), "USD", "the time of the frame is 80 % or less")
    assert said.endswith("it pays only if the time of the frame is 80 % or less.")


def test_no_break_even_is_named_where_the_money_never_turns():
    never = replace(
        NEVER, break_even_demand_per_week=None, best_net_present_value=-400.0, best_error=100.0,
        best_demand_per_week=250.0,
    )  # fmt: skip
    (line,) = (one for one in lines(DO_NOT, week(40.0), week(40.0), never, Scenario(), "USD")
               if "demand" in one)  # fmt: skip
    assert line == (
        "No demand up to 400 pieces a week makes it pay: at best, at about 250, it loses 400 USD."
    )


def test_how_sure_average_and_break_even_are_is_told():
    sure = replace(MONEY, error=100.0, break_even_low=88.0, break_even_high=93.0, deepest=900.0,
                   deepest_low=1400.0, deepest_week=7)  # fmt: skip
    said = " ".join(lines(DO, week(40.0), week(40.0), sure, Scenario(), "USD"))
    assert (
        "it brings 1,300 USD more than it costs; in nine of ten runs between a loss of 200 USD and "
        "a gain of 3,000 USD."
    ) in said
    assert "cannot tell" not in said, "1,300 is far more than 1.645 errors of 100"
    assert "It pays from about 90 pieces asked for in a week (from 88 to 93)" in said
    assert (
        "Most money out of pocket, against going on as before: about 900 USD, after 7 weeks, in "
        "the middle of the runs; in 1 of 20 runs 1,400 USD or more."
    ) in said


def test_an_average_within_what_chance_moves_it_by_is_said_to_be_open():
    few = replace(MONEY, error=800.0)  # 1.645 of them are 1,316
    said = lines(DO, week(40.0), week(40.0), few, Scenario(), "USD")
    assert "So few runs cannot tell whether it gains or loses on average." in said
    for phrase in ("give or take", "nine of ten cases"):
        assert not any(phrase in line for line in said)


def test_a_range_on_one_side_of_nothing_names_loss_or_gain_once():
    said = lines(DO_NOT, week(40.0), week(40.0), NEVER, Scenario(), "EUR")
    told = "Over 2 years, at today's worth: in nine of ten runs a loss of 1,100 to 1,500 EUR."
    assert told in said


def test_hours_that_a_move_takes_are_not_said_to_be_freed():
    costly = replace(NEVER, worth_per_week=-20.0)
    for move, freed in ((Move(), True), (Move(commute_hours_per_week=sure(5.0)), False)):
        said = lines(DO_NOT, week(40.0), week(35.0), costly, Scenario(move=move), "EUR")
        assert any("it frees" in line for line in said) == freed


def test_what_an_hour_of_a_helper_brings_stands_beside_what_it_costs():
    helper = Scenario(helper=Helper(8.0, 17.0))
    assert helper_sentence("helper", 8.0, 12.8, 160.0, 2.5, helper, "USD") == (
        "An hour of the helper makes about 1.6 more good pieces, 20 USD after material, for 17 USD "
        "of pay; an hour at the bench makes 2.5 as things are."
    )


def flat(value):
    return Spread(value, value, value, value)


NOTHING_COMES = flat(0.0)
WEEK = Situation(*[NOTHING_COMES] * 8)


def lines(*asked):
    return [one.text for one in sentences(*asked)]


def week(hours):
    return replace(WEEK, bench_hours_per_week=flat(hours))


def test_hours_freed_are_told_and_what_one_of_them_costs():
    costly = replace(NEVER, worth_per_week=-20.0)
    said = lines(DO_NOT, week(40.0), week(35.0), costly, Scenario(), "EUR")
    assert "Hours at the bench in a week, 40 before, 35 after." in said
    assert "Each hour at the bench that it frees costs 4 EUR." in said
    said = lines(DO_NOT, week(40.0), week(40.1), costly, Scenario(), "EUR")
    assert not any("Hours" in line for line in said)


def test_a_change_without_money_is_left_to_the_hours():
    free = replace(
        NEVER, net_present_value=NOTHING_COMES, worth_per_week=0.0, probability_of_gain=0.0,
        paid_at_start=0.0,
    )  # fmt: skip
    assert verdict_of(free, True) == NOT_YET
    assert "the hours at the bench decide" in headline(NOT_YET, free, Scenario(), "EUR")
    said = lines(NOT_YET, week(40.0), week(35.0), free, Scenario(), "EUR")
    assert any("neither costs nor brings" in line for line in said)
    assert not any("0 EUR" in line for line in said)


def test_a_deposit_that_comes_back_in_full_is_not_said_to_be_no_money():
    lent = replace(
        NEVER, net_present_value=NOTHING_COMES, probability_of_gain=0.0, paid_at_start=600.0,
        deepest=600.0, deepest_low=600.0,
    )  # fmt: skip
    said = headline(NOT_YET, lent, Scenario(), "EUR")
    assert said == "What is paid comes back in full within 2 years: the hours at the bench decide."
    told = lines(NOT_YET, week(40.0), week(40.0), lent, Scenario(), "EUR")
    assert any("about 600 EUR at the start" in line for line in told)


def test_what_gains_in_most_runs_and_loses_more_in_the_others_is_not_advised():
    risky = replace(MONEY, net_present_value=Spread(-50.0, -9000.0, 900.0, 1500.0))
    assert verdict_of(risky, True) == NOT_YET


def test_a_gain_that_only_the_resale_brings_is_said_to_be_that():
    sold = replace(MONEY, payback_weeks=NONE, probability_of_payback=0.0)
    assert "only with what comes back at the end" in headline(DO, sold, Scenario(), "EUR")


def test_how_much_of_a_big_order_is_ready_is_told():
    assert orders_sentence(10, 150.0, [150.0, 150.0, 120.0, 140.0]) == (
        "Of the 150 pieces ordered for week 10, 140 are ready in time on average, all of them in "
        "5 of 10 runs."
    )


def test_an_order_that_is_not_ready_is_said_to_be_begun_late_and_not_to_be_too_much():
    """Begun at once it might be: who reads that none of the runs has it ready turns it down."""
    late = orders_sentence(10, 400.0, [360.0, 380.0], begun_in_week=6)
    assert late.endswith("runs; no batch for them is begun before week 6, and begun earlier more "
                         "may be ready.")  # fmt: skip
    for ready, begun in (([400.0, 400.0], 6), ([360.0, 380.0], 1)):
        assert "begun" not in orders_sentence(10, 400.0, ready, begun)


@pytest.mark.parametrize(
    ("exponent", "words"), [(-0.3, "81 % of before"), (0.1, "100 % of before")]
)
def test_a_learning_curve_is_told_by_what_doubling_does(exponent, words):
    assert curve_words(exponent) == words


def sold(pieces, lost):
    return replace(WEEK, sold_per_week=flat(pieces), lost_demand_per_week=flat(lost))


def test_that_all_is_made_already_is_said_of_what_is_asked_for_now():
    """219 of 300 are sold; with half the demand all of it is, which is no news of today."""
    halved = replace(NEVER, demand_per_week=150.0)
    cases = (
        ((219.0, 81.0), (150.0, 0.0), False), ((150.0, 0.0), (150.0, 0.0), True),
        ((150.0, 0.0), (150.0, 150.0), False),
    )  # fmt: skip
    for before, after, is_said in cases:
        said = lines(DO_NOT, sold(*before), sold(*after), halved, Scenario(), "EUR")
        assert any("is made already" in line for line in said) == is_said, (before, after)
        assert f"of {sum(after):.0f} asked for." in " ".join(said)


def test_that_fewer_are_sold_is_laid_to_a_helper_only_where_nothing_else_changes():
    helper = Helper(8.0, 15.0)
    for other, is_said in (
        ({}, True), ({"demand": Demand(factor=sure(0.7), either_way=True)}, True),
        ({"demand": Demand(factor=sure(0.7))}, False), ({"move": Move(lost_days=sure(9))}, False),
    ):  # fmt: skip
        scenario = Scenario(helper=helper, **other)
        said = lines(DO_NOT, sold(150.0, 0.0), sold(105.0, 0.0), NEVER, scenario, "EUR")
        assert any("with this helper" in line for line in said) == is_said, other


def test_a_break_even_that_no_run_doubts_has_no_range():
    sure_one = replace(MONEY, break_even_low=90.0, break_even_high=90.02)
    said = lines(DO, week(40.0), week(40.0), sure_one, Scenario(), "EUR")
    assert "It pays from about 90 pieces asked for in a week; reckoned with here are 100." in said


def test_where_the_middle_of_the_runs_never_is_out_of_pocket_that_is_what_is_said():
    risky = replace(MONEY, deepest=0.0, deepest_low=700.0)
    said = lines(DO, week(40.0), week(40.0), risky, Scenario(), "EUR")
    assert (
        "Most money out of pocket, against going on as before: none in the middle of the runs; in "
        "1 of 20 runs 700 EUR or more."
    ) in said


@pytest.mark.parametrize("share", [0.0, 0.03, 0.05])
def test_few_runs_are_said_as_english_says_it(share):
    few = replace(NEVER, probability_of_gain=share)
    said = " ".join(lines(DO_NOT, week(40.0), week(40.0), few, Scenario(), "EUR"))
    assert "runs is it a gain" in said and "runs it is a gain" not in said


def test_none_of_the_runs_is_said_as_english_says_it():
    said = lines(DO_NOT, week(40.0), week(40.0), NEVER, Scenario(), "EUR")
    assert any(line.startswith("In none of the runs is it a gain") for line in said)
    assert not any("`" in line or " you" in line for line in said), "a lender reads them too"
