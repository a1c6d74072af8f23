"""A decision's charts: what they must carry to be read on paper, on a phone, or by ear."""

import contextvars
import json

import numpy as np
import pytest

from analysis.charts import look
from analysis.charts.decision import (
    EDGES,
    LETTERS_WIDE,
    MIDDLE,
    MOST_BARS,
    movers_chart,
    payback_chart,
)
from analysis.decisions.answer import GIVEN, Mover, Path
from analysis.records.figures import GERMAN, write_as

MEAN = 1000.0
MOVERS = (
    Mover("demand", "104 a week", "127 a week", -500.0, 2300.0, GIVEN),
    Mover("hourly cost", "15.3 an hour", "18.7 an hour", 1600.0, 400.0, GIVEN),
)


def path(weeks=104):
    week = np.arange(weeks + 1)
    middle = 25.0 * week - 500.0
    return Path(week, middle - 5.0 * week, middle, middle + 5.0 * week)


CHARTS = {
    "payback": (lambda: payback_chart(path(), "USD", 20.0),
                {"weeks from the start", "USD gained so far"}),
    "movers": (lambda: movers_chart(MOVERS, MEAN, "USD"),
               {"USD gained in all (thin line: as reckoned)"}),
}  # fmt: skip


@pytest.fixture(params=CHARTS)
def drawn(request):
    draw, axes = CHARTS[request.param]
    return draw().to_dict(), axes


def layers(spec):
    yield spec
    for layer in spec.get("layer", []):
        yield from layers(layer)


def encodings(spec):
    return [layer["encoding"] for layer in layers(spec) if "encoding" in layer]


def rows(spec):
    return [row for rows in spec["datasets"].values() for row in rows]


def test_axes_say_what_they_measure_and_in_which_unit(drawn):
    spec, axes = drawn
    titles = {e[axis].get("title") for e in encodings(spec) for axis in "xy" if axis in e}
    assert axes <= titles


def test_letters_are_large_enough_and_the_ink_is_the_pages(drawn):
    spec, _ = drawn
    assert min(spec["config"][part]["labelFontSize"] for part in ("axis", "legend")) >= 12
    assert spec["config"]["text"] == {"fontSize": look.LETTER_PIXELS, "color": "currentColor"}
    assert spec["width"] == "container"


def test_a_screen_reader_hears_the_figures(drawn):
    spec, _ = drawn
    assert sum(letter.isdigit() for letter in spec["description"]) >= 6


def test_the_middle_and_the_edges_are_told_apart_without_colour():
    spec = CHARTS["payback"][0]().to_dict()
    dash = next(e["strokeDash"]["scale"] for e in encodings(spec) if "strokeDash" in e)
    assert dict(zip(dash["domain"], map(tuple, dash["range"]), strict=True)) == {
        MIDDLE: (1, 0), EDGES: (5, 3)
    }  # fmt: skip


def test_the_week_it_is_earned_back_is_marked_and_said_and_only_then():
    whole, never = (
        json.dumps(payback_chart(path(), "USD", weeks).to_dict()) for weeks in (20.0, None)
    )
    assert "earned back: week 20" in whole and "earned back in week 20" in whole
    assert "earned back: week" not in never and "is not earned back" in never


def test_what_rounds_to_nothing_is_read_out_without_a_sign():
    week = np.arange(3)
    said = payback_chart(Path(week, week - 2.4, week - 2.4, week * 0.0), "USD").to_dict()
    assert "After 2 weeks 0 in the middle of the runs, 0 to 0 in nine of ten" in said["description"]


@pytest.mark.parametrize(("gain", "form"), [(2300.0, ",.0f"), (2.0, ",.1f"), (0.3, ",.2f")])
def test_the_steps_of_a_small_sum_are_told_apart_on_both_axes(gain, form):
    """Six times `0` beside an axis tell nothing."""
    week = np.arange(3)
    small = Path(week, week * 0.0, week * gain / 4, week * gain / 2)
    bars = movers_chart([Mover("price", "1", "2", -gain / 2, gain / 2, GIVEN)], 0.0, "EUR")
    for chart, axis in ((payback_chart(small, "EUR"), "y"), (bars, "x")):
        forms = {e[axis]["axis"].get("format") for e in encodings(chart.to_dict())
                 if e.get(axis, {}).get("axis")}  # fmt: skip
        assert forms == {form}


def test_a_long_horizon_keeps_its_first_and_last_week_and_stays_small():
    chart = payback_chart(path(weeks=1040), "USD")
    assert len(chart.to_json(indent=None)) < 100_000
    weeks = [row["week"] for row in rows(chart.to_dict()) if "week" in row]
    assert (min(weeks), max(weeks)) == (0, 1040)


def test_each_end_of_a_bar_bears_the_value_that_leads_there():
    drawn = {row["name"]: row for row in rows(CHARTS["movers"][0]().to_dict()) if "name" in row}
    demand, cost = drawn["demand"], drawn["hourly cost"]
    assert (demand["left"], demand["left_words"]) == (-500.0, "104 a week")
    assert (cost["left"], cost["left_words"]) == (400.0, "18.7 an hour"), "dearer is worse"


def test_the_answer_as_reckoned_stands_in_the_middle_so_that_words_have_room():
    spec = CHARTS["movers"][0]().to_dict()
    low, high = next(
        e["x"]["scale"]["domain"] for e in encodings(spec) if "scale" in e.get("x", {})
    )
    assert (low + high) / 2 == pytest.approx(MEAN)
    assert low <= -500.0 and high >= 2300.0


def test_nought_is_marked_where_it_is_within_the_chart_and_not_elsewhere():
    def uprights(mean):
        ends = [Mover("rent", "1", "2", mean - 10, mean + 10, GIVEN)]
        spec = movers_chart(ends, mean, "USD").to_dict()
        return [
            e["x"]["datum"] for layer in layers(spec) if layer.get("mark", {}) and
            isinstance(layer["mark"], dict) and layer["mark"]["type"] == "tick"
            for e in [layer["encoding"]]
        ]  # fmt: skip

    assert uprights(5.0) == [5.0, 0.0]
    assert uprights(500.0) == [500.0]


def test_two_assumptions_of_one_name_keep_a_bar_each_and_many_are_few():
    twins = movers_chart([MOVERS[0], MOVERS[0]], MEAN, "USD").to_dict()
    assert len({row["row"] for row in rows(twins)}) == 2
    many = movers_chart([MOVERS[0]] * 10, MEAN, "USD").to_dict()
    assert len({row["row"] for row in rows(many)}) == MOST_BARS


def test_a_name_longer_than_the_chart_is_cut_there():
    spec = CHARTS["movers"][0]().to_dict()
    limits = [
        layer["mark"]["limit"] for layer in layers(spec)
        if isinstance(layer.get("mark"), dict) and layer["mark"]["type"] == "text"
    ]  # fmt: skip
    assert limits == [LETTERS_WIDE, LETTERS_WIDE / 2, LETTERS_WIDE / 2]


def test_a_german_reader_reads_german_numbers_on_the_bars():
    def german():
        write_as(GERMAN)
        return rows(movers_chart(MOVERS, MEAN, "EUR").to_dict())

    drawn = contextvars.copy_context().run(german)
    assert {row["left_words"] for row in drawn if "left_words" in row} == {
        "104 a week", "18,7 an hour"
    }  # fmt: skip


def test_nothing_that_moves_the_answer_is_refused_rather_than_drawn_empty():
    with pytest.raises(ValueError, match="nothing to draw"):
        movers_chart([], MEAN, "USD")
