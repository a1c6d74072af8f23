"""Every chart as a file: a picture (PNG, SVG) and its data (CSV), made when somebody asks for it.

Below each chart stand three plain links. They cost a rerun one message that was made once; the
file is made by a route of the server, from the specification that the page was sent.
"""

import asyncio
import re
import threading
from collections import OrderedDict
from collections.abc import Iterator
from typing import Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

WIDTH_PIXELS = 900  # as wide as a sheet of A4 at 110 dots an inch
MOST_CHARTS = 400
KINDS = {
    "png": ("picture (PNG)", "image/png"),
    "svg": ("drawing (SVG)", "image/svg+xml"),
    "csv": ("data (CSV)", "text/csv; charset=utf-8"),
}
GONE = "This chart is no longer at hand. Load the page again and ask once more."


class Shown:
    """The specifications of the charts shown last, by their marks, for all pages of a server."""

    def __init__(self) -> None:
        self._charts: OrderedDict[str, tuple[str, dict]] = OrderedDict()
        self._lock = threading.Lock()  # pages are drawn in threads of their own

    def put(self, mark: str, name: str, specification: dict) -> None:
        """Keep a chart under its mark, with its file's name, and forget the oldest of too many."""
        with self._lock:
            self._charts[mark] = (name, specification)
            self._charts.move_to_end(mark)
            while len(self._charts) > MOST_CHARTS:
                self._charts.popitem(last=False)

    def get(self, mark: str) -> tuple[str, dict] | None:
        """The file's name, without its ending, and the specification; None where unknown."""
        with self._lock:
            return self._charts.get(mark)


SHOWN = Shown()


def links(mark: str, name: str) -> str:
    """The links below a chart, as HTML; `name` says which chart to those who cannot see it."""
    anchors = (
        f"<a href='/chart/{mark}.{kind}' download aria-label='Save the chart of {name} as {said}'>"
        f"{said}</a>"
        for kind, (said, _) in KINDS.items()
    )
    return f"<div class='save-chart'>Save this chart: {' · '.join(anchors)}</div>"


def route() -> Route:
    """`/chart/MARK.KIND`, beside the pages of the program and behind the same guard."""
    return Route("/chart/{mark:str}.{kind:str}", _answer, methods=["GET"])


async def _answer(request: Request) -> Response:
    kind, found = request.path_params["kind"], SHOWN.get(request.path_params["mark"])
    if found is None or kind not in KINDS:
        return PlainTextResponse(GONE, 404)
    name, specification = found
    body = await asyncio.to_thread(made, specification, kind)  # a picture takes some tenths
    headers = {
        "Content-Disposition": f'attachment; filename="{name}.{kind}"',
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'",
    }
    return Response(body, media_type=KINDS[kind][1], headers=headers)


def made(specification: dict, kind: str) -> bytes:
    """The file of a chart: `kind` is png, svg or csv."""
    if kind == "csv":
        return _data(specification)
    import vl_convert  # slow to load, and only a saved picture needs it

    on_paper = for_paper(specification)
    if kind == "svg":
        return vl_convert.vegalite_to_svg(on_paper).encode()
    return vl_convert.vegalite_to_png(on_paper, scale=2)


def for_paper(specification: dict) -> dict:
    """The chart as it stands on a sheet: of a width of its own, dark ink on white."""
    paper = _in_ink(specification)
    paper["background"] = "white"
    if paper.get("width") == "container":
        paper["width"] = WIDTH_PIXELS
    return paper


def _in_ink(part: Any) -> Any:
    """The page's own ink, which a picture by itself does not know, as a colour."""
    if isinstance(part, list):
        return [_in_ink(item) for item in part]
    if isinstance(part, dict):
        return {key: item if key == "values" else _in_ink(item) for key, item in part.items()}
    return "#22252a" if part == "currentColor" else part


def _data(specification: dict) -> bytes:
    """The rows behind the chart's marks; where its layers have tables of their own, these follow
    each other, and the first column counts them."""
    import pandas as pd

    from analysis.screens import written

    tables = []
    for rows in _tables(specification):
        if rows not in tables:
            tables.append(rows)
    frames = [pd.DataFrame(rows) for rows in tables]
    if len(frames) > 1:
        for number, frame in enumerate(frames, 1):
            frame.insert(0, "layer", number)
    return written.as_csv(pd.concat(frames, ignore_index=True))


def _tables(part: Any) -> Iterator[list[dict]]:
    """Every list of rows in a specification, in the order of its layers."""
    if isinstance(part, list):
        for item in part:
            yield from _tables(item)
    elif isinstance(part, dict):
        values = part.get("data", {}).get("values") if isinstance(part.get("data"), dict) else None
        if isinstance(values, list) and values and isinstance(values[0], dict):
            yield values
        for key, item in part.items():
            if key != "data":
                yield from _tables(item)


def file_name(name: str) -> str:
    """A name that every system takes: `fault weeks` is `fault_weeks`."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "chart"
