"""Routes: the variant's own row counts, names may hold colons, and the usual order can be saved."""

from io import BytesIO

import pytest

from analysis.records.routing import read_routing, write_routing
from analysis.study.route import passed_operations, routes, topological, usual_routing
from analysis.study.summary import study
from tests.study.building import laps_frame


def routing(*lines):
    return read_routing("\n".join(lines).encode(), "routing.csv")


def test_a_variant_with_a_row_of_its_own_follows_that_row():
    table = routing("product,operation,variant,after,seconds", "n,sew,,,100", "n,sew,lux,,300")
    found = routes(laps_frame([]), table, "UTC")
    planned = found.set_index("variant")["planned_seconds"]
    assert planned["lux"] == 300


def test_an_operation_whose_name_holds_a_colon_keeps_its_place():
    table = routing(
        "product,operation,after,seconds", "n,pack,glue: second,10", "n,glue: second,cut,20",
        "n,cut,,5",
    )  # fmt: skip
    found = routes(laps_frame([]), table, "UTC")
    assert list(found["operation"]) == ["cut", "glue: second", "pack"]


def test_pieces_are_counted_at_the_true_last_operation():
    table = routing("product,operation,after,seconds", "n,pack,glue: 2,10", "n,glue: 2,,20")
    laps = laps_frame(
        [{"product": "n", "operation": name, "units": units, "seconds": 60}
         for name, units in (("glue: 2", 10), ("pack", 8))]
    )  # fmt: skip
    assert study(laps, table).weeks["good_units"].sum() == 8


@pytest.fixture
def two_variants():
    """Marbled paper is made between cutting and sewing; plain pieces do without."""
    made = {"plain": ["cut", "sew", "wrap"], "marbled": ["cut", "marble", "sew", "wrap"]}
    rows = []
    for batch in range(3):
        for variant, steps in made.items():
            for step in steps:
                rows += [{
                    "product": "n", "variant": variant, "operation": step, "seconds": 50.0 + batch,
                    "batch": f"{variant}{batch}",
                }] * 4  # fmt: skip
    return laps_frame(rows)


def test_the_usual_order_is_a_routing_that_can_be_saved_as_it_stands(two_variants):
    answer = study(two_variants)
    written = BytesIO()
    blank = routing("product,operation,seconds", "n,cut,1").iloc[:0]
    rows = usual_routing(answer.route, answer.operations)
    full = blank.reindex(range(len(rows))).assign(
        station="", skill="", rack="", wait_holds_station=False, pieces_at_once=1,
        setup_seconds=0.0, wait_seconds=0.0, setup_wait_seconds=0.0, **rows,
    )  # fmt: skip
    write_routing(full, written)
    saved = read_routing(written.getvalue(), "routing.csv")
    assert (saved["seconds"] == 51).all()
    again = routes(two_variants, saved, "UTC")
    order = again.groupby("variant")["operation"].agg(list)
    assert order["plain"] == ["cut", "sew", "wrap"]
    assert order["marbled"] == ["cut", "marble", "sew", "wrap"]


BOX = (
    "product,operation,after,seconds", "box,cut,,1", "box,paint,cut,1", "box,fold,,1",
    "box,glue,paint|fold,1",
)  # fmt: skip


def test_a_piece_has_been_through_what_the_routing_puts_before_it_and_no_more():
    found = passed_operations(routes(laps_frame([]), routing(*BOX), "UTC"))
    assert found["box", "", "paint"] == {"cut"}
    assert found["box", "", "fold"] == set()
    assert found["box", "", "glue"] == {"cut", "paint", "fold"}


def test_what_no_routing_has_comes_after_all_that_is_usually_done_before_it():
    steps = ("cut", "paint", "press", "fold", "glue")
    laps = laps_frame([{"product": "box", "operation": name, "seconds": 30} for name in steps])
    found = passed_operations(routes(laps, routing(*BOX), "UTC"))
    assert found["box", "", "press"] == {"cut", "paint"}
    assert found["box", "", "glue"] == {"cut", "paint", "fold"}
    unplanned = passed_operations(routes(laps, None, "UTC"))
    assert unplanned["box", "", "glue"] == {"cut", "paint", "press", "fold"}


def test_laps_that_name_no_variant_follow_the_rows_of_all_variants():
    table = routing(
        "product,operation,variant,after,seconds", "n,cut,,,1", "n,marble,lux,cut,1",
        "n,sew,,cut,1", "n,sew,lux,marble,1",
    )  # fmt: skip
    laps = laps_frame([
        {"product": "n", "variant": variant, "operation": "sew", "seconds": 30}
        for variant in ("", "lux")
    ])  # fmt: skip
    found = passed_operations(routes(laps, table, "UTC"))
    assert found["n", "lux", "sew"] == {"cut", "marble"}
    assert found["n", "", "sew"] == {"cut"}


def test_what_is_free_keeps_the_order_it_was_given_in():
    assert topological(["c", "b", "a"], [("a", "b", 0.0)]) == ["c", "a", "b"]


def test_a_batch_just_begun_does_not_turn_the_usual_order_round():
    rows = [{"product": "card", "operation": name, "seconds": 30.0}
            for name in ("fold", "trim", "glue") for _ in range(5)]  # fmt: skip
    begun = [{"product": "card", "operation": "fold", "seconds": 30.0, "batch": "001"}] * 4
    answer = study(laps_frame(rows + begun))
    assert list(answer.route["operation"]) == ["fold", "trim", "glue"]
    assert not answer.batches["finished"].any()


def test_pieces_lost_on_the_way_are_not_on_the_bench_any_more():
    card = {"product": "card", "seconds": 60, "batch": "1", "units": 10}
    rows = [card | {"operation": "fold"}, card | {"operation": "glue", "scrap_units": 3},
            card | {"operation": "pack", "units": 2}]  # fmt: skip
    answer = study(laps_frame(rows))
    batch = answer.batches.iloc[0]
    assert (batch["units_started"], batch["lost_units"], batch["good_units"]) == (10, 3, 2)
    assert answer.stock["in_progress"].iloc[0] == 5


def test_an_inspection_under_the_last_operations_own_name_is_said_to_count_pieces_again():
    """By the contract its laps finish pieces too; nobody shall believe 20 boxes were made of 10."""
    laps = laps_frame([
        {"operation": "cut", "seconds": 60, "units": 10, "batch": "1"},
        {"operation": "wrap", "seconds": 60, "units": 10, "batch": "1"},
        {"operation": "wrap", "seconds": 30, "units": 4, "batch": "1", "activity": "inspection"},
        {"operation": "cut", "seconds": 60, "units": 5, "batch": "2"},
        {"operation": "wrap", "seconds": 60, "units": 5, "batch": "2"},
    ])  # fmt: skip
    found = study(laps)
    assert found.weeks["good_units"].sum() == 19
    assert found.counted_twice["units"].tolist() == [4]


def test_inspecting_as_the_last_operation_or_wrapping_what_was_inspected_elsewhere_is_no_doubt():
    rows = [
        {"operation": "cut", "seconds": 60, "units": 10},
        {"operation": "wrap", "seconds": 60, "units": 10},
        {"operation": "check", "seconds": 60, "units": 10, "activity": "inspection"},
    ]
    assert study(laps_frame(rows)).counted_twice.empty
    mixed = [*rows[:2], {**rows[2], "operation": "wrap", "units": 3}]
    mixed[1] = {**rows[1], "units": 7}
    assert study(laps_frame(mixed)).counted_twice.empty


def box(operation, units, variant="", batch="7"):
    return {"operation": operation, "units": units, "variant": variant, "batch": batch,
            "seconds": 60.0}  # fmt: skip


PLAN = routing(
    "product,operation,after,seconds", "box,cut,,60", "box,sew,cut,60", "box,wrap,sew,60"
)


@pytest.mark.parametrize("table", [None, pytest.param(PLAN, marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    "rows",
    [
        [box("cut", 10), box("sew", 10), box("wrap", 10, "red")],
        [box("cut", 10), box("sew", 10), box("wrap", 6, "red"), box("wrap", 4, "blue")],
        [box("cut", 10), box("sew", 10, batch="8"), box("wrap", 10, "red", "9")],
        [box("cut", 6, "red"), box("cut", 4, "blue"), box("sew", 10), box("wrap", 10)],
        [box("cut", 10), box("sew", 10, "red"), box("wrap", 10, "red")],
    ],
    ids=["early", "early, two", "other batches", "late", "forgotten once"],
)
def test_a_variant_named_in_some_laps_only_does_not_count_pieces_twice_or_never(rows, table):
    found = study(laps_frame(rows), table)
    assert found.weeks["good_units"].sum() == 10
    content = found.content.groupby("operation")["share"].sum()
    assert content.to_dict() == pytest.approx({"cut": 1, "sew": 1, "wrap": 1})


def test_a_batch_of_one_variant_is_that_variants_also_where_a_lap_forgot_to_say_so():
    rows = [box("cut", 10), box("wrap", 10, "red"), {**box("", 1), "activity": "delay"}]
    found = study(laps_frame(rows))
    batch = found.batches.iloc[0]
    assert len(found.batches) == 1
    assert (batch["variant"], batch["units_started"], batch["finished"]) == ("red", 10, True)
    assert batch["worked_hours"] == pytest.approx(180 / 3600)
    both = study(laps_frame([*rows, box("wrap", 10, "blue")]))
    assert sorted(both.batches["variant"]) == ["", "blue", "red"]


def test_what_names_no_variant_and_does_all_its_work_is_a_way_of_its_own():
    """Plain boxes beside gift boxes, which have a ribbon last."""
    rows = [box(step, 5) for step in ("cut", "wrap")]
    rows += [box(step, 5, "gift", "8") for step in ("cut", "wrap", "tie")]
    found = study(laps_frame(rows))
    assert found.weeks["good_units"].sum() == 10
    assert found.route.groupby("variant")["operation"].agg(list).to_dict() == {
        "": ["cut", "wrap"], "gift": ["cut", "wrap", "tie"],
    }  # fmt: skip
