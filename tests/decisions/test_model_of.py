"""The simulated shop against the study it is made from, and what cannot be simulated."""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest

from analysis.decisions.hours import available_seconds, stretches_of
from analysis.decisions.model_of import by_the_go, mean_seconds, model_of
from analysis.decisions.shop_model import Skill
from analysis.decisions.simulate import simulate
from analysis.decisions.stated import assumptions
from analysis.problems import BadInput
from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.scenario import LONGEST_WEEKS, Scenario
from analysis.records.shop import Allowance, Product, Shop, Worker
from analysis.study.content import PLAN_DOUBT
from analysis.study.summary import study
from tests import demo
from tests.decisions.estimates import mean

SAMPLES = demo.SAMPLES


@pytest.fixture
def bindery():
    """(study, routing, shop) of the demo."""
    return demo.studied(), demo.routing(), demo.shop()


@pytest.fixture(scope="module")
def model():
    return model_of(demo.studied(), demo.routing(), demo.shop())


def no_laps():
    """A laps frame without laps."""
    return read_laps(BytesIO(b"started_at,seconds,product,operation\n"), name="laps.csv").frame


def planned(rows: str, shop: Shop):
    """The model of a shop that has a routing and no laps yet."""
    routing = read_routing(BytesIO(rows.encode()), "routing.csv")
    return model_of(study(no_laps(), routing, shop), routing, shop)


PLAN = (
    "product,operation,after,seconds,skill,pieces_at_once\nbox,cut,,60,,1\nbox,bake,cut,900,,12\n"
)
ASKED = Shop(products=(Product("box", demand_per_week=10.0, batch_size=12),))


def test_every_variant_that_is_asked_for_is_a_line_with_its_own_route(model):
    names = [f"{line.product} {line.variant}" for line in model.lines]
    assert names == ["pocket notebook linen", "pocket notebook marbled", "desk journal linen",
                     "desk journal marbled", "desk journal left-open",
                     "desk journal quarter-cloth"]  # fmt: skip
    marbled = [step.operation for step in model.lines[1].steps]
    assert "marble paper" in marbled
    assert "marble paper" not in [step.operation for step in model.lines[0].steps]
    assert [line.batch_size for line in model.lines] == [50, 25, 25, 25, 25, 25]
    assert sum(line.demand_per_week for line in model.lines) == 106


def test_waits_stations_and_skills_are_the_routings(model):
    steps = {step.operation: step for step in model.lines[4].steps}  # left-open
    place = [step.operation for step in model.lines[4].steps]
    waits = {place[before]: wait for before, wait in steps["attach boards"].before}
    assert waits == {"glue spine": 5400.0, "foil-stamp": 0.0}
    pressed = {step.operation: step for step in model.lines[0].steps}["case in"]
    assert pressed.wait_holds_station
    assert pressed.station == "nipping press"
    assert pressed.wait_seconds == 14400
    assert pressed.workers == ("maker",)
    assert model.stations["nipping press"] == 1


def test_times_are_those_the_study_states_for_today(bindery, model):
    """present_seconds holds the usual share of new starts, a skill's time straight on does not: it
    lies below by what the restart effect makes of it, seldom more than a tenth."""
    cells = bindery[0].learning.cells
    for row in cells.itertuples():
        skill = model.skills[row.worker, row.product, row.operation]
        now = mean_seconds(skill, skill.experience + 1)
        assert 0.85 < now / row.present_seconds < 1.05, (row.product, row.operation, row.worker)
        assert skill.source == "measured"


def test_simulated_weeks_take_the_hours_the_study_says(bindery, model):
    """Bench hours of a good piece: content.total is what the study has, reckoned without a
    simulation. Practice goes on while weeks are simulated, so the first weeks are looked at, and
    5 % allowed for (the curves fall by 2 to 3 % in the pieces of eight weeks)."""
    given = bindery[0]
    hours = given.hours_needed["value"]
    runs = simulate(model, weeks=8, runs=200, seed=1)
    pieces = runs.good[:, 2:].sum(axis=(1, 2))
    each = runs.bench_seconds[:, 2:].sum(axis=(1, 2)) / 3600 / pieces
    assert mean(each)[0] == pytest.approx(hours / 106, rel=0.05)


def test_faults_come_as_often_as_logged(bindery, model):
    runs = simulate(model, weeks=20, runs=100, seed=2)
    lost = runs.scrapped.sum() / (runs.scrapped.sum() + runs.good.sum())
    demand = bindery[0].rolled_yield.set_index("product")["good_share"]
    shares = np.array([demand[line.product] for line in model.lines])
    expected = 1 - np.average(shares, weights=runs.good.sum(axis=(0, 1)))
    assert lost == pytest.approx(expected, rel=0.15)  # doubts of log odds are 0.2 to 0.35


def test_faults_that_come_together_are_known_less_well(bindery, model):
    """Standard deviation of the log odds of p in n pieces: sqrt(L / (n p (1 - p)))."""
    alike = 0
    for row in bindery[0].quality.itertuples():
        steps = (s for line in model.lines if line.product == row.product for s in line.steps)
        step = next((s for s in steps if s.operation == row.operation), None)
        if step and row.rework_units:
            p = row.rework_units / row.units
            known = row.likeness / (row.units * p * (1 - p))
            assert step.rework_doubt == pytest.approx(known**0.5), row.operation
            alike += row.likeness > 1.1
    assert alike >= 2, "or nothing is shown by this"


def test_interruptions_and_rest_are_the_shops(bindery, model):
    given, _, shop = bindery
    assert model.delay_share == pytest.approx(given.delay_percent / 100)
    assert model.delay_doubt > 0 and model.delay_logged
    assert model.rest_share == pytest.approx(0.09)


def test_a_shop_without_laps_is_simulated_as_planned():
    model = planned(PLAN, ASKED)
    assert {skill.source for skill in model.skills.values()} == {"planned"}
    bake = model.skills["maker", "box", "bake"]
    assert bake.first_unit_seconds == 900
    assert bake.level_doubt > 0
    assert model.delay_share == 0.05  # the contingency allowance, where nothing is logged
    assert not model.delay_logged
    runs = simulate(model, weeks=10, runs=20, seed=1)
    assert runs.sold.mean() == pytest.approx(10, abs=0.5)


def test_variants_that_are_planned_at_times_of_their_own_take_these():
    rows = "product,operation,variant,after,seconds\nbox,cut,plain,,0\nbox,cut,linen,,100\n"
    rows += "box,cut,marbled,,150\nbox,pack,,cut,60\n"
    kinds = ("plain", "linen", "marbled")
    products = (Product("box"), *(Product("box", kind, demand_per_week=9.0) for kind in kinds))
    model = planned(rows, Shop(products=products))
    taken = {
        (line.variant, step.operation): step.time_factor
        * model.skills["maker", "box", step.operation].first_unit_seconds
        for line in model.lines
        for step in line.steps
    }
    assert taken == {
        ("plain", "cut"): 0, ("linen", "cut"): 100, ("marbled", "cut"): 150,
        ("plain", "pack"): 60, ("linen", "pack"): 60, ("marbled", "pack"): 60,
    }  # fmt: skip


def test_variants_that_go_by_other_trays_take_as_long_for_a_piece():
    """60 s a piece by the laps, trays of ten and of two: goes of 600 and of 120 s."""
    rows = "product,operation,variant,after,seconds,pieces_at_once\n"
    rows += "box,bake,linen,,900,10\nbox,bake,marbled,,300,2\n"
    kinds = [Product("box", kind, demand_per_week=9.0) for kind in ("linen", "marbled")]
    shop, routing = Shop(products=(Product("box"), *kinds)), read_routing(BytesIO(rows.encode()))
    laps = "started_at,seconds,product,operation,units\n" + "".join(
        f"2026-06-{day:02}T08:00Z,{597 + day % 7},box,bake,10\n" for day in range(1, 15)
    )
    frame = read_laps(BytesIO(laps.encode()), shop, name="laps.csv").frame
    model = model_of(study(frame, routing, shop), routing, shop)
    each = model.skills["maker", "box", "bake"].first_unit_seconds
    goes = [line.steps[0].time_factor * each for line in model.lines]
    assert goes == pytest.approx([600, 120], rel=0.02)


def test_weeks_closed_in_a_year_are_weeks_without_anybody(bindery):
    """5 of 52: five in every year of those looked ahead, no two of them side by side."""
    studied, routing, shop = bindery
    shut = model_of(studied, routing, replace(shop, weeks_closed_per_year=5))
    hours = available_seconds(stretches_of(shut, 156), 156).sum(axis=0) / 3600
    closed = hours == 0
    assert [closed[52 * year : 52 * (year + 1)].sum() for year in range(3)] == [5, 5, 5]
    assert np.diff(np.flatnonzero(closed)).min() >= 10
    assert hours[~closed] == pytest.approx(45)
    assert len(shut.closed) == LONGEST_WEEKS


def test_weeks_closed_and_weeks_without_a_lap_are_said(bindery):
    """The demo's laps span 21 weeks, the maker away in two fortnights of them."""
    studied, routing, shop = bindery
    said = {}
    for closed in (0, 5):
        shut = model_of(studied, routing, replace(shop, weeks_closed_per_year=closed))
        lines = assumptions(shut, shut, Scenario(), "USD")
        said[closed] = next(one.value for one in lines if one.what == "Weeks closed in a year")
    assert said[0] == "none (set on Shop); 4 of the 21 weeks logged have no lap"
    assert said[5].startswith("5, spread evenly; buyers go on asking")


def test_rest_of_the_working_day_is_more_of_the_work():
    allowance = Allowance(5.0, 5.0, 0.0, "of working day")
    assert planned(PLAN, replace(ASKED, allowance=allowance)).rest_share == pytest.approx(1 / 9)


def test_who_has_no_laps_of_an_operation_begins_where_a_colleague_began(bindery):
    given, routing, shop = bindery
    third = replace(shop, workers=(*shop.workers, Worker("newcomer")))
    model = model_of(given, routing, third)
    skill = model.skills["newcomer", "pocket notebook", "fold sections"]
    assert skill.experience == 0
    assert skill.source == "assumed"
    timed = (model.skills[who, "pocket notebook", "fold sections"] for who in ("maker", "helper"))
    own = max(timed, key=lambda skill: skill.experience)
    assert skill.level_doubt == pytest.approx(np.hypot(own.level_doubt, PLAN_DOUBT))
    assert mean_seconds(skill, 1) > 250
    assert ("newcomer", "pocket notebook", "sew") not in model.skills


def test_laps_of_somebody_who_is_not_on_the_shops_list_tell_more_than_the_plan():
    """Timed as `maker`, which is what laps without a name are; the shop's list has anna only."""
    rows = "started_at,seconds,product,operation\n"
    rows += "".join(
        f"2026-06-01T{8 + n // 4:02}:{n % 4}0Z,{28 + n % 5},box,cut\n" for n in range(16)
    )
    routing = read_routing(BytesIO(PLAN.encode()), "routing.csv")
    anna = replace(ASKED, workers=(Worker("anna"),))
    laps = read_laps(BytesIO(rows.encode()), anna, name="laps.csv").frame
    model = model_of(study(laps, routing, anna), routing, anna)
    cut = model.skills["anna", "box", "cut"]
    assert cut.source == "assumed" and mean_seconds(cut, 1) == pytest.approx(30, rel=0.1)
    assert model.skills["anna", "box", "bake"].source == "planned"
    times = next(a for a in assumptions(model, model, Scenario()) if a.what.startswith("Times"))
    assert times.value == (
        "timed at the bench for none of 2 (person, product and operation), 1 as somebody else "
        "timed there began, 1 from the route"
    )


@pytest.mark.parametrize("experience", [0.0, 36.0, 300.0])
@pytest.mark.parametrize("skill", [
    Skill(100.0), Skill(100.0, "unit", -0.3), Skill(100.0, "cumulative_average", -0.3),
    Skill(100.0, "plateau", -0.3, 40.0), Skill(100.0, "prior", -0.3, prior_pieces=60.0),
], ids=lambda skill: skill.curve)  # fmt: skip
def test_a_tray_of_twelve_is_practised_as_twelve_pieces(skill, experience):
    """Go 1, 10 and 100 from now take what their pieces take on the curve that the laps gave: the
    middle piece of each is within 1 %, but for the first go of all, whose pieces differ most."""
    skill = replace(skill, experience=experience)
    trays = by_the_go(skill, 12)
    for go in (1, 10, 100):
        pieces = [mean_seconds(skill, experience + 12 * (go - 1) + k) for k in range(1, 13)]
        there = mean_seconds(trays, trays.experience + go)
        assert there == pytest.approx(sum(pieces), rel=0.02 if experience + go > 1 else 0.25)


@pytest.mark.parametrize(("rows", "shop", "said"), [
    (PLAN, Shop(), "no product is asked for"),
    (PLAN, Shop(products=(Product("vase", demand_per_week=3.0),)), "vase"),
    (PLAN.replace("60,,1", "60,smith,1"),
     replace(ASKED, workers=(Worker("maker"),)), "nobody can do cut of box"),
    (PLAN, replace(ASKED, week={}), "no working hours"),
])  # fmt: skip
def test_what_cannot_be_simulated_is_said_plainly(rows, shop, said):
    with pytest.raises(BadInput, match=said):
        planned(rows, shop)


def test_who_can_do_nothing_is_told_with_the_routings_row():
    smith = PLAN.replace("900,,12", "900,smith,12")
    with pytest.raises(BadInput) as told:
        planned(smith, replace(ASKED, workers=(Worker("maker"),), week={}))
    week, skill = told.value.faults
    assert week.column == "week"
    assert (skill.file, skill.row, skill.column, skill.value) == (
        "the routing",
        3,
        "skill",
        "smith",
    )


def test_what_the_simulated_weeks_leave_out_is_said():
    rows = "product,operation,after,seconds,variant,rack,rack_places,max_wait_seconds\n"
    rows += "box,cut,,60,,shelf,20,\nbox,glue,cut,60,,,,900\n"
    plain = Product("box", demand_per_week=30.0)
    red = Product("box", "red", demand_per_week=12.0)
    left_out = planned(rows, Shop(products=(plain, red))).left_out
    assert len(left_out) == 3
    assert "shelf" in left_out[0]
    assert "glue" in left_out[1]
    assert left_out[2].startswith("18 of the box a week")
    assert planned(PLAN, ASKED).left_out == ()


def test_laps_of_no_named_batch_tell_setups_and_walks_too():
    """Two setups of 100 and 140 s; walks of 300 s with 24 pieces, which are two batches of 12."""
    rows = "started_at,seconds,product,operation,activity,units\n"
    rows += "2026-06-01T08:00Z,100,box,cut,setup,1\n2026-06-02T08:00Z,140,box,cut,setup,1\n"
    rows += "2026-06-01T09:00Z,300,box,cut,transport,1\n"
    rows += "2026-06-01T10:00Z,720,box,cut,operation,12\n"
    rows += "2026-06-02T10:00Z,700,box,cut,operation,12\n"
    routing = read_routing(BytesIO(PLAN.encode()), "routing.csv")
    laps = read_laps(BytesIO(rows.encode()), ASKED, name="laps.csv").frame
    step = model_of(study(laps, routing, ASKED), routing, ASKED).lines[0].steps[0]
    assert step.setup_seconds == 120
    assert step.transport_seconds == 150
