"""`memo`, as its user calls it: arguments in, a file and an exit status out."""

import io
import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.command import run
from tests.screens.driving import NEEDED_ONLY

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "data_samples"
ARGUMENTS = (
    "--laps", SAMPLES / "laps.csv", "--routing", SAMPLES / "routing.csv",
    "--shop", SAMPLES / "shop.toml", SAMPLES / "what_if_machine.toml", "--runs", 2,
)  # fmt: skip


# With a name and an offset each, of which the program need say nothing.
_header, *_rows = NEEDED_ONLY.replace(":00:00,", ":00:00Z,").splitlines(keepends=True)
WHOLE_LAPS = f"lap_id,{_header}" + "".join(f"lap {at},{row}" for at, row in enumerate(_rows))
BOXES = {
    "laps.csv": WHOLE_LAPS,
    "routing.csv": "product,operation,after,seconds\ncard box,cut,,300\ncard box,glue,cut,300\n"
    "card box,fold,glue,300\n",
    "shop.toml": '[shop]\nname = "Box maker"\n[workers.maker]\ncost_per_hour = 20\n'
    "hours_per_week = 20\n"
    '[products."card box"]\ndemand_per_week = 120\nbatch_size = 10\nprice = 15\n',
    "guillotine.toml": '[scenario]\nname = "A guillotine"\nhorizon_weeks = 8\n'
    '[equipment]\noperation = "cut"\ntime_factor = 0.5\nprice = 300\n',
}


@pytest.fixture(scope="module")
def boxes(tmp_path_factory):
    """The arguments of a workshop that is soon simulated."""
    folder = tmp_path_factory.mktemp("boxes")
    for name, text in BOXES.items():
        (folder / name).write_text(text)
    laps, routing, shop, scenario = (folder / name for name in BOXES)
    return "--laps", laps, "--routing", routing, "--shop", shop, scenario, "--runs", 2


def memo(*more, arguments=ARGUMENTS, status=0):
    return run("memo", *arguments, *more, status=status)


def test_a_pdf_is_written_and_the_answer_said(tmp_path):
    target = tmp_path / "frame.pdf"
    done = memo("-o", target, "--paper", "letter", "--json")
    told = json.loads(done.stdout)
    page = PdfReader(io.BytesIO(target.read_bytes())).pages[0]
    assert told["file"] == str(target) and told["bytes"] == target.stat().st_size
    assert round(page.mediabox.width) == 612
    assert "A motor-driven sewing frame" in page.extract_text()


def test_html_is_written_and_the_table_says_where(tmp_path, boxes):
    target = tmp_path / "frame.HTML"
    assert f"The page is in {target}." in memo("-o", target, arguments=boxes).stdout
    text = target.read_text()
    assert text.startswith("<!doctype html>") and "size: A4" in text and "Box maker" in text


@pytest.mark.parametrize(
    "more, said",
    [
        (("-o", "page.docx"), "ends neither in .html nor in .pdf"),
        (("-o", "nowhere/page.pdf"), "there is no folder 'nowhere'"),
        (("-o", "page.pdf", "--paper", "a3"), "--paper"),
        ((), "-o"),
    ],
)
def test_a_page_that_cannot_be_is_told_before_anything_is_simulated(more, said):
    done = memo(*more, status=2)
    assert said in done.stderr and done.stdout == ""


def test_bad_input_leaves_the_page_there_was_as_it_was(tmp_path, boxes):
    target, scenario = tmp_path / "page.html", tmp_path / "scenario.toml"
    target.write_text("the page of last week")
    scenario.write_text('[equipment]\noperation = "fly"\n')
    arguments = [*boxes[:-3], scenario]
    done = memo("-o", target, arguments=arguments, status=2)
    assert done.stderr.startswith(f"{scenario}:2: equipment.operation: names no operation")
    assert target.read_text() == "the page of last week"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "scenario.toml"]


def test_a_page_that_cannot_be_written_is_told_in_a_line(tmp_path, boxes):
    (tmp_path / "page.pdf").mkdir()
    done = memo("-o", tmp_path / "page.pdf", arguments=boxes, status=2)
    assert len(done.stderr.splitlines()) == 1
    assert "cannot be written" in done.stderr
