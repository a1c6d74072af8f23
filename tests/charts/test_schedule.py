"""The charts of Order of work: what they must carry to be read on a phone and without colour."""

import json
from datetime import datetime
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from analysis.charts import look
from analysis.charts.batch_size import batch_size_chart
from analysis.charts.line_balance import work_load_chart
from analysis.charts.schedule import SETUP, WAIT, schedule_chart
from tests.charts.test_charts import AXES, encodings, rows, tooltips

START = datetime(2026, 3, 23, 15, 0, tzinfo=ZoneInfo("Europe/Vienna"))
HOUR = 3600.0
OPEN = [(0.0, 2 * HOUR), (17 * HOUR, 21 * HOUR), (22 * HOUR, 26 * HOUR)]  # 15-17, 8-12, 13-17
TIMELINE = pd.DataFrame(
    [
        (0, "book", "", "glue", "setup", "maker", 0.0, 600.0, 0),
        (0, "book", "", "glue", "operation", "maker", 600.0, HOUR, 10),
        (0, "book", "", "glue", "wait", "", HOUR, 6 * HOUR, 10),
        (0, "book", "", "trim", "operation", "helper", 17 * HOUR, 18 * HOUR, 10),
    ],
    columns=["batch", "product", "variant", "operation", "activity", "worker", "start_seconds",
             "end_seconds", "units"],
)  # fmt: skip
SIZES = pd.DataFrame(
    {
        "units": [1, 10, 25, 50, 100],
        "money": [17.0, 11.0, 10.5, 10.4, 10.41],
        "fits": [True, True, True, True, False],
        "in_flat_region": [False, False, True, True, True],
    }
)
LINE = pd.DataFrame(
    {
        "worker": ["helper", "helper", "maker"],
        "operation": ["fold", "punch", "sew"],
        "seconds": [150.0, 30.0, 240.0],
    }
)
CHARTS = {
    "schedule": lambda: schedule_chart(TIMELINE, START, OPEN),
    "sizes": lambda: batch_size_chart(SIZES, "money", "EUR per good piece"),
    "line": lambda: work_load_chart(LINE, 240.0),
}
TITLES = {
    "schedule": {"time on the clock"},
    "sizes": {"pieces in a batch", "EUR per good piece"},
    "line": {"minutes per piece"},
}
assert not set(TITLES) & set(AXES)


@pytest.fixture(params=CHARTS)
def drawn(request):
    """(name, specification) of each chart."""
    return request.param, CHARTS[request.param]().to_dict()


def test_axes_say_what_they_measure(drawn):
    name, spec = drawn
    titles = {e[axis].get("title") for e in encodings(spec) for axis in ("x", "y")
              if "title" in e.get(axis, {})}  # fmt: skip
    assert TITLES[name] <= titles
    assert titles - TITLES[name] <= {None}


def test_letters_words_and_taps_are_there_for_everybody(drawn):
    _, spec = drawn
    assert spec["config"]["axis"]["labelFontSize"] >= 12
    assert spec["width"] == "container"
    assert any(character.isdigit() for character in spec["description"])
    told = tooltips(spec)
    assert told and all(tip.get("title") for tip in told)


def test_work_setting_up_and_waiting_are_told_apart_by_symbol_as_well_as_by_shade():
    spec = CHARTS["schedule"]().to_dict()
    layer = next(e for e in encodings(spec) if "shape" in e)
    kinds, shapes = (layer["shape"]["scale"][key] for key in ("domain", "range"))
    colours = layer["fill"]["scale"]["range"]
    assert kinds == ["maker at work", "helper at work", SETUP.words, WAIT.words]
    assert len(set(shapes)) == len(set(colours)) == 4
    marked = {row["said"] for row in rows(spec) if "x" in row}
    assert {"helper at work", SETUP.words, WAIT.words} <= marked


def places(spec):
    return {(row["row"], row["said"]): row for row in rows(spec) if "begins" in row}


def test_the_night_is_drawn_narrow_and_work_to_scale():
    found = places(CHARTS["schedule"]().to_dict())
    glue, trim = found["glue", "maker at work"], found["trim", "helper at work"]
    assert glue["end"] - glue["start"] == pytest.approx(50)
    assert trim["end"] - trim["start"] == pytest.approx(60)
    assert 60 < trim["start"] - glue["end"] < 75  # an hour, and fifteen hours of night
    assert (trim["begins"], trim["ends"]) == ("Tue 08:00", "Tue 09:00")
    wait = found["glue", WAIT.words]
    assert glue["end"] <= wait["start"] < wait["end"] < trim["start"]


def test_the_clock_names_each_day_at_its_opening():
    spec = CHARTS["schedule"]().to_dict()
    axis = next(e["x"]["axis"] for e in encodings(spec) if e.get("x", {}).get("axis"))
    assert "'0':['15:00', 'Mon 23']" in axis["labelExpr"]
    assert "['08:00', 'Tue 24']" in axis["labelExpr"]


def test_without_hours_the_clock_runs_on():
    found = places(schedule_chart(TIMELINE, START, []).to_dict())
    assert found["trim", "helper at work"]["start"] == pytest.approx(17 * 60)


def test_several_batches_carry_letters():
    both = pd.concat([TIMELINE, TIMELINE.assign(batch=1)], ignore_index=True)
    spec = schedule_chart(both, START, OPEN).to_dict()
    names = {row["row"] for row in rows(spec) if "row" in row}
    assert {"glue A", "glue B", "trim A", "trim B"} <= names


def test_a_long_session_stays_small_enough_for_a_phone():
    long = pd.concat([TIMELINE.assign(operation=f"step {k}") for k in range(100)])
    spec = look.specification(schedule_chart(long, START, OPEN))
    assert len(json.dumps(spec)) < 200_000


def test_the_flat_region_of_batch_sizes_is_shaded_and_said():
    spec = CHARTS["sizes"]().to_dict()
    assert {"low": 25, "high": 100} in rows(spec)
    assert "from 25 to 100" in spec["description"]
    shapes = next(e["shape"]["scale"] for e in encodings(spec) if "shape" in e)
    assert shapes["range"] == ["circle", "square"]


def test_a_line_says_who_does_what_and_how_often_a_piece_comes():
    spec = CHARTS["line"]().to_dict()
    assert "helper 3.0 minutes: fold, punch" in spec["description"]
    assert "a piece every 4.0" in spec["description"]


@pytest.mark.parametrize("draw", [
    lambda: schedule_chart(TIMELINE.iloc[:0], START, OPEN),
    lambda: batch_size_chart(SIZES.iloc[:0], "money", "EUR"),
    lambda: work_load_chart(LINE.iloc[:0], 1.0),
])  # fmt: skip
def test_nothing_to_draw_is_refused(draw):
    with pytest.raises(ValueError, match="nothing to draw"):
        draw()
