"""Reading a scenario: every key of the contract, ranges, and contradictions told by line."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.problems import BadInput
from analysis.records import scenario as scenario_module
from analysis.records.scenario import (
    DEMAND_KEYS,
    EQUIPMENT_KEYS,
    HELPER_KEYS,
    MOVE_KEYS,
    Demand,
    Equipment,
    Estimate,
    Helper,
    Move,
    Order,
    Scenario,
    check_names,
    read_scenario,
    sure,
)
from analysis.records.scenario_text import scenario_toml
from analysis.records.shop import quoted
from tests.examples import examples

FULL = """[scenario]
name = "All at once"
horizon_weeks = 78
discount_rate_per_year = 0.08
starts_in_month = 9

[helper]
hours_per_week = 12
cost_per_hour = 19.5
first_unit_factor = [1.0, 1.6]
learning_rate = 0.82
training_hours = 10
supervision_share = 0.1
operations = ["sew", "trim"]
months = [12, 11]

[equipment]
operation = "punch"
time_factor = [0.3, 0.5]
setup_seconds = 90
faults_factor = [0.9, 1.5]
price = 800
life_weeks = 250
resale = [0, 200]
running_cost_per_week = 2
new_station = true

[move]
rent_per_week = 60
fit_out = 900
lease_weeks = 52
whole_rent_per_week = 140
notice_weeks = 12
deposit = [300, 600]
lost_days = 3
transport_factor = 0.2
added_stations = {press = 1}
batch_size = {"desk journal" = 50}

[demand]
factor = 1.25
[[demand.orders]]
product = "desk journal"
variant = "linen"
pieces = 100
week = 20
price = 24
"""

SHORT_FORMS = """[demand]
products = ["box \\"big\\""]
factor = [1.1, 1.4]
either_way = true
season = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1.5, 2, 3]
growth_per_year = -0.1
[[equipment]]
operation = ["sew", "trim"]
seconds = 12.5
new_station = "motor"
[[equipment]]
operation = "sew"
attended_share = 0.5
pieces_at_once = 4
"""


def faults_of(text, names=False):
    with pytest.raises(BadInput) as caught:
        scenario = read_scenario(text.encode(), "s.toml")
        if names:
            check_names(scenario, {"sew", "trim"}, {"box": {"", "red"}}, {"press"})
    return [str(fault) for fault in caught.value.faults]


def test_every_key_of_the_contract_is_read():
    scenario = read_scenario(FULL.encode())
    assert scenario == Scenario(
        name="All at once", horizon_weeks=78, discount_rate_per_year=0.08, starts_in_month=9,
        helper=Helper(
            12, 19.5, first_unit_factor=Estimate(1.0, 1.6), learning_rate=sure(0.82),
            training_hours=sure(10), supervision_share=0.1, operations=("sew", "trim"),
            months=(11, 12),
        ),
        equipment=(
            Equipment(
                ("punch",), name="punch", time_factor=Estimate(0.3, 0.5), setup_seconds=sure(90),
                faults_factor=Estimate(0.9, 1.5), price=sure(800), life_weeks=250,
                resale=Estimate(0, 200),
                running_cost_per_week=sure(2), new_station=True,
            ),
        ),
        move=Move(
            sure(60), sure(900), sure(3), 0.2, (("press", 1),), (("desk journal", 50),),
            whole_rent_per_week=140, lease_weeks=52, notice_weeks=12, deposit=Estimate(300, 600),
        ),
        demand=Demand(
            factor=sure(1.25), orders=(Order("desk journal", 100, 20, "linen", 24),),
        ),
    )  # fmt: skip


def test_an_empty_file_changes_nothing():
    assert read_scenario(b"") == Scenario()


def test_what_may_be_written_short_is():
    scenario = read_scenario(
        b'[move]\nadded_stations = 2\nbatch_size = 50\n[demand]\nproducts = ["box"]\nfactor = 2\n'
        b'[[equipment]]\noperation = ["sew", "trim"]\n[[equipment]]\noperation = "sew"\n'
    )
    assert scenario.move == Move(added_stations=(("", 2),), batch_size=(("", 50),))
    assert scenario.demand == Demand(factor=sure(2), factor_products=("box",))
    assert [machine.operations for machine in scenario.equipment] == [("sew", "trim"), ("sew",)]
    assert read_scenario(b"[demand.products]\nbox = 60").demand.products == (("box", 60),)


@pytest.mark.parametrize(
    "text, row, words",
    [
        ("[helper]\nhours_per_week = 10", 1, "helper: has no cost_per_hour"),
        ("[helper]\ncost_per_hour = 10", 1, "helper: has no hours_per_week"),
        ("[helper]\nhours_per_week = 0\ncost_per_hour = 1", 2, "leaves no hours to work"),
        (
            "[helper]\nhours_per_week = 9\ncost_per_hour = 1\noperations = []",
            4,
            "helper may do no operation",
        ),
        (
            "[helper]\nhours_per_week = 9\ncost_per_hour = -1",
            3,
            "is less than nothing; found '-1'",
        ),
        (
            "[helper]\nhours_per_week = 9\ncost_per_hour = 1\nfrom_week = 9\nuntil_week = 4",
            5,
            "is before from_week",
        ),
        ("[helper]\nhours_per_week = 9\ncost_per_hour = 1\nmonths = [13]", 4, "are no months"),
        ('[equipment]\noperation = "sew"\nlife_weeks = 0', 3, "not a whole number from 1"),
        ('[equipment]\noperation = "sew"\nprice = -5', 3, "is less than nothing; found '-5'"),
        ("[move]\nrent_per_week = [40, 60]\nwhole_rent_per_week = 50", 3, "the rent it adds"),
        (
            '[equipment]\noperation = "sew"\ntime_factor = 0.5\nseconds = 4',
            4,
            "stands beside time_factor",
        ),
        ('[equipment]\noperation = "sew"\ntime_factor = [0.6, 0.5]', 3, "has its higher end first"),
        ('[equipment]\noperation = "sew"\ntime_factor = [0.6]', 3, "not a number or a range"),
        ('[equipment]\noperation = "sew"\ntime_factor = 0', 3, "is out of bounds"),
        (
            '[equipment]\noperation = "sew"\ntime_factor = [0x' + "f" * 9000 + ", 1]",
            3,
            "is out of bounds",
        ),
        ("[equipment]\nprice = 3", 1, "is for no operation"),
        ("[demand]\nfactor = 0", 2, "leaves nothing to sell"),
        ("[demand]\nproducts = {box = 0}", 2, "leave nothing to sell"),
        ("[demand]\nseason = [1, 2]", 2, "is not 12 factors"),
        ("[demand]\n[[demand.orders]]\npieces = 5\nweek = 2", 2, "has no product"),
        ("[scenario]\nhorizon_weeks = 0", 2, "not a whole number from 1"),
        ("[scenario]\ndiscount_rate_per_year = 5", 2, "write 5 % as 0.05"),
        ("[scenario]\ncolour = 1", 2, "no key of the scenario file"),
        ("[machine]\nprice = 1", 1, "no key of the scenario file"),
        ("[move]\ntransport_factor = [1, 2]", 2, "give one number"),
        ("[move]\nrent_per_week = nan", 2, "is out of bounds"),
        ("[move]\nrent_per_week = inf", 2, "is out of bounds"),
        ("[move\nfit_out = 1", 1, "is not TOML"),
    ],
)
def test_a_contradiction_is_told_with_its_line(text, row, words):
    (fault,) = faults_of(text)
    assert fault.startswith(f"s.toml:{row}: ") and words in fault


def test_all_faults_are_told_together_and_of_the_right_machine():
    text = (
        '[[equipment]]\noperation = "sew"\nprice = 4\n[[equipment]]\noperation = "sew"\nprice = -1'
    )
    assert faults_of(text)[0].startswith("s.toml:6: equipment 2.price")
    assert len(faults_of("[helper]\nmonths = 3\n[move]\nfit_out = -1")) == 4


@pytest.mark.parametrize(
    "text, row, words",
    [
        ('[equipment]\noperation = "fly"', 2, "names no operation of the shop; found 'fly'"),
        (
            '[helper]\nhours_per_week=1\ncost_per_hour=1\noperations=["sew", "nap"]',
            4,
            "found 'nap'; there are: sew, trim",
        ),
        ('[move]\nadded_stations = ["oven"]', 2, "names no station of the shop"),
        ("[move]\nbatch_size = {hat = 5}", 2, "names no product of the shop"),
        ("[demand.products]\nhat = 5", 1, "names no product of the shop"),
        ("[demand.products]\nhat = 5", 1, "needs its demand_per_week in the shop first"),
        (
            '[demand]\n[[demand.orders]]\nproduct = "box"\nvariant = "blue"\npieces = 3\nweek = 1',
            4,
            "names no variant of the shop",
        ),
    ],
)
def test_a_name_the_shop_does_not_know_is_told_with_those_it_does(text, row, words):
    (fault,) = faults_of(text, names=True)
    assert fault.startswith(f"s.toml:{row}: ") and words in fault


def test_months_begin_where_the_scenario_does():
    scenario = Scenario(starts_in_month=11)
    assert [scenario.month_of_week(week) for week in (0, 5, 9, 52)] == [11, 12, 1, 11]


def test_a_written_scenario_is_read_back_as_it_was():
    for text in (FULL, "", "[move]\nadded_stations = 2\nbatch_size = 50", SHORT_FORMS):
        scenario = read_scenario(text.encode())
        assert read_scenario(scenario_toml(scenario).encode()) == scenario


def keys_told():
    """Every key of the table at the top of the module: `move.fit_out*, lost_days` are two."""
    for line in scenario_module.__doc__.splitlines():
        if told := re.match(r"\| ([a-z]+)\.([a-z_*, ]+?) \|", line):
            for key in told[2].replace("*", "").split(", "):
                yield f"{told[1]}.{key}"


KEYS = list(keys_told())
anything = st.one_of(
    st.integers(-2, 200), st.floats(allow_nan=True), st.booleans(), st.text(max_size=3),
    st.sampled_from(["sew", "box", 1e13, 10**400]),
)  # fmt: skip
values = st.one_of(
    anything,
    st.lists(anything, max_size=3),
    st.lists(st.floats(0, 2), min_size=12, max_size=12),
    st.dictionaries(st.sampled_from(["box", "press", ""]), anything, max_size=2),
    st.lists(st.fixed_dictionaries({"product": anything, "pieces": anything, "week": anything}),
             max_size=2),
)  # fmt: skip


def written(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, dict):
        pairs = (f"{quoted(key)} = {written(part)}" for key, part in value.items())
        return "{" + ", ".join(pairs) + "}"
    return repr(value)


@settings(max_examples=examples(300), deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), values, max_size=8))
def test_whatever_stands_in_a_scenario_it_is_read_or_refused_and_what_is_read_is_written_back(keys):
    tables = {}
    for path, value in keys.items():
        table, _, key = path.partition(".")
        tables.setdefault(table, []).append(f"{key} = {written(value)}")
    text = "\n".join(f"[{table}]\n" + "\n".join(lines) for table, lines in tables.items())
    try:
        scenario = read_scenario(text.encode(), "s.toml")
    except BadInput as refused:
        assert all(fault.row > 0 and fault.column for fault in refused.faults), text
        return
    assert read_scenario(scenario_toml(scenario).encode()) == scenario


def test_every_key_told_at_the_top_is_read():
    parts = (HELPER_KEYS, EQUIPMENT_KEYS, MOVE_KEYS, DEMAND_KEYS)
    assert len(KEYS) == len(set(KEYS)) == 4 + sum(map(len, parts))
    for path in KEYS:
        table, _, key = path.partition(".")
        text = f'[{table}]\n{key} = "x"'
        assert "no key of the scenario file" not in str(faults_or_none(text))


def faults_or_none(text):
    try:
        return read_scenario(text.encode())
    except BadInput as refused:
        return refused
