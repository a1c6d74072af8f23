"""Every chart and table as a file: a chart's picture (PNG, SVG) and data (CSV), a table's CSV.

Below each stand plain links, answered by a route of the server. A chart's file is made when
somebody asks for it, from the specification that the page was sent. A button of Streamlit's own
would cost each rerun another element, and a file that it makes at the click was at times cancelled.
"""

import asyncio
import hashlib
import re
import threading
from collections import OrderedDict
from collections.abc import Iterator
from typing import Any, TypeAlias

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

WIDTH_PIXELS = 900  # as wide as a sheet of A4 at 110 dots an inch
MOST_FILES = 400
KINDS = {
    "png": ("picture (PNG)", "image/png"),
    "svg": ("drawing (SVG)", "image/svg+xml"),
    "csv": ("data (CSV)", "text/csv; charset=utf-8"),
}
GONE = "This file is no longer at hand. Load the page again and ask once more."

Content: TypeAlias = dict | bytes  # a chart's specification, or a table as CSV


class Shown:
    """The charts and tables shown last, by their marks, for all pages of a server."""

    def __init__(self) -> None:
        self._files: OrderedDict[str, tuple[str, Content]] = OrderedDict()
        self._lock = threading.Lock()  # pages are drawn in threads of their own

    def put(self, mark: str, name: str, content: Content) -> None:
        """Keep what is shown under its mark, with the name its file is to have (without the
        ending), and forget the oldest of too many."""
        with self._lock:
            self._files[mark] = (file_name(name), content)
            self._files.move_to_end(mark)
            while len(self._files) > MOST_FILES:
                self._files.popitem(last=False)

    def get(self, mark: str) -> tuple[str, Content] | None:
        """The file's name and what it is made from; None where unknown."""
        with self._lock:
            return self._files.get(mark)


SHOWN = Shown()


def mark(content: str | bytes) -> str:
    """A name that only the same content has."""
    return hashlib.sha256(content.encode() if isinstance(content, str) else content).hexdigest()


def chart_links(mark: str, name: str) -> str:
    """The links below a chart, as HTML; `name` says which chart to those who cannot see it."""
    anchors = (
        f"<a href='/shown/{mark}.{kind}' download aria-label='Save the chart of {name} as {said}'>"
        f"{said}</a>"
        for kind, (said, _) in KINDS.items()
    )
    return f"<div class='save-shown'>Save this chart: {' · '.join(anchors)}</div>"


def table_link(csv: bytes, name: str, label: str = "This table as a file (CSV)") -> str:
    """The link below a table, as HTML; `name` is its file's, without the ending."""
    own = mark(name.encode() + b"\n" + csv)  # tables alike have names of their own
    SHOWN.put(own, name, csv)
    return f"<div class='save-shown'><a href='/shown/{own}.csv' download>{label}</a></div>"


def route() -> Route:
    """`/shown/MARK.KIND`, beside the pages of the program and behind the same guard."""
    return Route("/shown/{mark:str}.{kind:str}", _answer, methods=["GET"])


async def _answer(request: Request) -> Response:
    kind, found = request.path_params["kind"], SHOWN.get(request.path_params["mark"])
    if found is None or kind not in (KINDS if isinstance(found[1], dict) else ("csv",)):
        return PlainTextResponse(GONE, 404)
    name, content = found
    body = await asyncio.to_thread(made, content, kind)  # a picture takes some tenths
    headers = {
        "Content-Disposition": f'attachment; filename="{name}.{kind}"',
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'",
    }
    return Response(body, media_type=KINDS[kind][1], headers=headers)


def made(content: Content, kind: str) -> bytes:
    """The file of a chart, `kind` being png, svg or csv, or of a table, which is its CSV."""
    if isinstance(content, bytes):
        return content
    if kind == "csv":
        return _data(content)
    import vl_convert  # slow to load, and only a saved picture needs it

    on_paper = for_paper(content)
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
