"""`memo`, as its user calls it: arguments in, a file and an exit status out."""

import io
import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.command import run

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "data_samples"
ARGUMENTS = (
    "--laps", SAMPLES / "laps.csv", "--routing", SAMPLES / "routing.csv",
    "--shop", SAMPLES / "shop.toml", SAMPLES / "what_if_machine.toml", "--runs", 5,
)  # fmt: skip


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


def test_html_is_written_and_the_table_says_where(tmp_path):
    target = tmp_path / "frame.HTML"
    assert f"The page is in {target}." in memo("-o", target).stdout
    text = target.read_text()
    assert text.startswith("<!doctype html>") and "size: A4" in text and "Garage bindery" in text


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


def test_bad_input_leaves_the_page_there_was_as_it_was(tmp_path):
    target, scenario = tmp_path / "page.html", tmp_path / "scenario.toml"
    target.write_text("the page of last week")
    scenario.write_text('[equipment]\noperation = "fly"\n')
    arguments = [*ARGUMENTS[:-3], scenario]
    done = memo("-o", target, arguments=arguments, status=2)
    assert done.stderr.startswith(f"{scenario}:2: equipment.operation: names no operation")
    assert target.read_text() == "the page of last week"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["page.html", "scenario.toml"]


def test_a_page_that_cannot_be_written_is_told_in_a_line(tmp_path):
    (tmp_path / "page.pdf").mkdir()
    done = memo("-o", tmp_path / "page.pdf", status=2)
    assert len(done.stderr.splitlines()) == 1
    assert "cannot be written" in done.stderr
