"""What a phone may pick from: the shop's own words, routes, people, causes and open batches."""

import io
import json
import random
import threading
import time

import pytest

from analysis.bench import choices
from analysis.bench.choices import Met, RecentLap, Step
from analysis.bench.lists import THREAD, Lists, _since, recent_laps
from analysis.records.laps import read_laps
from analysis.records.shop import Product, Shop, Worker
from analysis.store import bench_batches, tables
from analysis.store.bench import Delivery, PhoneLap, record
from analysis.store.bench_batches import PhoneBatch
from analysis.store.connection import reading, writing
from analysis.store.store import open_store
from tests.bench.serving import at_clock, body_of, lap

DAY = 86_400_000_000
NOW = 20_000 * DAY
SHOP = Shop(
    workers=(Worker("anna"), Worker("ben")),
    products=(Product("pocket notebook", batch_size=50), Product("pocket notebook", "linen"),
              Product("pocket notebook", "marbled"), Product("desk journal")),
)  # fmt: skip
STEPS = {"pocket notebook": [Step("sew", seconds=300.0), Step("wrap", after=("sew",))]}


def recent(minutes_ago: float, **changes) -> RecentLap:
    plain = {"started_at": NOW - int(minutes_ago * 60e6), "seconds": 100.0, "worker": "anna",
             "product": "pocket notebook", "operation": "sew", "variant": "linen", "batch": "007",
             "activity": "operation", "cause": "", "units": 1, "scrap_units": 0}  # fmt: skip
    return RecentLap(**plain | changes)


def one_product(laps=(), present=None, name="pocket notebook") -> dict:
    listed = choices.products(SHOP, STEPS, list(laps), present or {})
    return next(one for one in listed if one["product"] == name)


def test_a_product_comes_with_its_variants_batch_size_and_route():
    product = one_product()
    assert (product["variants"], product["batch_size"]) == (["linen", "marbled"], 50)
    assert [(step["operation"], step["after"]) for step in product["operations"]] == [
        ("sew", ()), ("wrap", ("sew",)),
    ]  # fmt: skip
    assert one_product(name="desk journal")["operations"] == []


def test_the_pace_is_the_present_time_else_the_planned_and_the_usual_is_that_of_recent_laps():
    laps = [recent(n, seconds=60.0 * units, units=units) for n, units in enumerate((1, 2, 5))]
    laps += [recent(100 + n, seconds=900.0) for n in range(100)]
    step = one_product(laps)["operations"][0]
    assert step["seconds"] == 300.0
    assert step["usual_seconds"] == 900.0  # the median of the last 50, not of a lap or two
    step = one_product(laps[:3], {("pocket notebook", "sew"): 61.234})["operations"][0]
    assert (step["seconds"], step["usual_seconds"]) == (61.23, 60.0)
    wrap = one_product(laps)["operations"][1]
    assert wrap["seconds"] is None and wrap["usual_seconds"] is None


def test_what_only_laps_know_is_offered_too():
    laps = [
        recent(1, operation="press flat", variant="left-open"), recent(2, operation="stamp"),
        recent(3, product="box"), recent(4, operation="walk", activity="transport"),
    ]  # fmt: skip
    product = one_product(laps)
    assert [s["operation"] for s in product["operations"]] == ["sew", "wrap", "stamp", "press flat"]
    assert product["variants"] == ["linen", "marbled", "left-open"]
    assert one_product(laps, name="box")["operations"][0]["operation"] == "sew"


def test_an_operation_that_checks_is_known_by_its_laps_and_before_them_by_its_name():
    steps = {"pocket notebook": [Step("inspect"), Step("look over"), Step("check edges")]}

    def hints(*laps):
        listed = choices.products(Shop(), steps, list(laps), {})
        return [step["activity_hint"] for step in listed[0]["operations"]]

    assert hints() == ["inspection", "operation", "inspection"]
    looked = recent(1, operation="look over", activity="inspection")
    trimmed = recent(2, operation="check edges")
    assert hints(looked, trimmed) == ["inspection", "inspection", "operation"]


def test_people_and_causes_come_the_nearest_first():
    laps = [recent(1, worker="cleo", cause="glue"), recent(2, cause="paper"),
            recent(3, cause="glue")]  # fmt: skip
    assert choices.workers(SHOP, laps) == ["anna", "ben", "cleo"]
    assert choices.workers(Shop(), []) == ["maker"]
    assert choices.causes(laps) == ["glue", "paper"]


def test_names_of_laps_long_ago_are_offered_though_those_laps_are_not_read():
    met = [Met("pocket notebook", "grey", "glue", "dora", "operation"),
           Met("pocket notebook", "", "walk", "anna", "transport"),
           Met("ledger", "", "fold", "dora", "operation")]  # fmt: skip
    listed = {one["product"]: one for one in choices.products(SHOP, STEPS, [], {}, met)}
    assert list(listed) == ["pocket notebook", "desk journal", "ledger"]
    notebook = listed["pocket notebook"]
    assert [step["operation"] for step in notebook["operations"]] == ["sew", "wrap", "glue"]
    assert notebook["variants"] == ["linen", "marbled", "grey"]
    cut = Met("pocket notebook", "", "zigzag cut", "anna", "operation", first_day=-9)
    tried = [recent(1, operation="band"), recent(2, operation="pack")]
    day = [Met("pocket notebook", "", one.operation, "anna", "operation", 5) for one in tried]
    listed = choices.products(SHOP, STEPS, tried, {}, [*day, cut])[0]["operations"]
    assert [step["operation"] for step in listed][2:] == ["zigzag cut", "pack", "band"]
    assert choices.workers(SHOP, [], met) == ["anna", "ben", "dora"]


def test_the_first_lap_after_four_months_shortens_no_list_and_leaves_the_usual_time(tmp_path):
    store = open_store(str(tmp_path / "workshop.sqlite"))
    old = [lap(started_at=NOW + n * 60_000_000, seconds=128.0, operation=operation, variant="grey",
               product=product, worker="dora", batch="001", cause="torn")
           for product, operation in (("box", "fold"), ("box", "trim"), ("case", "glue"))
           for n in range(60)]  # fmt: skip
    record_laps(store, old)
    lists = Lists(store)
    before = json.loads(lists.now())
    assert set(names(before)) == {("box", "fold"), ("box", "trim"), ("case", "glue")}
    today = NOW + 150 * DAY
    record_laps(store, [lap(started_at=today + n, seconds=3.3, operation="fold", product="box",
                            variant="red", worker="ben") for n in range(4)])  # fmt: skip
    after = json.loads(lists.now())
    assert names(after) == dict.fromkeys(names(before), 128.0)
    assert set(after["workers"]) == {"dora", "ben"}
    assert after["products"][0]["variants"] == ["red", "grey"]
    record_laps(store, [one | {"seconds": 200.0} for one in old[:60]], revision=1)
    assert names(json.loads(lists.now()))[("box", "fold")] == 200.0


def some_laps(rng, count: int, newest: int) -> list[dict]:
    """Laps of few names within 200 days, of which some pieces are lost or mended."""
    return [
        lap(started_at=newest - rng.randrange(200 * DAY), seconds=rng.uniform(20, 90),
            product=rng.choice(["box", "case"]), operation=rng.choice(["cut", "fold", "glue"]),
            variant=rng.choice(["red", "grey"]), worker=rng.choice(["anna", "dora"]),
            batch=f"{rng.randrange(9):03}", units=rng.randint(3, 9),
            scrap_units=rng.choice([0, 0, 1]), rework_units=rng.choice([0, 0, 2]),
            activity=rng.choice(["operation", "inspection", "rework", "setup"]),
            cause=rng.choice(["", "torn", "dull"]))
        for _ in range(count)
    ]  # fmt: skip


def lap_by_lap(store) -> dict:
    """The lists as they follow from every lap by itself."""
    with reading(store.engine) as connection:
        every = recent_laps(connection, 0)
        recent = [
            one for one in every if one.started_at >= _since(connection, now := at_clock_us())
        ]
    products = choices.products(store.shop(), {}, every, {}, _met(every))
    ends = choices.route_ends(products)
    found = {
        "workers": choices.workers(store.shop(), recent),
        "products": products,
        "causes": choices.causes(recent),
        "batches": choices.batches(recent, ends, {}, now),
    }
    return json.loads(json.dumps(found))


def at_clock_us() -> int:
    return time.time_ns() // 1000


def _met(laps: list[RecentLap]) -> list[Met]:
    return [Met(one.product, one.variant, one.operation, one.worker, one.activity,
                one.started_at // DAY) for one in laps]  # fmt: skip


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request, tmp_path):
    """An empty store in each database."""
    server = request.param == "postgresql"
    url = request.getfixturevalue("postgres_url") if server else str(tmp_path / "w.sqlite")
    store = open_store(url)
    yield store
    store.close()


def test_lists_kept_through_changes_say_what_every_lap_by_itself_says(store):
    rng, newest = random.Random(5), at_clock_us()
    record_laps(store, some_laps(rng, 400, newest))
    lists = Lists(store)

    def assert_nothing_is_old():
        shown, expected = json.loads(lists.now()), lap_by_lap(store)
        for step in (step for one in shown["products"] for step in one["operations"]):
            step |= {"seconds": None, "rushed_below_seconds": None}  # a study's, when it is there
        assert {name: shown[name] for name in expected} == expected

    assert_nothing_is_old()
    laps = store.laps()
    long_ago, lately = laps.lap_id.iloc[200], laps.lap_id.iloc[-1]
    for lap_id in (long_ago, lately):
        store.correct_lap(lap_id, {"batch": "099", "cause": "bent", "variant": "blue",
                                   "worker": "zoe", "operation": "cut"})  # fmt: skip
        assert_nothing_is_old()
    removal = store.remove_laps(laps.lap_id.iloc[190:230].tolist())
    assert_nothing_is_old()
    store.undo(removal)
    assert_nothing_is_old()
    record_laps(store, some_laps(rng, 50, newest))
    assert_nothing_is_old()
    store.rename("cause", "torn", "ripped")
    assert_nothing_is_old()


def record_laps(store, laps: list[dict], revision: int = 0) -> None:
    """Record laps as the server does when a phone sends them."""
    entries = tuple(
        PhoneLap(one["lap_id"], revision, False,
                 {name: one[name] for name in tables.CONTENT}, tuple(one["flags"]))
        for one in laps
    )  # fmt: skip
    with writing(store.engine) as connection:
        record(connection, [Delivery("phone-0001", NOW, NOW, entries)])


def names(lists: dict) -> dict[tuple[str, str], float]:
    return {(one["product"], step["operation"]): step["usual_seconds"]
            for one in lists["products"] for step in one["operations"]}  # fmt: skip


def open_batches(laps, told=(), fixed=None):
    told = {(one.product, one.batch): one for one in told}
    ends = {"pocket notebook": choices.last_operation([Step("wrap")])}
    return choices.batches(list(laps), ends, told, NOW, fixed)


def test_lost_pieces_and_those_still_to_mend_are_told_apart():
    marked = [recent(1, units=10, scrap_units=1, rework_units=3), recent(2, operation="punch")]
    [batch] = open_batches(marked)
    assert (batch["lost"], batch["to_mend"]) == ({"sew": 1}, {"sew": 3})
    [batch] = open_batches([recent(0.5, activity="rework", units=2), *marked])
    assert batch["to_mend"] == {"sew": 1}
    [batch] = open_batches(marked, fixed={("pocket notebook", "007", "sew"): 3})
    assert (batch["lost"], batch["to_mend"]) == ({"sew": 1}, {})


def test_a_piece_fixed_within_its_lap_is_not_left_to_mend(tmp_path):
    store = open_store(str(tmp_path / "workshop.sqlite"))
    at = time.time_ns() // 1000
    record_laps(store, [lap(started_at=at + 1, operation="wrap", batch="003")])
    record_laps(store, [lap(started_at=at, rework_units=1, flags=flags, batch="003")
                        for flags in (["fixed_here"], [], ["reload", "fixed_here"])])  # fmt: skip
    [batch] = json.loads(Lists(store).now())["batches"]
    assert list(batch["to_mend"].values()) == [1]


def test_a_piece_fixed_within_its_lap_stays_so_when_laps_move_to_another_store(tmp_path):
    store, fresh = (open_store(str(tmp_path / f"{name}.sqlite")) for name in ("old", "new"))
    at, file = time.time_ns() // 1000, io.BytesIO()
    record_laps(store, [lap(started_at=at + 9, operation="wrap", batch="003")])
    record_laps(store, [lap(started_at=at + place, rework_units=1, flags=flags, batch="003")
                        for place, flags in enumerate((["fixed_here", "trial:A"], ["mended"], []))
                        ])  # fmt: skip
    store.export_laps(file)
    fresh.import_laps(read_laps(file.getvalue(), fresh.shop()))
    for one in (store, fresh):
        [batch] = json.loads(Lists(one).now())["batches"]
        assert list(batch["to_mend"].values()) == [2]
    fixed = next(row.lap_id for row in fresh.laps().itertuples() if "fixed" in row.note)
    fresh.correct_lap(fixed, {"note": "thin glue"})  # a mark taken out of the note by hand
    [batch] = json.loads(Lists(fresh).now())["batches"]
    assert list(batch["to_mend"].values()) == [3]


def test_a_mark_survives_a_correction_on_the_dashboard(tmp_path):
    store = open_store(str(tmp_path / "workshop.sqlite"))
    at = time.time_ns() // 1000
    fixed = lap(started_at=at, units=2, rework_units=1, flags=["fixed_here"], batch="003")
    record_laps(store, [fixed, lap(started_at=at + 9, operation="wrap", batch="003")])
    store.correct_lap(fixed["lap_id"], {"seconds": "50"})
    [batch] = json.loads(Lists(store).now())["batches"]
    assert batch["to_mend"] == {}


def test_an_open_batch_shows_what_is_done_by_operation_and_variant():
    laps = [
        recent(1, units=10), recent(2, units=15, variant="marbled"),
        recent(3, operation="punch", units=20), recent(4, activity="rework", units=9),
    ]  # fmt: skip
    [batch] = open_batches(laps)
    assert batch["done"] == {"sew": 25, "punch": 20}
    assert batch["done_by_variant"]["sew"] == {"linen": 10, "marbled": 15}
    assert batch["quantities"] == {"linen": 20, "marbled": 15}


def test_a_mixed_stack_makes_no_batch_larger_than_it_is():
    cut_as_one = recent(9, operation="punch", units=25, variant="")
    assert open_batches([cut_as_one])[0]["quantities"] == {"": 25}
    sewn = [recent(2, units=13), recent(1, units=5, variant="marbled")]
    assert open_batches([*sewn, cut_as_one])[0]["quantities"] == {
        "linen": 13, "marbled": 5, "": 7}  # fmt: skip
    sewn = [recent(2, units=13), recent(1, units=12, variant="marbled")]
    assert open_batches([*sewn, cut_as_one])[0]["quantities"] == {"linen": 13, "marbled": 12}


def test_a_batch_is_finished_when_all_that_was_not_lost_is_through():
    begun = [recent(9, units=25), recent(8, operation="punch", units=25, scrap_units=2)]
    assert open_batches([recent(1, operation="wrap", units=22), *begun])
    assert not open_batches([recent(1, operation="wrap", units=23), *begun])


def test_what_only_laps_know_does_not_keep_a_finished_batch_open():
    laps = [recent(1, operation="wrap", units=25), recent(5, operation="press flat", units=3),
            recent(9, units=25), recent(30, product="box")]  # fmt: skip
    listed = choices.products(SHOP, STEPS, laps, {})
    assert listed[0]["operations"][-1]["operation"] == "press flat"
    ends = choices.route_ends(listed)
    assert (ends["pocket notebook"].of("linen"), ends["box"].of("")) == ("wrap", "sew")
    assert [one["product"] for one in choices.batches(laps, ends, {}, NOW)] == []


def ended(steps: list[Step], laps: list[RecentLap], told=()) -> bool:
    """Whether the only batch of these laps is finished."""
    listed = choices.products(Shop(), {"pocket notebook": steps}, laps, {})
    told = {(one.product, one.batch): one for one in told}
    return not choices.batches(laps, choices.route_ends(listed), told, NOW)


def test_a_route_whose_rows_stand_in_another_order_ends_where_its_work_ends():
    steps = [Step("wrap", after=("sew",)), Step("sew")]
    assert not ended(steps, [recent(5, units=25)])
    assert ended(steps, [recent(1, operation="wrap", units=25), recent(5, units=25)])


def test_a_batch_of_a_variant_that_ends_otherwise_closes_neither_late_nor_early():
    steps = [Step("sew"), Step("wrap"), Step("tie", "left-open", after=("wrap",))]
    wrapped = [recent(1, operation="wrap", units=25), recent(5, units=25)]
    assert ended(steps, wrapped)  # linen is never tied
    open_ones = [lap._replace(variant="left-open") for lap in wrapped]
    assert not ended(steps, open_ones)
    assert ended(steps, [recent(0, operation="tie", units=25, variant="left-open"), *open_ones])
    half = [recent(1, operation="wrap", units=20),
            recent(1, operation="wrap", units=5, variant="left-open")]  # fmt: skip
    assert not ended(steps, half)
    assert ended(steps, [recent(0, operation="tie", units=5, variant="left-open"), *half])


def test_a_mixed_stack_ends_as_the_variants_of_its_batch_do():
    steps = [Step("sew"), Step("wrap"), Step("tie", "left-open", after=("wrap",))]
    size = told(batch="007", quantities={"linen": 10, "marbled": 15})
    mixed = [recent(1, operation="wrap", units=25, variant="")]
    assert ended(steps, mixed, [size])
    size = told(batch="007", quantities={"linen": 10, "left-open": 15})
    assert not ended(steps, mixed, [size])


def test_what_finishes_a_piece_is_told_to_the_phone_by_variant():
    steps = [Step("wrap"), Step("tie", "left-open", after=("wrap",))]
    [listed] = choices.products(Shop(), {"pocket notebook": steps}, [recent(1)], {})
    assert listed["last_operations"] == {"": "tie", "left-open": "tie"}
    assert listed["last_operation"] == "wrap"  # of all others


def told(**changes) -> PhoneBatch:
    plain = {"id": "batch-0001", "at": NOW - 60_000_000, "product": "pocket notebook",
             "batch": "008", "quantities": {"linen": 25}, "is_open": True}  # fmt: skip
    return PhoneBatch(**plain | changes)


def test_a_batch_numbered_on_one_phone_is_offered_to_the_others():
    [batch] = open_batches([], [told()])
    assert (batch["batch"], batch["quantities"], batch["done"]) == ("008", {"linen": 25}, {})
    assert open_batches([recent(1, batch="008")], [told(is_open=False)]) == []


def test_a_batch_nobody_touched_for_a_month_is_no_longer_offered():
    assert open_batches([recent(29 * 24 * 60)])
    assert open_batches([recent(31 * 24 * 60)]) == []
    assert open_batches([], [told(at=NOW - 31 * DAY)]) == []


@pytest.mark.parametrize(("labels", "following"), [
    ([], "001"), (["001", "012", "009"], "013"), (["99"], "100"), (["0007", "spring"], "0008"),
    (["A-7", "", "³"], "001"),
])  # fmt: skip
def test_batches_number_themselves_on(labels, following):
    assert choices.next_batch(labels) == following


def test_a_batch_number_of_long_ago_is_not_given_again_though_its_laps_come_late(store):
    record_laps(store, [lap(started_at=at_clock_us(), batch="041")])
    lists = Lists(store)
    assert json.loads(lists.now())["next_batch"] == "042"
    last_year = lap(started_at=at_clock_us() - 300 * DAY, batch="060")
    record_laps(store, [last_year])
    assert json.loads(lists.now())["next_batch"] == "061"


def test_a_batch_that_came_first_and_was_written_last_is_in_the_next_lists(store):
    lists = Lists(store)
    for received, number in ((9, "041"), (5, "042")):
        entry = told(id=f"batch-{number}", batch=number, at=at_clock_us())
        with writing(store.engine) as connection:
            received_at = at_clock_us() + received - 10**8
            bench_batches.record(
                connection, [Delivery("phone-0001", received_at, received_at, (entry,))]
            )
        listed = json.loads(lists.now())["batches"]
        assert number in [batch["batch"] for batch in listed]


def test_the_lists_follow_the_store_and_speak_of_the_present_time_once_it_is_worked_out(tmp_path):
    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing
    from tests.bench.serving import ROOT

    store = open_store(str(tmp_path / "workshop.sqlite"))
    assert json.loads(Lists(store).now())["products"] == []
    store.save_routing(read_routing(ROOT / "data_samples" / "routing.csv"))
    store.import_laps(read_laps(ROOT / "data_samples" / "laps.csv", store.shop()))
    lists = Lists(store)
    assert _seconds(lists)["sew"] == 300.0
    for thread in threading.enumerate():
        if thread.name == THREAD:
            thread.join()
    from analysis.study.summary import study

    table = study(store.laps(), store.routing(), store.shop()).operations
    row = table[(table["product"] == "pocket notebook") & (table.operation == "sew")]
    assert _seconds(lists)["sew"] == round(float(row.normal_seconds.iloc[0]), 2)
    # Haste shows at sewing only: the cue warns there, below the present time, and nowhere else.
    rushed = _seconds(lists, "rushed_below_seconds")
    assert 0.7 * _seconds(lists)["sew"] < rushed["sew"] < _seconds(lists)["sew"]
    assert all(seconds is None for operation, seconds in rushed.items() if operation != "sew")


def _seconds(lists: Lists, of: str = "seconds") -> dict[str, float]:
    [product] = [one for one in json.loads(lists.now())["products"]
                 if one["product"] == "pocket notebook"]  # fmt: skip
    return {step["operation"]: step[of] for step in product["operations"]}


def test_a_lap_and_a_batch_sent_by_one_phone_are_in_the_next_phone_s_lists(server):
    server.post_laps(lap(operation="burnish", cause="worn tool"))
    entry = {"id": "batch-0009", "at": at_clock(), "product": "desk journal", "batch": "041",
             "quantities": {"linen": 25}, "open": True}  # fmt: skip
    body = json.loads(body_of()) | {"batches": [entry]}
    answer = server.ask("POST", "/bench/batches", json.dumps(body))
    assert answer.json["acknowledged"] == [{"id": "batch-0009"}]
    lists = server.ask("GET", "/bench/lists").json
    assert "worn tool" in lists["causes"] and lists["next_batch"] == "042"
    assert "041" in [batch["batch"] for batch in lists["batches"]]
    later = entry | {"open": False, "at": at_clock(seconds=1)}
    server.ask("POST", "/bench/batches", json.dumps(body | {"batches": [later]}))
    server.ask("POST", "/bench/batches", json.dumps(body))  # the first again, late
    lists = server.ask("GET", "/bench/lists").json
    assert "041" not in [batch["batch"] for batch in lists["batches"]]
