"""Every chart can be saved as a picture, a drawing and its data, and every table as a file."""

import asyncio
import io
import re
import struct
from xml.etree import ElementTree

import pandas as pd
import pytest

from analysis.screens import shown_files, what_if_jobs
from analysis.screens.frame import SCREENS

LINK = r"href='(/shown/[0-9a-f]+\.(?:png|svg|csv))'"
WITHOUT_TABLE = {"laps", "shop"}  # what they list is taken out as laps, routing and shop files
WITHOUT_CHART = {"laps", "shop"}  # lists and forms


class Answer:
    """What the server's own route answers to a path, asked as the server would."""

    def __init__(self, path: str):
        sent = []
        scope = {"type": "http", "method": "GET", "path": path, "headers": [], "query_string": b""}

        async def send(message):
            sent.append(message)

        async def receive():
            return {"type": "http.request", "body": b"", "more_body": False}

        asyncio.run(shown_files.route()(scope, receive, send))
        self.status = sent[0]["status"]
        self.headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
        self.body = b"".join(part.get("body", b"") for part in sent[1:])


@pytest.mark.parametrize("screen", [module for _, module, *_ in SCREENS])
def test_every_chart_and_table_on_every_screen_is_saved_as_files(show, screen):
    page = show(screen)
    _wait_for_answers(page)
    charts = page.get("arrow_vega_lite_chart") or page.get("vega_lite_chart")
    of_charts = [three for three in _links(page) if len(three) == 3]
    assert (charts == []) == (screen in WITHOUT_CHART)
    assert len(of_charts) == len(charts)
    for three in of_charts:
        _is_saved_as_picture_drawing_and_data(*three)
    of_tables = [found[0] for found in _links(page) if len(found) == 1]
    assert (of_tables == []) == (screen in WITHOUT_TABLE)
    for path in of_tables:
        _is_saved_as_a_file(path)


def _is_saved_as_picture_drawing_and_data(png: str, svg: str, csv: str) -> None:
    assert _picture_width(Answer(png)) >= 900
    drawing = ElementTree.fromstring(_body(Answer(svg)))
    assert drawing.tag.endswith("svg")
    assert any(text.text for text in drawing.iter() if text.tag.endswith("text"))
    rows = pd.read_csv(io.BytesIO(_body(Answer(csv))), encoding="utf-8-sig")
    assert len(rows) > 0
    assert rows.select_dtypes("number").shape[1] > 0


def _is_saved_as_a_file(path: str) -> None:
    answer = Answer(path)
    rows = pd.read_csv(io.BytesIO(_body(answer)), encoding="utf-8-sig")
    assert len(rows) > 0
    assert answer.headers["content-type"].startswith("text/csv")
    assert re.search(r'attachment; filename="\w+\.csv"', answer.headers["content-disposition"])
    assert Answer(path.replace(".csv", ".png")).status == 404  # a table has no picture


def _links(page) -> list[list[str]]:
    """The files offered by each part of a page that offers any."""
    found = (re.findall(LINK, part.proto.body) for part in page.get("html"))
    return [links for links in found if links]


def _wait_for_answers(page) -> None:
    """Run the screen once more when what it works out beside the page is there (What if)."""
    for job in what_if_jobs.jobs().all():
        job.stop()
        assert job.over.wait(120)
        page.run()


def test_a_chart_of_a_server_started_anew_is_told_to_be_loaded_again():
    answer = Answer("/shown/0123.png")
    assert answer.status == 404
    assert "Load the page again" in answer.body.decode()


def test_the_data_of_a_saved_chart_runs_no_formula_and_keeps_each_layer():
    layers = [{"data": {"values": [{"name": "=1+1", "at": 1.5}]}, "mark": "bar"},
              {"data": {"values": [{"at": 2.5}]}, "mark": "rule"}]  # fmt: skip
    text = shown_files.made({"layer": layers}, "csv").decode("utf-8-sig")
    assert text.splitlines() == ["layer,name,at", "1,'=1+1,1.5", "2,,2.5"]


def test_a_saved_picture_has_dark_ink_on_white_whatever_the_page_has():
    paper = shown_files.for_paper({"width": "container", "config": {"axis": {"c": "currentColor"}}})
    assert paper["width"] == shown_files.WIDTH_PIXELS
    assert paper["background"] == "white"
    assert paper["config"]["axis"]["c"].startswith("#2")


def _body(answer: Answer) -> bytes:
    assert answer.status == 200, answer.body
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    return answer.body


def _picture_width(answer: Answer) -> int:
    body = _body(answer)
    assert body[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">I", body[16:20])[0]
