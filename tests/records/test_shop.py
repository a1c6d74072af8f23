"""Reading a shop: every key may be left out, and every wrong one is named by its line."""

import pytest

from analysis.problems import BadInput
from analysis.records.shop import Allowance, Product, Shop, Worker, read_shop, shop_toml

FULL = """# the bindery
[shop]
name = "Garage bindery"
timezone = "Europe/Vienna"
currency = "EUR"

[week]
Mon = "08:00-12:00, 13:00-17:00"
Sat = "09:30-24:00"

[allowance]
personal = 6
fatigue_percent = 4.5
convention = "of working day"

[workers.maker]
hours_per_week = 35
[workers."the helper"]
cost_per_hour = 18.0

[products."pocket notebook"]
price = 12
material_cost = 3.6
[products."pocket notebook".variants.linen]
demand_per_week = 36
stock = 29
[products."pocket notebook".variants.marbled]
demand_per_week = 26
price = 13.5
batch_size = 50

[overhead]
per_week = 120
"""


def fault_of(text):
    with pytest.raises(BadInput) as caught:
        read_shop(text.encode(), "shop.toml")
    assert caught.value.count == 1, str(caught.value)
    return caught.value.faults[0]


def test_an_empty_file_is_the_default_shop():
    shop = read_shop(b"")
    assert shop == Shop()
    assert shop.week_seconds == 5 * 8 * 3600
    assert shop.allowance == Allowance(5, 4, 5, "of normal time")
    assert shop.workers == shop.products == () and shop.overhead_per_week is None


def test_every_key_is_read():
    shop = read_shop(FULL.encode())
    assert (shop.name, shop.timezone, shop.currency) == (
        "Garage bindery", "Europe/Vienna", "EUR")  # fmt: skip
    assert shop.week["Mon"] == ((28800, 43200), (46800, 61200))
    assert shop.week["Sat"] == ((34200, 86400),) and shop.week["Tue"] == ()
    assert shop.allowance == Allowance(6, 4.5, 5, "of working day")
    assert shop.workers == (Worker("maker", None, 35), Worker("the helper", 18.0, None))
    assert shop.products == (
        Product("pocket notebook", "", 62, 25, 12, 3.6, 29),
        Product("pocket notebook", "linen", 36, 25, 12, 3.6, 29),
        Product("pocket notebook", "marbled", 26, 50, 13.5, 3.6, None),
    )
    assert shop.overhead_per_week == 120


def test_a_variant_that_is_not_named_has_its_products_price():
    shop = read_shop(FULL.encode())
    assert shop.product("pocket notebook", "marbled").price == 13.5
    assert shop.product("pocket notebook", "leather").price == 12
    assert shop.product("desk journal") is None


@pytest.mark.parametrize(
    "old, new, row, column",
    [
        ('"Europe/Vienna"', '"Vienna"', 4, "shop.timezone"),
        ('"Europe/Vienna"', "1", 4, "shop.timezone"),
        ('currency = "EUR"', 'curency = "EUR"', 5, "shop.curency"),
        ("13:00-17:00", "11:00-17:00", 8, "week.Mon"),
        ("13:00-17:00", "17:00-13:00", 8, "week.Mon"),
        ("13:00-17:00", "13:00-25:00", 8, "week.Mon"),
        ("Sat =", "Saturday =", 9, "week.Saturday"),
        ("personal = 6", "personal = 101", 12, "allowance.personal"),
        ('"of working day"', '"of the day"', 14, "allowance.convention"),
        ("hours_per_week = 35", "hours_per_week = 200", 17, "workers.maker.hours_per_week"),
        ("cost_per_hour = 18.0", "cost_per_hour = -18.0", 19, "workers.the helper.cost_per_hour"),
        ("price = 12\n", 'price = "12"\n', 22, "products.pocket notebook.price"),
        ("price = 12\n", "price = nan\n", 22, "products.pocket notebook.price"),
        ("price = 12\n", "price = true\n", 22, "products.pocket notebook.price"),
        ("batch_size = 50", "batch_size = 0", 30,
         "products.pocket notebook.variants.marbled.batch_size"),
        ("[overhead]", "[overheads]", 32, "overheads"),
        ("per_week = 120", "per_week = -1", 33, "overhead.per_week"),
        ("[overhead]", "[overhead", 32, ""),
    ],
)  # fmt: skip
def test_a_wrong_key_or_value_is_named_by_its_line(old, new, row, column):
    assert old in FULL
    fault = fault_of(FULL.replace(old, new, 1))
    assert (fault.row, fault.column) == (row, column) and fault.remedy


def test_all_faults_are_told_together():
    with pytest.raises(BadInput) as caught:
        read_shop(FULL.replace("120", "-1").replace("= 36", "= -36").encode())
    assert [fault.row for fault in caught.value.faults] == [25, 33]


def test_allowances_that_leave_no_time_to_work_are_refused():
    text = '[allowance]\npersonal = 60\nfatigue = 50\nconvention = "of working day"\n'
    assert "leaves no time" in fault_of(text).problem


def test_a_shop_written_and_read_again_is_the_same_shop(tmp_path):
    odd = Shop(name='a "quoted" \\ name\n\u00e9', workers=(Worker("maker.1"), Worker('"x"')))
    shut = Shop(weeks_closed_per_year=5)
    for shop in (Shop(), read_shop(FULL.encode()), odd, shut):
        assert read_shop(shop_toml(shop).encode()) == shop
    (tmp_path / "shop.toml").write_text(shop_toml(odd), encoding="utf-8")
    assert read_shop(tmp_path / "shop.toml") == odd


@pytest.mark.parametrize(
    "text, row, said",
    [
        ("[overhead]\nper_week = " + "9" * 400, 2, "is more than 1000000000000"),
        ("[overhead]\nper_week = " + "9" * 5000, 2, "has a number too long to read"),
        ("[overhead]\nper_week = 0x" + "f" * 9000, 2, "is more than 1000000000000"),
        ("[overhead]\nper_week = inf", 2, "is more than 1000000000000"),
        ("[products.a]\nbatch_size = 1e308", 2, "is not a whole number from 1 to 1000000"),
        ("[shop]\nweeks_closed_per_year = 52", 2, "is not a whole number from 0 to 51"),
        ("[shop]\nweeks_closed_per_year = 2.5", 2, "is not a whole number from 0 to 51"),
        ("[shop]\nweeks_closed_per_year = -1", 2, "is not a whole number from 0 to 51"),
        ("[products.a]\nbatch_size = 1000001", 2, "is not a whole number from 1 to 1000000"),
        ("[shop]\nname = " + "[" * 3000 + "]" * 3000, 0, "too deep to read"),
        ("shop.name" + ".a" * 3000 + " = 1", 0, "is not text"),
    ],
    ids=range(11),
)  # fmt: skip
def test_a_number_no_shop_has_and_endless_nesting_are_faults_like_others(text, row, said):
    fault = fault_of(text)
    assert fault.row == row and said in fault.problem and fault.remedy
    assert len(str(fault)) < 4000


def test_hours_over_midnight_are_to_be_split_there():
    fault = fault_of('[week]\nMon = "22:00-02:00"\n')
    assert fault.value == "22:00-02:00"
    assert 'split at midnight: "22:00-24:00" on this day and "00:00-02:00"' in fault.remedy
    split = read_shop(b'[week]\nMon = "22:00-24:00"\nTue = "00:00-02:00"\n')
    assert split.week_seconds == 4 * 3600
