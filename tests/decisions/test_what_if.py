"""Whole answers: what must hold for any shop, and small shops reckoned by hand."""

import dataclasses
import json
from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.answer import DO, DO_NOT, NOTHING
from analysis.decisions.compare import Simulator, compare
from analysis.decisions.contract import whatif_contract
from analysis.decisions.ledger import contribution
from analysis.decisions.money import annuity_factor, weekly_rate
from analysis.decisions.shop_model import Hand
from analysis.decisions.what_if import _deepest, what_if
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
from tests.decisions.shops import box_shop

WEEKS = 30
SHORT = Scenario(horizon_weeks=WEEKS, discount_rate_per_year=0.08)
RATE = weekly_rate(0.08)
MOTOR = Equipment(("sew",), "motor", time_factor=sure(0.5), price=sure(1000.0))
FIGURES = (
    "good_units_per_week", "sold_per_week", "lead_time_hours", "bench_hours_per_week",
    "idle_hours_per_week", "contribution_per_week",
)  # fmt: skip
# A week makes about 213 boxes (40 h at 660 s and the setups): 100 asked for are few, 300 many.
FEW, MANY = 100.0, 300.0


def shop(demand=FEW, doubt=0.0, **line):
    """The box shop; `doubt` of the maker's times, and demand that scatters, where runs differ."""
    model = box_shop(demand, **line)
    skills = {
        key: replace(skill, level_doubt=doubt, piece_log_sd=2 * doubt, scatter="lognormal")
        for key, skill in model.skills.items()
    }
    return replace(model, skills=skills) if doubt else model


def answer(scenario, demand=FEW, runs=12, seed=3, model=None, **options):
    (whole,) = what_if(model or shop(demand), [scenario], runs=runs, seed=seed, **options)
    return whole


def spreads(answer, part):
    return dataclasses.asdict(getattr(answer, part))


@pytest.mark.parametrize("scenario", [
    SHORT,
    replace(SHORT, demand=Demand(factor=sure(1.0))),
    replace(SHORT, equipment=(Equipment(("sew",), time_factor=sure(1.0)),)),
    replace(SHORT, move=Move()),
    replace(SHORT, demand=Demand(factor=Estimate(1.1, 2.0), either_way=True)),
])  # fmt: skip
def test_a_scenario_that_changes_nothing_differs_by_exactly_nothing(scenario):
    whole = answer(scenario, model=shop(FEW, doubt=0.1, demand_spread=1.0))
    for figure in spreads(whole, "difference").values():
        assert set(figure.values()) == {0.0}
    assert whole.verdict == NOTHING and whole.movers == ()
    assert set(dataclasses.asdict(whole.money.net_present_value).values()) == {0.0}
    assert whole.money.probability_of_payback == 0
    assert set(dataclasses.asdict(whole.money.payback_weeks).values()) == {None}
    assert (whole.net_present_values == 0).all()


def test_a_faster_machine_sells_nothing_more_where_all_is_sold_already():
    whole = answer(replace(SHORT, equipment=(MOTOR,)), FEW)
    assert whole.difference.sold_per_week.mean == 0
    assert whole.difference.contribution_per_week.mean == 0
    assert whole.difference.idle_hours_per_week.mean > 0
    assert whole.money.net_present_value.mean == pytest.approx(-1000)
    assert whole.verdict == DO_NOT
    assert whole.money.payback_weeks.mean is None and whole.money.payback_weeks.p50 is None
    assert "Do not" in whole.headline
    assert any("nearly all that is asked for" in line for line in whole.sentences)
    json.dumps(whatif_contract(whole), allow_nan=False)  # raises where a number is endless


def test_a_faster_machine_pays_where_more_is_asked_for_than_made():
    whole = answer(replace(SHORT, equipment=(MOTOR,)), MANY)
    more = whole.difference.sold_per_week.mean
    assert more > 50
    assert whole.difference.contribution_per_week.mean == pytest.approx(15 * more)
    assert whole.verdict == DO and whole.money.probability_of_payback == 1
    # Its price is out at once and 15 a piece come in: about 1000 / (15 x more) weeks.
    assert whole.money.payback_weeks.p50 == pytest.approx(1000 / (15 * more), abs=8)
    assert "earns itself back" in whole.headline


def test_break_even_demand_is_where_the_machine_stops_paying():
    machine = replace(SHORT, equipment=(MOTOR,))
    pays_from = answer(machine, MANY).money.break_even_demand_per_week
    assert 200 < pays_from < MANY
    # 3 % of demand either side is more than the search's 0.5 %.
    assert answer(machine, pays_from * 1.03).money.net_present_value.mean > 0
    assert answer(machine, pays_from * 0.97).money.net_present_value.mean < 0


@pytest.mark.slow  # the larger record is compiled for it
def test_a_demand_far_beyond_what_can_be_made_is_answered():
    """A hundred thousand a week in batches of 5: the shop makes what it can, before and after."""
    move = replace(SHORT, horizon_weeks=6, move=Move(rent_per_week=sure(10.0)))
    whole = answer(move, model=shop(1e5, batch_size=5), runs=2)
    assert whole.difference.sold_per_week.mean == 0
    assert whole.baseline.sold_per_week.mean == pytest.approx(213, rel=0.2)  # and stock of 200
    assert whole.money.break_even_demand_per_week is None


def test_rent_and_fit_out_are_worth_what_the_annuity_table_says():
    move = Move(rent_per_week=sure(50.0), fit_out=sure(700.0))
    whole = answer(replace(SHORT, move=move))
    expected = -700 - 50 * annuity_factor(RATE, WEEKS)
    assert whole.money.net_present_value.mean == pytest.approx(expected)
    assert whole.money.net_present_value.p5 == pytest.approx(expected)
    assert whole.money.worth_per_week == pytest.approx(expected / annuity_factor(RATE, WEEKS))
    assert whole.difference.cash_per_week.mean == pytest.approx(-50)
    assert whole.money.paid_at_start == 700
    assert whole.money.break_even_demand_per_week is None


def test_resale_comes_at_the_end_of_the_life_or_of_the_horizon():
    sold = replace(MOTOR, time_factor=None, resale=sure(400.0), running_cost_per_week=sure(5.0))
    for life, end in ((10, 10), (None, WEEKS), (500, WEEKS)):
        whole = answer(replace(SHORT, equipment=(replace(sold, life_weeks=life),)))
        expected = -1000 + 400 / (1 + RATE) ** end - 5 * annuity_factor(RATE, end)
        assert whole.money.net_present_value.mean == pytest.approx(expected)
        assert whole.money.probability_of_payback == 0  # resale is no payback


def test_after_its_life_a_machine_no_longer_helps_but_by_what_it_put_on_the_shelf():
    scenario = replace(SHORT, equipment=(replace(MOTOR, life_weeks=10),))
    each_week = np.diff(answer(scenario, MANY).path.cumulative_p50)
    assert (each_week[2:10] > 0).all()
    after = compare(shop(MANY), scenario, Simulator(3), 2).after
    shelf = after.stock_end[0, 9, 0]
    assert shelf >= MANY, "a shop that can make all keeps weeks of it in store"
    # All of it is sold, to those who would go away, at 15 a piece; one batch lies elsewhere then.
    assert each_week[10:].sum() == pytest.approx(15 * shelf, abs=26 * 15)
    assert each_week[20:] == pytest.approx(0, abs=26 * 15)
    made = after.good.sum(axis=1) + 200.0  # that lay on the shelf at first
    assert after.stock_end[:, -1] == pytest.approx(made - after.sold.sum(axis=1))
    assert (after.sold + after.lost_demand)[0, :, 0] == pytest.approx(MANY)


def test_a_helper_without_work_costs_exactly_the_wage():
    helper = Helper(10.0, 20.0, training_hours=sure(0.0))
    whole = answer(replace(SHORT, helper=helper))
    assert whole.money.net_present_value.mean == pytest.approx(-200 * annuity_factor(RATE, WEEKS))
    assert whole.difference.sold_per_week.mean == 0


def test_a_helper_who_may_do_one_thing_is_not_left_idle_by_a_maker_who_can_do_all():
    # cut and sew take 60 and 600 s: with a second pair of hands at the sewing the week makes
    # nearly twice as many, or all 300 that are asked for.
    helper = Helper(40.0, 5.0, training_hours=sure(0.0), operations=("sew",))
    whole = answer(replace(SHORT, helper=helper), MANY)
    assert whole.difference.bench_hours_per_week.mean > 10
    assert whole.difference.sold_per_week.mean > 60
    assert whole.verdict == DO


def test_a_helper_of_few_hours_does_not_keep_the_only_frame_from_the_maker():
    """Of the same pace, with eight hours more a week at the sewing frame: it is never less that is
    made. What the helper leaves half sewn at the end of an hour and a half the maker goes on with;
    were it to lie in the frame until the next day, less than half would be made."""
    model = shop(MANY)
    (line,) = model.lines
    steps = tuple(replace(s, station="frame" if s.operation == "sew" else "") for s in line.steps)
    model = replace(model, lines=(replace(line, steps=steps),), stations={"frame": 1})
    helper = Helper(8.0, 0.0, training_hours=sure(0.0), operations=("sew",))
    whole = answer(replace(SHORT, helper=helper), model=model)
    assert whole.difference.sold_per_week.mean > 0
    assert whole.difference.good_units_per_week.p5 >= 0


def test_a_helper_in_season_is_paid_in_season_only():
    helper = Helper(10.0, 20.0, training_hours=sure(0.0), months=(1,))
    whole = answer(replace(SHORT, helper=helper, starts_in_month=1))
    assert whole.money.net_present_value.mean == pytest.approx(-200 * annuity_factor(RATE, 5))


def test_an_owners_hours_are_no_cash_and_a_wage_is():
    free, paid = shop(), replace(shop(), hands=(Hand("maker", None, 12.0),))
    before = [answer(SHORT, model=model).baseline for model in (free, paid)]
    assert before[0].cash_per_week.mean == before[0].contribution_per_week.mean
    assert before[1].cash_per_week.mean == pytest.approx(before[0].cash_per_week.mean - 480)
    assert before[1].contribution_per_week == before[0].contribution_per_week


def test_another_currency_scales_the_money_and_nothing_else():
    scenario = replace(
        SHORT, helper=Helper(12.0, 9.0), equipment=(replace(MOTOR, price=Estimate(500, 900)),),
        move=Move(rent_per_week=sure(8.0)), demand=Demand(factor=Estimate(0.9, 1.4)),
    )  # fmt: skip
    k = 1 / 128  # exact in binary, so that the sums agree to rounding
    small = replace(
        scenario,
        helper=replace(scenario.helper, cost_per_hour=9.0 * k),
        equipment=(replace(MOTOR, price=Estimate(500 * k, 900 * k)),),
        move=Move(rent_per_week=sure(8.0 * k)),
    )
    model = shop(MANY, doubt=0.1)
    cheap = shop(MANY, doubt=0.1, price=20.0 * k, material_cost=5.0 * k)
    one, two = answer(scenario, model=model), answer(small, model=cheap)
    assert two.net_present_values == pytest.approx(k * one.net_present_values)
    assert two.baseline.sold_per_week == one.baseline.sold_per_week
    a, b = one.money, two.money
    assert b.payback_weeks.p50 == pytest.approx(a.payback_weeks.p50)
    assert b.probability_of_payback == a.probability_of_payback
    assert b.break_even_demand_per_week == pytest.approx(a.break_even_demand_per_week, rel=1e-6)
    assert [mover.name for mover in one.movers] == [mover.name for mover in two.movers]


def test_scenarios_side_by_side_are_answered_as_each_alone():
    model = shop(MANY, doubt=0.1, demand_spread=1.0)
    longer = replace(SHORT, horizon_weeks=WEEKS + 9, equipment=(MOTOR,))
    helper = replace(SHORT, helper=Helper(10.0, 12.0))
    together = what_if(model, [helper, longer], runs=9, seed=5)
    for scenario, whole in zip((helper, longer), together, strict=True):
        (alone,) = what_if(model, [scenario], runs=9, seed=5)
        assert whatif_contract(alone) == whatif_contract(whole)


def test_contribution_is_sales_less_material_of_what_was_sold_or_spoiled():
    model = box_shop(MANY)
    lossy = tuple(replace(step, scrap_chance=0.1) for step in model.lines[0].steps)
    model = replace(model, lines=(replace(model.lines[0], steps=lossy),))
    runs = compare(model, SHORT, Simulator(1), 3).before
    assert runs.scrapped.sum() > 0
    expected = 20 * runs.sold[:, :, 0] - 5 * (runs.sold + runs.scrapped)[:, :, 0]
    assert contribution(runs, model) == pytest.approx(expected)


def test_material_of_pieces_that_a_machine_spoils_is_in_what_it_is_worth():
    """A free machine that spoils nine times as often (by odds) where all is sold all the same: it
    costs the material of what is spoiled more, and nothing else."""
    model = box_shop(FEW)
    lossy = tuple(replace(step, scrap_chance=0.01) for step in model.lines[0].steps)
    model = replace(model, lines=(replace(model.lines[0], steps=lossy),))
    machine = Equipment(("sew",), faults_factor=sure(9.0))
    scenario = replace(SHORT, discount_rate_per_year=0.0, equipment=(machine,))
    whole, runs = answer(scenario, model=model), compare(model, scenario, Simulator(3), 12)
    spoiled = (runs.after.scrapped - runs.before.scrapped).sum(axis=(1, 2)).mean()
    assert spoiled > 50 and whole.difference.sold_per_week.mean == 0
    assert whole.money.net_present_value.mean == pytest.approx(-5 * spoiled)
    assert whole.difference.cash_per_week.mean == pytest.approx(-5 * spoiled / WEEKS)


def test_most_money_out_of_pocket_is_that_of_the_middle_of_the_runs_and_of_one_in_twenty():
    """36 runs are down 10 after a week and up from then on; four are down 100 after two."""
    cumulative = np.array([[0.0, -10.0, 5.0]] * 36 + [[0.0, -10.0, -100.0]] * 4)
    assert _deepest(cumulative) == {"deepest": 10.0, "deepest_week": 1, "deepest_low": 100.0}
    assert _deepest(-cumulative[:36, :2]) == {
        "deepest": 0.0, "deepest_week": 0, "deepest_low": 0.0
    }  # fmt: skip


def test_most_money_out_of_pocket_is_seen_where_each_run_dips_at_another_time():
    """Each of 40 runs is down 100 in a week of its own: the middle of each week is never down."""
    cumulative = np.vstack([np.zeros(40), -100 * np.eye(40)]).T
    assert _deepest(cumulative)["deepest"] == 100.0


def test_a_big_order_brings_its_own_price():
    usual = Order("box", 50, 4)
    cheaper = replace(usual, price=14.0)
    one, two = (
        answer(replace(SHORT, discount_rate_per_year=0.0, demand=Demand(orders=(order,))))
        for order in (usual, cheaper)
    )
    assert one.money.net_present_value.mean == pytest.approx(50 * 15)
    assert two.money.net_present_value.mean == pytest.approx(50 * (14 - 5))
    assert two.difference.contribution_per_week.mean == pytest.approx(50 * (14 - 5) / WEEKS)


def test_an_order_that_comes_either_way_is_worth_its_own_price_to_a_machine():
    """Too big for the shop as it is: what the machine adds to it counts at 14 and not at the usual
    20, and a tenth off its price is a tenth of what is added."""
    order = Order("box", 900, 4, price=14.0)
    demand = Demand(orders=(order,), either_way=True)
    machine = replace(MOTOR, price=sure(0.0))
    whole = answer(replace(SHORT, horizon_weeks=4, discount_rate_per_year=0.0, demand=demand,
                           equipment=(machine,)), model=shop(1e-6, stock=0.0))  # fmt: skip
    more = whole.difference.sold_per_week.mean * 4
    assert more > 50
    at_order_price = more * (14 - 5)
    assert whole.money.net_present_value.mean == pytest.approx(at_order_price)
    (price,) = (mover for mover in whole.movers if mover.name == "price of the order of week 4")
    assert price.swing == pytest.approx(0.2 * 14 * more)


def test_a_range_is_drawn_and_its_ends_are_in_the_tornado():
    machine = replace(MOTOR, time_factor=Estimate(0.3, 0.9), price=Estimate(800.0, 1250.0))
    whole = answer(replace(SHORT, equipment=(machine,)), MANY, runs=60)
    movers = {mover.name: mover for mover in whole.movers}
    price = movers["price of the machine (motor)"]
    assert (price.low, price.high) == ("800", "1,250")
    assert price.value_at_low - price.value_at_high == pytest.approx(450)
    time = movers["time of motor"]
    assert time.low.startswith("30 %") and time.high.startswith("90 %")
    assert time.value_at_low > time.value_at_high
    assert "20 laps" in time.settled_by
    swings = [mover.swing for mover in whole.movers]
    assert swings == sorted(swings, reverse=True)
    assert np.ptp(whole.net_present_values) > 450


def test_a_draw_without_effect_is_no_bar_of_the_tornado():
    # The boxes are few: how quick the sewing is does not matter.
    machine = replace(MOTOR, time_factor=Estimate(0.5, 0.7))
    whole = answer(replace(SHORT, equipment=(machine,)), FEW, runs=60)
    assert "time of motor" not in {mover.name for mover in whole.movers}


def test_where_a_figure_turns_the_answer_it_does():
    helper = Helper(10.0, 40.0, training_hours=sure(0.0))
    whole = answer(replace(SHORT, helper=helper), MANY)
    (wage,) = (mover for mover in whole.movers if mover.name.startswith("hourly cost"))
    turn = float(wage.turns_at.split()[0])
    there = answer(replace(SHORT, helper=replace(helper, cost_per_hour=turn)), MANY)
    # The text has three digits: 0.5 % of what is paid in all.
    assert there.money.net_present_value.mean == pytest.approx(0, abs=0.005 * turn * 10 * WEEKS)


def test_the_json_has_every_field_of_the_contract_and_no_nan():
    whole = whatif_contract(answer(replace(SHORT, equipment=(MOTOR,)), MANY))
    text = json.dumps(whole, allow_nan=False)
    assert json.loads(text) == whole
    for part in ("baseline", "changed", "difference"):
        assert set(whole[part]) >= set(FIGURES)
        for figure in FIGURES:
            assert set(whole[part][figure]) == {"mean", "p5", "p50", "p95"}
    assert set(whole["money"]) >= {
        "net_present_value", "payback_weeks", "probability_of_payback",
        "break_even_demand_per_week",
    }  # fmt: skip


def test_a_first_answer_leaves_out_the_search_and_no_figure_differs():
    scenario = replace(SHORT, equipment=(MOTOR,))
    quick, whole = answer(scenario, MANY, quick=True), answer(scenario, MANY)
    assert quick.money.net_present_value == whole.money.net_present_value
    assert quick.headline == whole.headline
    assert quick.money.break_even_demand_per_week is None
    assert not any("asked for in a week" in line for line in quick.sentences)
    assert "demand" not in {mover.name for mover in quick.movers}


def test_the_estimate_so_far_is_told_while_the_weeks_run():
    told = []
    whole = answer(replace(SHORT, name="motor", equipment=(MOTOR,)), MANY, runs=40,
                   report=told.append)  # fmt: skip
    first, last = told[0], told[-1]
    assert (first.scenario, first.net_present_value) == ("", None)
    assert (last.scenario, last.runs_done, last.runs_wanted) == ("motor", 40, 40)
    assert last.net_present_value == whole.money.net_present_value
    assert last.sold_per_week.mean == pytest.approx(whole.changed.sold_per_week.mean)


def test_a_stop_keeps_what_is_done_and_says_so():
    asked = []

    def stop():
        asked.append(1)
        return len(asked) > 1

    whole = answer(replace(SHORT, equipment=(MOTOR,)), MANY, runs=500, stop=stop)
    assert whole.stopped and 0 < whole.runs < 500
    assert len(whole.net_present_values) == whole.runs


def test_an_unknown_operation_is_told_before_any_week_is_simulated():
    wrong = replace(SHORT, equipment=(replace(MOTOR, operations=("fly",)),))
    asked = []
    with pytest.raises(BadInput, match="no operation of the shop"):
        what_if(shop(), [SHORT, wrong], runs=3, report=asked.append)
    assert asked == []


def test_every_assumption_says_how_it_is_known():
    scenario = replace(
        SHORT, helper=Helper(10.0, 12.0), equipment=(MOTOR,), move=Move(lost_days=sure(2)),
        demand=Demand(factor=Estimate(1.0, 1.3)),
    )  # fmt: skip
    whole = answer(scenario, MANY)
    assert {a.source for a in whole.assumptions} == {"measured", "assumed", "published", "given"}
    assert len(whole.cautions) == 5
