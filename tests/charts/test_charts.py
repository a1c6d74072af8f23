"""What each chart must carry to be read on a phone, without colour, or by a screen reader."""

import contextvars
import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.charts import look
from analysis.charts.batch import ACTIVITIES, batch_minutes_chart
from analysis.charts.cost import PARTS, cost_chart
from analysis.charts.pace import load_chart
from analysis.charts.practice import practice_chart, thinned
from analysis.charts.putting_right import (
    MOST_BARS,
    REST,
    care_chart,
    more_time_chart,
    pareto_chart,
    share_chart,
    spoilage_chart,
)
from analysis.charts.stock import stock_chart
from analysis.charts.weekly import weekly_output_chart
from analysis.records.figures import GERMAN, write_as
from tests.charts import frames

MOST_BYTES = 100_000
CHARTS = {
    "batch": lambda: batch_minutes_chart(frames.MINUTES, "good piece", frames.totals()),
    "cost": lambda: cost_chart(frames.PIECES, "USD"),
    "practice": lambda: practice_chart(**frames.practice(), operation="sew"),
    "load": lambda: load_chart(frames.LOAD),
    "weekly": lambda: weekly_output_chart(frames.WEEKS, frames.LIMITS),
    "stock": lambda: stock_chart(frames.STOCK),
    "pareto": lambda: pareto_chart(frames.FAULTS, "USD a week"),
    "spoilage": lambda: spoilage_chart(frames.PACES, frames.PACE_LINE),
    "care": lambda: care_chart(frames.CARE, "glue", "trim"),
    "more time": lambda: more_time_chart(frames.COSTS, {40.0: "now", 45.0: "+5 s"}, "USD a piece"),
    "shares": lambda: share_chart(frames.SHARES),
}
AXES = {
    "batch": {"minutes per good piece"},
    "cost": {"USD per good piece"},
    "practice": {"pieces made so far", "seconds per piece"},
    "load": {"percent of the week's hours"},
    "weekly": {"week beginning", "good pieces a week"},
    "stock": {"days the stock lasts"},
    "pareto": {"USD a week", "line: added up, share of all"},
    "spoilage": {"percent of the time expected", "pieces at fault"},
    "care": {"percent of the time expected at glue", "pieces at fault at trim"},
    "more time": {"seconds a piece", "USD a piece"},
    "shares": {"week beginning", "pieces at fault"},
}


@pytest.fixture(params=CHARTS)
def drawn(request):
    """(name, specification) of each chart."""
    return request.param, CHARTS[request.param]().to_dict()


def encodings(spec: dict):
    """Every encoding of a specification, its layers' included."""
    if "encoding" in spec:
        yield spec["encoding"]
    for layer in spec.get("layer", []):
        yield from encodings(layer)


def tooltips(spec: dict) -> list[dict]:
    found = [encoding.get("tooltip", []) for encoding in encodings(spec)]
    return [t for tips in found for t in (tips if isinstance(tips, list) else [tips])]


def rows(spec: dict) -> list[dict]:
    return [row for rows in spec["datasets"].values() for row in rows]


def test_axes_say_what_they_measure_and_in_which_unit(drawn):
    name, spec = drawn
    titles = {
        encoding[axis].get("title")
        for encoding in encodings(spec)
        for axis in ("x", "y")
        if "title" in encoding.get(axis, {})
    }
    assert AXES[name] <= titles
    assert titles - AXES[name] <= {None}, "an axis carries a field's name instead of words"


def test_letters_are_large_enough_for_a_phone(drawn):
    _, spec = drawn
    config = spec["config"]
    sizes = [config["axis"]["labelFontSize"], config["axis"]["titleFontSize"]]
    sizes += [config["legend"]["labelFontSize"], config["text"]["fontSize"]]
    assert min(sizes) >= 12


def test_a_chart_fits_the_width_it_is_given(drawn):
    _, spec = drawn
    assert spec["width"] == "container"


def test_a_screen_reader_hears_figures_not_only_a_picture(drawn):
    _, spec = drawn
    assert len(spec["description"]) > 40
    assert any(character.isdigit() for character in spec["description"])


def test_what_is_read_out_keeps_the_letters_of_names_and_currencies():
    said = care_chart(frames.CARE, "glue", "Foil-Stamp").to_dict()["description"]
    assert said.startswith("Pieces at fault at Foil-Stamp: ")
    said = more_time_chart(frames.COSTS, {1.5: "now"}, "USD a piece").to_dict()["description"]
    assert said.startswith("USD a piece against seconds") and said.endswith("now 1.5 seconds.")


def test_shares_are_read_out_as_the_reader_writes_numbers():
    def german():
        write_as(GERMAN)
        return share_chart(frames.SHARES).to_dict()["description"]

    said = contextvars.copy_context().run(german)
    assert "from 1,0 % to 8,0 %" in said and "Usual is 2,0 %" in said
    assert not re.search(r"\d\.\d", said)


def test_one_week_is_read_out_as_one():
    one = frames.WEEKS.head(1)
    assert " over 1 week, " in weekly_output_chart(one).to_dict()["description"]
    assert " over 1 week, " in share_chart(frames.SHARES.head(1)).to_dict()["description"]
    said = weekly_output_chart(frames.WEEKS, frames.LIMITS).to_dict()["description"]
    assert said.endswith("Ordinary: 20 to 62; outside of it: 2 weeks.")


def test_what_takes_seconds_is_not_read_out_as_nothing():
    punched = pd.DataFrame({"operation": ["punch"], "activity": "operation", "minutes": [0.04]})
    said = batch_minutes_chart(punched, "piece", frames.totals(punched)).to_dict()["description"]
    assert "punch 0.04 minutes" in said
    cheap = frames.FAULTS.assign(amount=[0.041, 0.02, 0.001])
    assert "torn section 0.041 (" in pareto_chart(cheap, "USD").to_dict()["description"]


@pytest.mark.parametrize("share", [0.3, 0.72, 0.9, 1.3, 2.3, 40.0])
def test_the_words_beside_a_load_are_neither_cut_nor_struck_through_on_a_phone(share):
    """`230 %, does not fit`, cut after `does`, tells the maker the contrary. 200 pixels are the
    bars' on a phone, and a letter takes six."""
    load = frames.LOAD.assign(share=[share, 0.4, 0.9], low=np.nan, high=np.nan)
    spec = load_chart(load).to_dict()
    end = next(e["x"]["scale"]["domain"][1] for e in encodings(spec) if "scale" in e.get("x", {}))
    for row in (row for row in rows(spec) if "label_at" in row):
        begins = row["label_at"] / end * 200
        ends = begins + 6 + 6 * len(row["said"])
        assert ends <= 200.5, row["said"]
        assert not begins <= 100 / end * 200 < ends, row["said"]


@pytest.mark.parametrize("share", [0.9, 1.4, 3.0, 30.0, 4000.0])
def test_the_percents_named_below_the_load_can_be_read_however_long_the_bars(share):
    """Ten thousand a week asked for in place of ten is a slip a new shop makes."""
    load = pd.DataFrame({"kind": ["person"], "name": ["maker"], "share": [share]})
    x = next(e["x"] for e in encodings(load_chart(load).to_dict()) if "axis" in e.get("x", {}))
    assert 3 <= len(x["axis"]["values"]) <= 10


def test_a_tap_on_a_mark_tells_its_figure_with_words(drawn):
    _, spec = drawn
    told = tooltips(spec)
    assert told
    assert all(tip.get("title") or tip["field"] in ("said", "line") for tip in told)


def test_text_takes_the_ink_of_the_page_so_that_dark_and_light_both_read(drawn):
    _, spec = drawn
    assert spec["config"]["axis"]["labelColor"] == "currentColor"
    assert spec["config"]["text"]["color"] == "currentColor"


def test_colours_stay_apart_for_colour_blind_eyes():
    """Under full red, green and blue blindness every pair of workers' colours keeps a distance.

    Simulation matrices for linear RGB: Viénot, Brettel & Mollon, Color Research & Application 24
    (1999), for protanopia and deuteranopia; the same construction for tritanopia is rougher and
    left out. Distance is Euclidean in CIE Lab; 10 is several times what the eye just tells apart.
    """
    for matrix in (PROTANOPIA, DEUTERANOPIA):
        seen = [lab(matrix @ linear(colour)) for colour in look.SERIES_COLOURS[:4]]
        for i, one in enumerate(seen):
            for other in seen[i + 1 :]:
                assert np.linalg.norm(one - other) > 10


PROTANOPIA = np.array([[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]])
DEUTERANOPIA = np.array([[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]])


def linear(colour: str) -> np.ndarray:
    values = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of linear sRGB, white point D65 (IEC 61966-2-1)."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    x, y, z = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.9505, 1, 1.089])
    fx, fy, fz = (np.cbrt(v) if v > 216 / 24389 else (841 / 108) * v + 4 / 29 for v in (x, y, z))
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


def test_workers_are_told_apart_without_colour():
    spec = CHARTS["practice"]().to_dict()
    by = {
        channel: encoding[channel]["scale"]["range"]
        for encoding in encodings(spec)
        for channel in ("color", "shape", "strokeDash")
        if encoding.get(channel, {}).get("field") == "worker"
    }
    assert set(by) == {"color", "shape", "strokeDash"}
    for styles in by.values():
        assert len({json.dumps(style) for style in styles}) == len(styles) == 2


def test_activities_are_told_apart_without_colour():
    spec = CHARTS["batch"]().to_dict()
    shapes = [e["shape"] for e in encodings(spec) if "shape" in e]
    assert len(shapes) == 1
    assert len(set(shapes[0]["scale"]["range"])) == len(shapes[0]["scale"]["domain"]) == 6
    strewn = {row["said"] for row in rows(spec) if set(row) == {"operation", "said", "x"}}
    assert {"putting right", "checking", "setting up", "interrupted"} <= strewn
    assert ACTIVITIES["operation"].words not in strewn


def test_stretches_of_a_bar_join_and_add_up_to_the_operations_minutes():
    drawn = [row for row in rows(CHARTS["batch"]().to_dict()) if "start" in row]
    bars = pd.DataFrame(drawn).groupby("operation", sort=False)
    assert set(bars.groups) == {"sew", "trim", "inspect"}
    wanted = frames.MINUTES.groupby("operation")["minutes"].sum()
    for name, bar in bars:
        assert bar["start"].iloc[0] == 0
        np.testing.assert_allclose(bar["start"].iloc[1:], bar["end"].iloc[:-1])
        assert bar["end"].iloc[-1] == pytest.approx(wanted[name])


def test_parts_of_a_cost_are_told_apart_without_colour_and_join_to_the_whole():
    spec = CHARTS["cost"]().to_dict()
    shapes = [e["shape"] for e in encodings(spec) if "shape" in e]
    assert len(set(shapes[0]["scale"]["range"])) == len(shapes[0]["scale"]["domain"]) == len(PARTS)
    drawn = pd.DataFrame([row for row in rows(spec) if "start" in row])
    ends = drawn.groupby("piece")["end"].max()
    known = frames.PIECES.dropna(subset=["cost_per_good_piece"]).set_index("piece")
    np.testing.assert_allclose(ends[known.index], known["cost_per_good_piece"])


def test_a_price_is_written_at_its_mark_and_left_out_where_none_is_given():
    said = [row["said"] for row in rows(CHARTS["cost"]().to_dict()) if "price" in row]
    assert said == ["12.00", "28.00"]


def test_operations_stand_in_the_order_given_not_by_letter():
    spec = CHARTS["batch"]().to_dict()
    sorts = {tuple(e["y"]["sort"]) for e in encodings(spec)}
    assert sorts == {("sew", "trim", "inspect")}


def test_a_bar_over_the_full_week_says_so_in_words():
    said = {row["name"]: row["said"] for row in rows(CHARTS["load"]().to_dict()) if "fit" in row}
    assert said == {
        "maker": "90 %, may not fit",
        "helper": "130 %, does not fit",
        "press": "40 %, fits",
    }


def test_weeks_outside_their_limits_are_named_low_or_high():
    spec = CHARTS["weekly"]().to_dict()
    said = [row["said"] for row in rows(spec) if row.get("said") in ("low", "high")]
    assert said == ["high", "low"]
    lines = {row["line"] for row in rows(spec) if "line" in row}
    assert lines == {"usual: 41", "ordinary: 20 to 62"}


def test_a_few_weeks_are_drawn_without_limits():
    spec = weekly_output_chart(frames.WEEKS.head(3)).to_dict()
    assert not [row for row in rows(spec) if "line" in row]


def test_an_hourly_output_names_its_unit_and_leaves_gaps_for_weeks_off():
    spec = weekly_output_chart(frames.WEEKS, measure="good_units_per_bench_hour").to_dict()
    titles = {e["y"].get("title") for e in encodings(spec) if "title" in e.get("y", {})}
    assert titles == {"good pieces an hour"}
    assert [row["value"] for row in rows(spec) if "value" in row][2] is None


def test_stock_is_read_out_shortest_first_as_the_table_below_has_it():
    spec = CHARTS["stock"]().to_dict()
    said = list(dict.fromkeys(row["said"] for row in rows(spec) if "said" in row))
    assert said == ["3 days, soon gone", "20 days", "250 days, off the chart"]


def test_the_shelf_is_told_from_what_is_on_its_way_by_name():
    """Both kinds of bar stand in the legend; without anything on its way the shelf alone."""

    def named(spec):
        dashes = [layer["encoding"].get("strokeDash") for layer in spec["layer"]]
        return {tuple(dash["scale"]["domain"]) for dash in dashes if dash}

    assert named(CHARTS["stock"]().to_dict()) == {("on the shelf",)}
    spec = stock_chart(frames.STOCK.assign(on_its_way_days=[4.0, 0.0, 0.0])).to_dict()
    assert named(spec) == {("on the shelf", "on the bench or packed")}
    assert "20 days; 24 in all" in json.dumps(spec)


def test_breaks_and_the_plateau_are_written_on_the_curve():
    said = {row["said"] for row in rows(CHARTS["practice"]().to_dict()) if "said" in row}
    assert said == {
        "maker: levels out at 41 seconds",
        "maker 2 weeks",
        "maker 11 days",
    }


@pytest.mark.parametrize(
    ("at", "share_a_line"),
    [((100.0, 105.0), False), ((100.0, 300.0), False), ((10.0, 395.0), True)],
)
def test_the_words_of_breaks_do_not_run_into_each_other(at, share_a_line):
    frame = frames.practice(workers=("maker",))
    frame["breaks"] = pd.DataFrame({"worker": "maker", "pieces_made": at, "days_away": 20.0})
    spec = practice_chart(**frame).to_dict()
    tops = {row["pieces_made"]: row["top"] for row in rows(spec) if "top" in row}
    assert (tops[at[0]] == tops[at[1]]) is share_a_line


def test_slow_work_is_drawn_in_minutes():
    frame = frames.practice()
    for table in ("points", "curve", "plateaus"):
        times = frame[table].columns.intersection(["seconds", "low", "high"])
        frame[table][times] *= 10
    spec = practice_chart(**frame).to_dict()
    titles = {e["y"].get("title") for e in encodings(spec) if "title" in e.get("y", {})}
    assert titles == {"minutes per piece"}
    assert max(row.get("seconds", 0) for row in rows(spec)) < 30


def test_no_more_points_than_the_eye_needs_travel_to_the_browser():
    frame = frames.practice(laps=100_000, workers=("maker",))
    fewer = thinned(frame["points"])
    assert len(fewer) <= 60
    assert fewer["laps"].sum() == frame["points"]["laps"].sum()
    weighted = (fewer["seconds"] * fewer["laps"]).sum() / fewer["laps"].sum()
    assert weighted == pytest.approx(frame["points"]["seconds"].mean())


def test_charts_of_a_large_shop_stay_small():
    operations = [f"operation {i}" for i in range(40)]
    minutes = pd.DataFrame(
        [(o, a, 1.0 + i % 5) for i, o in enumerate(operations) for a in ACTIVITIES],
        columns=["operation", "activity", "minutes"],
    )
    curve = frames.practice(laps=60, workers=tuple(f"worker {i}" for i in range(6)))
    weeks = pd.DataFrame(
        {
            "week_start": pd.date_range("2016-01-04", periods=520, freq="7D"),
            "good_units": np.arange(520) % 90,
        }
    )
    for chart in (
        batch_minutes_chart(minutes, "batch", frames.totals(minutes)),
        practice_chart(**curve),
        weekly_output_chart(weeks, frames.LIMITS),
    ):
        assert len(chart.to_json(indent=None)) < MOST_BYTES


def test_what_a_screen_keeps_of_a_chart_carries_its_data_and_words_unchanged(drawn):
    name, spec = drawn
    kept = look.specification(CHARTS[name]())
    assert "datasets" not in kept
    assert kept["description"] == spec["description"]
    inline = [data["values"] for data in data_of(kept)]
    named = [spec["datasets"][data["name"]] for data in data_of(spec)]
    assert sum(map(len, inline)) > 0
    for ours, theirs in zip(inline, named, strict=True):
        pd.testing.assert_frame_equal(
            pd.DataFrame(ours), pd.DataFrame(theirs), rtol=1e-5, check_dtype=False
        )


def data_of(spec: dict):
    """The data of a specification and of its layers, in order; layers that share data have one."""
    if "data" in spec:
        yield spec["data"]
    for layer in spec.get("layer", []):
        yield from data_of(layer)


def test_nothing_to_draw_is_refused_rather_than_drawn_empty():
    with pytest.raises(ValueError, match="nothing to draw"):
        batch_minutes_chart(frames.MINUTES.head(0), "batch", frames.totals())
    with pytest.raises(ValueError, match="nothing to draw"):
        stock_chart(frames.STOCK.head(0))


def test_charts_know_no_screen():
    folder = Path(look.__file__).parent
    assert not [f.name for f in folder.glob("*.py") if "streamlit" in f.read_text()]


@pytest.mark.parametrize("highest", [0.04, 3.95, 4.0, 41.0, 998.0])
def test_no_week_lies_above_the_top_line_of_the_chart(highest):
    weeks = frames.WEEKS.head(1).assign(good_units=highest)
    spec = weekly_output_chart(weeks).to_dict()
    y = next(encoding["y"] for encoding in encodings(spec) if "scale" in encoding.get("y", {}))
    assert y["scale"]["domain"][1] == y["axis"]["values"][-1] > highest


def test_what_is_on_the_bench_or_packed_is_a_second_part_of_the_bar():
    spec = stock_chart(frames.STOCK.assign(on_its_way_days=[0.0, 30.0, 0.0])).to_dict()
    drawn = {row["name"]: row for row in rows(spec) if "in_all" in row}
    assert drawn["journal, marbled"]["in_all"] == 33
    assert drawn["journal, marbled"]["said"] == "3 days, soon gone; 33 in all"
    assert drawn["journal, linen"]["said"] == "20 days"  # nothing is on its way
    assert list(drawn)[0] == "journal, linen", "what is short in all stands on top"
    assert "on the bench or packed" in json.dumps(spec)


def test_the_days_named_on_the_shelf_chart_end_with_its_bars():
    spec = stock_chart(frames.STOCK.head(2).assign(lasts_days_high=np.nan)).to_dict()
    x = next(encoding["x"] for encoding in encodings(spec) if "scale" in encoding.get("x", {}))
    assert x["axis"]["values"][-1] <= 20
    assert x["scale"]["domain"][1] < 1.6 * 20


def test_many_causes_keep_the_dearest_and_add_up_the_rest():
    many = pd.DataFrame({"name": [f"cause {n}" for n in range(30)], "amount": range(30, 0, -1)})
    many = many.assign(low=np.nan, high=np.nan)
    many["cumulative"] = many["amount"].cumsum() / many["amount"].sum()
    drawn = rows(pareto_chart(many, "USD a week").to_dict())
    amounts = {row["name"]: row["amount"] for row in drawn}
    assert len(amounts) == MOST_BARS
    assert sum(amounts.values()) == many["amount"].sum()
    assert amounts[REST] == sum(range(1, 22))


def test_a_week_that_is_news_says_so_in_a_word_and_a_shape():
    spec = share_chart(frames.SHARES).to_dict()
    shapes = [e["shape"]["scale"] for e in encodings(spec) if "scale" in e.get("shape", {})]
    assert shapes[0]["range"] == ["circle", "triangle-up", "triangle-down"]
    texts = [e["text"]["field"] for e in encodings(spec) if "text" in e]
    assert texts == ["news"]


def test_the_two_readings_of_pace_differ_in_shape_as_well_as_in_colour():
    spec = spoilage_chart(frames.PACES, frames.PACE_LINE).to_dict()
    shapes = [e["shape"]["scale"]["range"] for e in encodings(spec) if "shape" in e]
    assert shapes == [["circle", "square"]]
    alone = spoilage_chart(frames.PACES, frames.PACE_LINE.head(0)).to_dict()
    assert not any("area" in str(layer["mark"]) for layer in alone["layer"])


@pytest.mark.parametrize("draw", [
    lambda: pareto_chart(frames.FAULTS.head(0), "USD"),
    lambda: spoilage_chart(frames.PACES.head(0), frames.PACE_LINE),
    lambda: care_chart(frames.CARE.head(0), "glue", "trim"),
    lambda: more_time_chart(frames.COSTS.head(0), {}, "USD"),
    lambda: share_chart(frames.SHARES.assign(share=np.nan)),
])  # fmt: skip
def test_no_faults_to_draw_is_refused(draw):
    with pytest.raises(ValueError, match="nothing to draw"):
        draw()
