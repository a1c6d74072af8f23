"""A scenario applied to a shop small enough to say by hand what must come out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.change import changed, expected, hand_seconds, paid_seconds
from analysis.decisions.hours import available_seconds, stretches_of
from analysis.decisions.money import NORMAL_95
from analysis.decisions.newcomer import PEOPLE_DIFFER, newcomer_skills, present_seconds
from analysis.decisions.shop_model import Hand, Skill
from analysis.problems import BadInput
from analysis.records.scenario import (
    Demand,
    Equipment,
    Estimate,
    Helper,
    Move,
    Order,
    Scenario,
    sure,
)
from analysis.study.pooling import PUBLISHED_EXPONENT, PUBLISHED_SPREAD
from tests.decisions.shops import box_shop

HELPER = Helper(20.0, 15.0)
BOTH = replace(HELPER, operations=("cut", "sew"))


def after(model=None, **parts):
    return changed(model or box_shop(), Scenario(horizon_weeks=6, **parts))


def helped(helper, **shop):
    return after(box_shop(**shop), helper=helper)


def test_a_scenario_without_parts_leaves_the_shop_as_it_is():
    assert after() == box_shop()


def test_a_helper_comes_with_hours_and_wage_and_does_what_is_kept_for_nobody():
    model = helped(HELPER)
    hand = model.hands[-1]
    assert (hand.name, hand.hours_per_week, hand.cost_per_hour) == ("new helper", 20, 15)
    assert {key[2] for key in model.skills if key[0] == "new helper"} == {"cut"}
    assert model.lines[0].steps[1].workers == ("maker",)


def test_a_helper_may_be_let_do_what_was_kept_for_the_maker():
    model = helped(replace(HELPER, operations=("cut", "sew")))
    assert {key[2] for key in model.skills if key[0] == "new helper"} == {"cut", "sew"}
    assert model.lines[0].steps[1].workers == ("maker", "new helper")


def test_where_all_is_kept_for_somebody_a_helper_may_do_all():
    model = box_shop()
    steps = tuple(replace(step, workers=("maker",)) for step in model.lines[0].steps)
    model = replace(model, lines=(replace(model.lines[0], steps=steps),))
    assert after(model, helper=HELPER).hands[-1].operations == ("cut", "sew")


def test_training_takes_the_hours_of_both():
    teacher, hand = helped(replace(HELPER, training_hours=sure(30.0))).hands
    assert hand.available == pytest.approx([0, 0.5, 1, 1, 1, 1])
    assert teacher.available == pytest.approx([1 - 20 / 40, 1 - 10 / 40, 1, 1, 1, 1])


def test_teaching_that_does_not_fit_into_the_teacher_s_week_is_owed_to_the_next():
    """Twenty hours of teaching by a maker of eight hours a week: 8, 8 and 4 of them."""
    maker, *others = box_shop().hands
    model = replace(box_shop(), hands=(replace(maker, hours_per_week=8.0), *others))
    teacher = after(model, helper=replace(HELPER, training_hours=sure(20.0))).hands[0]
    assert teacher.available == pytest.approx([0, 0, 0.5, 1, 1, 1])


def test_nobody_is_taught_while_the_shop_is_closed():
    """A first week lost to the move: the eight hours of teaching come in the second one."""
    model = after(helper=replace(HELPER, hours_per_week=8.0, training_hours=sure(8.0)),
                  move=Move(lost_days=sure(5)))  # fmt: skip
    hours = available_seconds(stretches_of(model, 3), 3) / 3600
    assert hours == pytest.approx(np.array([[0, 40 - 8, 40], [0, 0, 8]]))


def test_a_week_half_lost_is_half_a_week_to_teach_in():
    """Twenty hours of a helper, ten of them lost in the first week: 15 of teaching are 10 and 5."""
    model = after(helper=replace(HELPER, training_hours=sure(15.0)), move=Move(lost_days=sure(2.5)))
    hours = available_seconds(stretches_of(model, 3), 3) / 3600
    assert hours == pytest.approx(np.array([[20 - 10, 40 - 5, 40], [0, 15, 20]]))


def test_supervision_takes_a_share_of_the_makers_hours_as_long_as_the_helper_is_there():
    helper = replace(HELPER, training_hours=sure(0.0), supervision_share=0.2, until_week=4)
    teacher, hand = helped(helper).hands
    assert hand.available == pytest.approx([1, 1, 1, 1, 0, 0])
    assert teacher.available == pytest.approx([0.9] * 4 + [1, 1])


def test_a_seasonal_helper_comes_in_their_months_only():
    helper = replace(HELPER, months=(2,), training_hours=sure(0.0))
    hand = helped(helper).hands[-1]
    assert hand.available == (0, 0, 0, 0, 0, 1)


def test_a_helper_may_do_some_operations_only():
    model = helped(replace(HELPER, operations=("cut",)))
    assert {key[2] for key in model.skills if key[0] == "new helper"} == {"cut"}
    assert model.lines[0].steps[1].workers == ("maker",)


def test_a_second_helper_of_the_same_name_is_another_person():
    model = replace(box_shop(), hands=(Hand("maker"), Hand("new helper")))
    assert [hand.name for hand in after(model, helper=HELPER).hands][1:] == [
        "new helper", "new helper (new)"]  # fmt: skip


def test_a_helper_works_and_is_paid_no_longer_than_the_shop_is_open():
    assert helped(replace(HELPER, hours_per_week=70.0)).hands[-1].hours_per_week == 40


LEARNED = Skill(600.0, "unit", math.log2(0.9), experience=1000.0, exponent_doubt=0.05)


def test_a_newcomer_starts_at_the_shops_first_piece_and_never_beats_its_best():
    model = box_shop()
    skills = {("maker", "box", "sew"): LEARNED}
    model = replace(model, skills=skills)
    new = newcomer_skills(model, BOTH, "new")[("new", "box", "sew")]
    assert present_seconds(new) == pytest.approx(600)
    assert new.plateau_seconds == pytest.approx(present_seconds(LEARNED))
    late = present_seconds(replace(new, experience=1e9))
    assert late == pytest.approx(new.plateau_seconds, rel=0.05)


def test_a_newcomers_curve_lies_between_the_shops_own_and_the_published():
    model = replace(box_shop(), skills={("maker", "box", "sew"): LEARNED})
    new = newcomer_skills(model, BOTH, "new")[("new", "box", "sew")]
    assert PUBLISHED_EXPONENT < new.exponent < LEARNED.exponent


def test_with_no_curve_of_its_own_the_shop_goes_by_the_published():
    helper = replace(BOTH, first_unit_factor=sure(2.0))
    new = newcomer_skills(box_shop(), helper, "new")[("new", "box", "sew")]
    assert new.exponent == pytest.approx(PUBLISHED_EXPONENT)
    assert (new.first_unit_seconds, new.plateau_seconds) == pytest.approx((1200, 600))


def test_the_scenarios_own_learning_rate_goes_first():
    helper = replace(BOTH, first_unit_factor=sure(2.0), learning_rate=Estimate(0.75, 0.9))
    model = helped(helper)
    new = model.skills[("new helper", "box", "sew")]
    assert 2**new.exponent == pytest.approx(math.sqrt(0.75 * 0.9))
    (learning,) = (d for d in model.shared_doubts if d.name.startswith("learning"))
    assert 2 ** (new.exponent + NORMAL_95 * learning.doubt) == pytest.approx(0.9)
    assert len(learning.figures) == 2


def test_people_differ_and_a_given_range_says_how_much():
    doubts = {d.name: d.doubt for d in helped(BOTH).shared_doubts}
    assert doubts == {"pace of new helper": PEOPLE_DIFFER}
    ranged = replace(BOTH, first_unit_factor=Estimate(1.0, 1.5))
    doubts = {d.name: d.doubt for d in helped(ranged).shared_doubts}
    assert doubts["pace of new helper"] == pytest.approx(math.log(1.5) / (2 * NORMAL_95))
    assert doubts["learning of new helper"] > PUBLISHED_SPREAD


def test_a_machine_multiplies_the_time_and_its_range_is_one_draw_for_all():
    machine = Equipment(("sew",), "motor", time_factor=Estimate(0.25, 1.0), setup_seconds=sure(60))
    model = after(equipment=(machine,))
    cut, sew = model.lines[0].steps
    assert (cut.time_factor, sew.time_factor, sew.setup_seconds) == (1, pytest.approx(0.5), 60)
    (doubt,) = model.shared_doubts
    assert doubt.figures == {"machine: sew, box"}
    assert doubt.doubt == pytest.approx(math.log(4) / (2 * NORMAL_95))


def test_a_machine_with_seconds_of_its_own_sets_the_time_for_everybody():
    machine = Equipment(("sew",), seconds=sure(90.0), pieces_at_once=5)
    model = after(equipment=(machine,), helper=replace(BOTH, first_unit_factor=sure(3.0)))
    for hand in ("maker", "new helper"):
        assert present_seconds(model.skills[(hand, "box", "sew")]) == 90
    assert model.lines[0].steps[1].pieces_at_once == 5
    assert present_seconds(model.skills[("new helper", "box", "cut")]) == pytest.approx(180)


def test_a_machine_that_spoils_twice_as_often_has_twice_the_odds():
    """1 in 10 put right: odds 1 to 9; twice that is 2 to 9, 2 in 11. Nothing lost stays nothing."""
    model = box_shop()
    cut, sew = model.lines[0].steps
    sew = replace(sew, rework_chance=0.1, scrap_chance=0.0)
    model = replace(model, lines=(replace(model.lines[0], steps=(cut, sew)),))
    machine = Equipment(("sew",), name="motor", faults_factor=Estimate(1.0, 4.0))
    changed_to = changed(model, Scenario(equipment=(machine,)))
    step = changed_to.lines[0].steps[1]
    assert step.rework_chance == pytest.approx(2 / 11) and step.scrap_chance == 0
    assert changed_to.lines[0].steps[0] == cut
    (doubt,) = changed_to.shared_doubts
    assert doubt.name == "faults of motor"
    assert doubt.figures == {"rework: sew, box", "scrap: sew, box"}
    assert doubt.doubt == pytest.approx(math.log(4) / (2 * NORMAL_95))


def test_a_machine_that_runs_alone_takes_the_hand_only_for_its_share():
    machine = Equipment(("cut",), seconds=sure(40.0), attended_share=sure(0.25))
    cut, sew = after(equipment=(machine,)).lines[0].steps
    assert cut.time_factor == pytest.approx(0.25)
    assert cut.wait_holds_station and cut.wait_seconds == pytest.approx(25 * 30)
    assert sew.before == ((0, pytest.approx(25 * 30)),)


def test_what_dries_elsewhere_after_a_machine_that_runs_alone_does_not_hold_the_machine():
    """25 pieces of 60 s, half of it alone: 750 s in the saw, then two hours on the rack."""
    model = box_shop()
    cut, sew = model.lines[0].steps
    steps = (replace(cut, wait_seconds=7200.0), replace(sew, before=((0, 7200.0),)))
    model = replace(model, lines=(replace(model.lines[0], steps=steps),))
    machine = Equipment(("cut",), attended_share=sure(0.5))
    cut, sew = after(model, equipment=(machine,)).lines[0].steps
    assert cut.wait_holds_station and cut.wait_seconds == pytest.approx(750)
    assert sew.before == ((0, pytest.approx(7200 + 750)),)


def test_a_second_machine_is_one_more_place_and_a_new_station_a_place_of_its_own():
    beside = after(equipment=(Equipment(("cut",), new_station=True),))
    assert beside.stations == {"saw": 2}
    own = after(equipment=(Equipment(("sew",), new_station="motor"),))
    assert own.stations == {"saw": 1, "motor": 1}
    assert own.lines[0].steps[1].station == "motor"


def test_a_move_takes_walks_away_and_adds_places_batches_and_lost_days():
    move = Move(
        transport_factor=0.5,
        added_stations=(("saw", 2),),
        batch_size=(("", 50),),
        lost_days=sure(7),
    )
    model = after(move=move)
    assert model.lines[0].steps[0].transport_seconds == 60
    assert model.lines[0].batch_size == 50
    assert model.stations == {"saw": 3}
    assert model.closed == pytest.approx((1.0, 0.4))


def test_days_lost_by_a_move_are_days_on_which_the_shop_is_open():
    """Seven days of work lost where the first week is closed anyhow, and half of the second."""
    model = replace(box_shop(), closed=(1.0, 0.5, 0.0))
    moved = after(model, move=Move(lost_days=sure(7)))
    assert moved.closed == pytest.approx((1.0, 1.0, 0.9))
    lost = available_seconds(stretches_of(model, 4), 4) - available_seconds(
        stretches_of(moved, 4), 4
    )
    assert lost.sum() / 3600 == pytest.approx(7 * 8)
    assert after(model, move=Move()).closed == model.closed


def test_a_place_for_where_it_is_needed_goes_to_the_fullest_station():
    model = box_shop()
    steps = model.lines[0].steps
    steps = (steps[0], replace(steps[1], station="frame"))
    model = replace(
        model, lines=(replace(model.lines[0], steps=steps),), stations={"saw": 1, "frame": 1}
    )
    assert after(model, move=Move(added_stations=(("", 1),))).stations == {"saw": 1, "frame": 2}


def test_the_way_to_another_room_comes_off_the_hours():
    (hand,) = after(move=Move(commute_hours_per_week=sure(4.0))).hands
    assert hand.available == pytest.approx([0.9] * 6)
    assert hand_seconds(box_shop(), hand) == 40 * 3600


def test_the_way_takes_its_hours_of_somebody_whose_agreed_ones_the_shop_is_not_open_for():
    """60 hours agreed, 40 open: 4 on the way leave 36, and all 60 are paid."""
    model = replace(box_shop(), hands=(Hand("maker", 60.0, 10.0),))
    moved = after(model, move=Move(commute_hours_per_week=sure(4.0)))
    assert available_seconds(stretches_of(moved, 1), 1) / 3600 == pytest.approx(36)
    assert paid_seconds(moved, moved.hands[0]) == 60 * 3600


def test_demand_factors_multiply_with_growth_and_season():
    demand = Demand(factor=sure(1.5), growth_per_year=sure(0.1), season=(2.0,) + (1.0,) * 11)
    model = after(demand=demand)
    assert model.lines[0].demand_per_week == pytest.approx(150)
    assert model.demand_factor[0] == pytest.approx(2.0)
    assert model.demand_factor[5] == pytest.approx(1.1 ** (5 / 52))


def test_pieces_of_a_product_are_shared_out_among_its_variants():
    model = box_shop()
    red, blue = (replace(model.lines[0], variant=v) for v in ("red", "blue"))
    model = replace(model, lines=(red, replace(blue, demand_per_week=300.0)))
    asked = after(model, demand=Demand(products=(("box", 80.0),))).lines
    assert [line.demand_per_week for line in asked] == pytest.approx([20, 60])
    orders = after(model, demand=Demand(orders=(Order("box", 10, 3),))).orders
    assert [(o.line, o.week, o.pieces) for o in orders] == [(0, 2, 2), (1, 2, 8)]


def test_demand_that_comes_either_way_is_there_before():
    demand = Demand(factor=Estimate(1.2, 1.8), either_way=True)
    scenario = Scenario(demand=demand)
    before = expected(box_shop(), scenario)
    assert before == changed(box_shop(), scenario)
    assert before.shared_doubts[0].figures == {"demand: box"}
    assert expected(box_shop(), Scenario(demand=replace(demand, either_way=False))) == box_shop()


def test_parts_are_applied_together_in_any_combination():
    model = after(
        helper=HELPER, move=Move(lost_days=sure(1)), demand=Demand(factor=sure(2.0)),
        equipment=(Equipment(("sew",), time_factor=sure(0.5)),
                   Equipment(("sew",), time_factor=sure(0.5))),
    )  # fmt: skip
    assert model.lines[0].steps[1].time_factor == 0.25
    assert len(model.hands) == 2 and model.closed and model.lines[0].demand_per_week == 200


def test_what_the_shop_does_not_have_is_refused():
    with pytest.raises(BadInput, match="no operation of the shop"):
        after(equipment=(Equipment(("fly",)),))


def test_skills_and_shares_stay_figures():
    model = helped(replace(HELPER, training_hours=sure(500.0), supervision_share=1.0))
    shares = np.concatenate([hand.available for hand in model.hands])
    assert ((shares >= 0) & (shares <= 1)).all()
