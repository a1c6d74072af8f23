"""What a piece costs, as a maker reads it."""

import re

import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import Product, Shop, Worker
from analysis.screens.source import DEMO, OWN
from analysis.store.store import open_store
from tests.screens.driving import said, tables

BATCHES = "started_at,seconds,product,operation,batch,units\n" + "".join(
    f"2026-11-{day:02d}T{hour:02d}:00:00,{seconds + day},card box,{operation},{day},10\n"
    for day in (2, 3, 4, 5, 6, 9, 10, 11)
    for hour, operation, seconds in ((8, "cut", 400), (9, "glue", 900))
)


@pytest.fixture
def shop_with(own_store):
    """A store of eight batches of card boxes, with whatever of the shop is given."""

    def made(pay=None, price=None, material=None, overhead=None):
        store = open_store(own_store)
        store.import_laps(read_laps(BATCHES.encode(), name="first.csv"))
        product = Product("card box", "", 40, 10, price, material)
        store.save_shop(
            Shop(workers=(Worker("maker", pay),), products=(product,), overhead_per_week=overhead)
        )

    return made


def test_the_demo_says_what_a_piece_costs_and_what_an_hour_leaves_both_with_a_range(show):
    words = said(show("piece_cost", DEMO))
    assert re.search(r"desk journal costs about [\d.]+ to [\d.]+ USD \(pay an hour: maker", words)
    assert re.search(r"leaves \d+ to \d+ USD for each hour at the bench, before anybody's", words)
    assert re.search(r"Sold at [\d.]+ USD on average, it leaves", words)  # variants have prices
    assert "break-even" in words
    assert "price less material" in words


def test_every_product_and_variant_has_its_row_with_ranges_and_units(show):
    table = tables(show("piece_cost", DEMO))[0]
    assert len(table) == 8
    assert {
        "cost (USD)",
        "price (USD)",
        "an hour leaves (USD)",
        "bench time (min)",
    } <= set(table)
    parts = ["labour (USD)", "material (USD)", "putting right (USD)", "overhead (USD)"]
    cents = 0.005 * (len(parts) + 1)  # each is written in whole cents
    assert table[parts].sum(axis=1).sub(table["cost (USD)"]).abs().le(cents).all()
    for name in ("cost (USD)", "left (USD)", "an hour leaves (USD)"):
        assert table[f"{name} low"].le(table[name]).all()
        assert table[name].le(table[f"{name} high"]).all()


def test_another_piece_can_be_asked_for(show):
    screen = show("piece_cost", DEMO)
    screen.selectbox(key="cost_piece").select(("pocket notebook", "linen")).run()
    assert not screen.exception
    assert "A good piece of pocket notebook, linen costs about" in said(screen)
    assert re.search(r"Sold at [\d.]+ USD, it leaves", said(screen))  # one price, no average


def test_an_empty_store_says_the_next_step(show):
    assert "Next step" in show("piece_cost", OWN).info[0].value


def test_without_a_shop_file_all_that_is_missing_is_named_and_the_time_is_told(show, first_file):
    screen = show("piece_cost", OWN)
    assert "is not known in full yet; it takes about" in said(screen)
    missing = screen.info[0].value
    for what in ("hourly pay of maker", "material", "price", "overhead", "Shop"):
        assert what in missing


def test_only_what_is_missing_is_asked_for_and_the_rest_is_told(show, shop_with):
    shop_with(price=9.0, material=1.5, overhead=40.0)
    screen = show("piece_cost", OWN)
    assert screen.info[0].value.startswith("Not given yet: the hourly pay of maker. Next step")
    assert "before anybody's pay" in said(screen)
    assert "card box costs about" not in said(screen)


def test_nothing_missing_asks_for_nothing(show, shop_with):
    shop_with(pay=20.0, price=9.0, material=1.5, overhead=40.0)
    screen = show("piece_cost", OWN)
    assert not screen.info
    assert "every hour at it paid 20.00 EUR" in said(screen)
    assert "more than it costs" in said(screen)


def test_a_piece_that_loses_money_says_so_plainly(show, shop_with):
    shop_with(pay=20.0, price=1.6, material=1.5, overhead=40.0)
    assert re.search(r"brings in [\d.]+ to [\d.]+ EUR less than it costs", said(show("piece_cost")))


def test_overhead_left_blank_is_counted_as_nothing_and_that_is_said(show, shop_with):
    shop_with(pay=20.0, price=9.0, material=1.5)
    screen = show("piece_cost", OWN)
    assert "card box costs about" in said(screen)
    assert "overhead of a week, counted as nothing so far" in screen.info[0].value


def test_whose_pay_is_in_the_cost_is_said_in_plain_words(show):
    words = said(show("piece_cost", DEMO))
    assert "your own too" in words and "whether you pay it out or not" in words
    assert "before anybody's pay, yours and a helper's" in words


def test_a_figure_near_the_low_end_of_its_range_says_why_and_where_lost_material_is(
    show, shop_with
):
    shop_with(pay=20.0, price=9.0, material=5.0, overhead=40.0)
    words = said(show("piece_cost", OWN))
    assert "The range reaches further up than down: few or no pieces were lost so far" in words
    assert "(within *material*) on every good one" in said(show("piece_cost", DEMO))


def test_a_piece_that_never_came_out_good_is_told_no_time_instead_of_half_a_sentence(
    show, own_store
):
    text = (
        "started_at,seconds,product,operation,batch,scrap_units\n"
        "2026-11-02T08:00:00,300,card box,fold,7,1\n"
    )
    open_store(own_store).import_laps(read_laps(text.encode(), name="lost.csv"))
    words = said(show("piece_cost", OWN))
    assert "What a good piece of card box costs is not known in full yet." in words
    assert "about not known yet" not in words
