"""Shop: what is typed into its tables is checked as a file would be, kept, and can be undone."""

from pathlib import Path

import pytest

from analysis.problems import BadInput
from analysis.records.routing import read_routing
from analysis.records.shop import Allowance, Shop, read_shop
from analysis.screens import shop_tables, source, this_week_told
from analysis.store.store import open_store
from tests.screens.driving import said, tables, turn_to

SAMPLES = Path(__file__).parents[2] / "data_samples"
DEMO_SHOP = read_shop(SAMPLES / "shop.toml")


@pytest.fixture
def bindery(own_store):
    """One's own store with the bindery's shop and route, which a test may change."""
    store = open_store(own_store)
    store.save_shop(DEMO_SHOP)
    store.save_routing(read_routing(SAMPLES / "routing.csv"))
    return store


def tab(show, name: str):
    """One's own shop, with this table open."""
    return turn_to(show("shop", source.OWN), name)


def edit(screen, store, what: str, rows: dict | None = None, added: list | None = None):
    """Type into a table and press its save button."""
    screen.session_state[f"{what}_own {store.version()}"] = {
        "edited_rows": rows or {},
        "added_rows": added or [],
        "deleted_rows": [],
    }
    next(button for button in screen.button if button.label == f"Save {what}").click()
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def row_of(store, product: str, variant: str = "") -> int:
    table = shop_tables.products_table(store.shop())
    return table.index[(table["product"] == product) & (table.variant == variant)][0]


@pytest.mark.parametrize("shop", [Shop(), DEMO_SHOP], ids=["empty", "bindery"])
def test_a_shop_put_into_tables_and_back_is_the_same_shop(shop):
    again = shop_tables.with_hours(shop, shop_tables.hours_table(shop))
    again = shop_tables.with_people(again, shop_tables.people_table(again))
    again = shop_tables.with_products(again, shop_tables.products_table(again))
    again = shop_tables.with_basics(
        again, again.name, again.timezone, again.currency, again.overhead_per_week,
        again.weeks_closed_per_year,
    )  # fmt: skip
    again = shop_tables.with_allowance(again, again.allowance)
    assert again == shop


def test_a_route_put_into_a_table_and_back_is_the_same_route():
    routing = read_routing(SAMPLES / "routing.csv")
    again = shop_tables.checked_route(shop_tables.route_table(routing))
    assert again.drop(columns="row").equals(routing.drop(columns="row"))
    assert read_routing(shop_tables.route_csv(routing), "routing.csv").equals(routing)


def test_demand_typed_in_is_kept_and_the_product_is_the_sum_of_its_variants(show, bindery):
    row = row_of(bindery, "desk journal", "linen")
    before = bindery.shop().product("desk journal").demand_per_week
    added = 100 - bindery.shop().product("desk journal", "linen").demand_per_week
    screen = edit(show("shop", source.OWN), bindery, "products", {row: {"demand_per_week": 100}})
    assert "Saved: products." in said(screen)
    assert bindery.shop().product("desk journal", "linen").demand_per_week == 100
    assert bindery.shop().product("desk journal").demand_per_week == before + added


def test_a_save_is_one_change_and_its_undo_brings_the_shop_back(show, bindery):
    edit(tab(show, "People"), bindery, "people", added=[{"name": "apprentice"}])
    assert [worker.name for worker in bindery.shop().workers][-1] == "apprentice"
    bindery.undo(bindery.version())
    assert bindery.shop() == DEMO_SHOP


def test_a_new_variant_brings_its_product_along(show, own_store):
    store = open_store(own_store)
    new = [{"product": "card box", "variant": "blue", "demand_per_week": 5, "price": 9.5}]
    edit(show("shop", source.OWN), store, "products", added=new)
    assert store.shop().product("card box", "blue").price == 9.5
    assert store.shop().product("card box", "").demand_per_week == 5


def test_a_route_is_begun_from_an_empty_table(show, own_store):
    store = open_store(own_store)
    new = [{"product": "card box", "operation": "cut", "seconds": 30}]
    edit(tab(show, "Route"), store, "route", added=new)
    row = store.routing().iloc[0]
    assert (row.operation, row.seconds, row.pieces_at_once) == ("cut", 30, 1)


def test_a_blank_name_and_a_name_twice_are_refused_by_row(show, bindery):
    version = bindery.version()
    new = [{"variant": "blue", "price": 9.5}, {"product": "desk journal", "variant": "linen"}]
    words = said(edit(show("shop", source.OWN), bindery, "products", added=new))
    assert "What you typed in products was not taken in: 2 faults" in words
    assert "product is blank" in words
    assert "product stands twice, found “desk journal, linen”" in words
    assert bindery.version() == version


def test_hours_that_are_none_are_refused_naming_the_day(show, bindery):
    version = bindery.version()
    words = said(edit(tab(show, "Hours"), bindery, "hours", {1: {"hours": "from nine"}}))
    assert "week.Tue is not a span of hours, found “from nine”" in words
    assert bindery.version() == version
    words = said(edit(tab(show, "Hours"), bindery, "hours", {1: {"hours": "09:00-12:00"}}))
    assert "Saved: hours." in words
    assert bindery.shop().week["Tue"] == ((9 * 3600, 12 * 3600),)


def test_overhead_and_allowances_are_kept(show, bindery):
    screen = tab(show, "Costs")
    next(box for box in screen.number_input if box.label.startswith("Rent")).set_value(250.0)
    next(box for box in screen.number_input if box.label.startswith("Weeks closed")).set_value(4)
    next(button for button in screen.button if button.label == "Save costs").click().run()
    assert bindery.shop().overhead_per_week == 250
    assert bindery.shop().weeks_closed_per_year == 4
    assert "(4 weeks a year closed)" in said(screen)
    assert "no lap" not in said(screen)  # without laps there is nothing to hold it against
    turn_to(screen, "Allowances")
    next(box for box in screen.number_input if box.label.startswith("Getting")).set_value(8.0)
    next(button for button in screen.button if button.label == "Save allowances").click().run()
    assert bindery.shop().allowance == Allowance(5.0, 8.0, 5.0, "of normal time")


def test_logged_weeks_without_a_lap_stand_beside_the_weeks_closed(show):
    screen = turn_to(show("shop", source.DEMO), "Costs")
    assert "4 of the 21 weeks from the first lap to the last have no lap." in said(screen)


def test_a_time_zone_that_is_none_is_refused(show, bindery):
    screen = tab(show, "Costs")
    next(box for box in screen.text_input if box.label == "Time zone").set_value("Garage/Back")
    next(button for button in screen.button if button.label == "Save costs").click().run()
    assert "is no time zone" in said(screen)
    assert bindery.shop() == DEMO_SHOP


def test_a_route_that_runs_in_a_circle_is_refused_and_a_sound_one_kept(show, bindery):
    version = bindery.version()
    screen = tab(show, "Route")
    words = said(edit(screen, bindery, "route", {2: {"after": "wrap"}}))
    assert "was not taken in" in words and bindery.version() == version
    words = said(edit(tab(show, "Route"), bindery, "route", {2: {"seconds": 155}}))
    assert "Saved: route." in words
    assert bindery.routing().seconds.iloc[2] == 155


def test_waits_are_typed_in_minutes_and_kept_in_seconds(show, bindery):
    edit(tab(show, "Route"), bindery, "route", {2: {"wait_seconds": 30, "setup_seconds": 1.5}})
    row = bindery.routing().iloc[2]
    assert (row.wait_seconds, row.setup_seconds) == (1800, 90)


def test_a_wait_that_is_none_is_refused_in_the_words_of_the_table():
    table = shop_tables.route_table(read_routing(SAMPLES / "routing.csv"))
    table.loc[3, "wait_seconds"] = -30
    with pytest.raises(BadInput) as refused:
        shop_tables.checked_route(table)
    (fault,) = refused.value.faults
    assert (fault.row, fault.column, fault.value) == (4, "Waits after (min)", "-30")


def test_what_is_sold_is_noted_on_the_shelf(show, bindery):
    screen = tab(show, "Shelf")
    screen.number_input(key="shelf_pieces").set_value(7)
    next(button for button in screen.button if button.label == "Note it").click().run()
    assert not screen.exception
    assert "Noted: sold, 7 pocket notebook, linen." in said(screen)
    event = bindery.stock_events().iloc[-1]
    assert (event.kind, event["product"], event.variant, event.units) == (
        "sale",
        "pocket notebook",
        "linen",
        7,
    )
    latest = tables(screen)[0].iloc[0]
    assert (latest["what"], latest["pieces"], latest["of what"]) == (
        "sold",
        7,
        "pocket notebook, linen",
    )


def test_shop_files_go_out_and_come_in(show, own_store):
    store = open_store(own_store)
    screen = tab(show, "Files")
    next(f for f in screen.file_uploader if "shop.toml" in f.label).upload(
        "shop.toml", (SAMPLES / "shop.toml").read_bytes(), "application/toml"
    ).run()
    next(b for b in screen.button if b.label.startswith("Replace hours")).click().run()
    assert store.shop() == DEMO_SHOP
    labels = [button.label for button in screen.download_button]
    assert "Download shop.toml" in labels


def test_what_is_missing_is_said_with_the_table_it_goes_in(show):
    words = said(show("shop", source.OWN))
    assert "**Products**: name what you make" in words
    assert "**Route**: the operations in order" in words


def test_people_are_cautioned_about_timing_and_strain(show):
    words = said(turn_to(show("shop"), "People"))
    assert "tell them first what is timed and why" in words
    assert "local law" in words


def test_a_number_below_nothing_is_a_fault_not_a_crash():
    table = shop_tables.people_table(DEMO_SHOP)
    table.loc[0, "cost_per_hour"] = -4
    with pytest.raises(BadInput, match="is less than nothing"):
        shop_tables.with_people(DEMO_SHOP, table)


def test_names_that_the_laps_know_need_only_be_saved(show, first_file):
    words = said(tab(show, "Shelf"))
    assert "Press **Save products** under **Products** first" in words
    assert "the names in your laps stand there already" in words


def test_an_empty_shop_is_not_told_of_names_that_it_does_not_have(show):
    words = said(tab(show, "Shelf"))
    assert "Write what you make under **Products** first" in words
    assert "laps stand there" not in words


def test_an_order_taken_from_the_laps_is_called_so(show, first_file):
    words = said(tab(show, "Route"))
    assert "The order of your work is taken from your laps; check it here" in words


VARIANTS_ONLY = """
[products."card box".variants.red]
demand_per_week = 1
price = 10.0
material_cost = 2.0
"""


def test_a_product_whose_variants_have_all_is_asked_for_nothing_more(show, own_store):
    store = open_store(own_store)
    store.save_shop(read_shop(VARIANTS_ONLY.encode(), "shop.toml"), "shop")
    words = said(show("shop", source.OWN))
    assert "1 piece asked for a week" in words
    assert "of card box" not in words
    assert "price and material" not in "; ".join(this_week_told.missing(store.shop()))
    other = VARIANTS_ONLY + '[products."card box".variants.blue]\nmaterial_cost = 2.0\n'
    store.save_shop(read_shop(other.encode(), "shop.toml"), "shop")
    words = said(show("shop", source.OWN))
    assert "price of card box" in words and "material of card box" not in words


def test_a_shop_file_that_is_refused_is_not_said_to_have_been_typed(show, own_store):
    screen = tab(show, "Files")
    next(f for f in screen.file_uploader if "shop.toml" in f.label).upload(
        "mine.toml", b"[shop]\ntimezone = 3\n", "application/toml"
    ).run()
    next(one for one in screen.button if one.label.startswith("Replace hours")).click().run()
    assert "mine.toml was not taken in" in said(screen)
    assert "What you typed" not in said(screen)


def test_one_movement_of_the_shelf_is_told_as_one(show, bindery):
    screen = tab(show, "Shelf")
    screen.number_input(key="shelf_pieces").set_value(7)
    next(one for one in screen.button if one.label == "Note it").click().run()
    assert "1 movement noted. Undo one under Laps, Changes." in said(screen)


def test_rent_given_as_a_whole_number_in_the_file_stands_on_costs(show, three_laps):
    three_laps.save_shop(read_shop(b"[overhead]\nper_week = 40\n", "shop.toml"), "shop")
    screen = turn_to(show("shop", source.OWN), "Costs")
    rent = next(one for one in screen.number_input if one.label.startswith("Rent"))
    assert rent.value == 40.0
