"""The page as HTML that needs nothing beside itself: no script, no address, pictures inside.

The template writes every text escaped; the pictures alone are markup, and they come from our own
charts, whose texts the drawing program escapes. A Content-Security-Policy forbids all else.
"""

from __future__ import annotations

import dataclasses
import re
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.decisions.answer import Answer
from analysis.memo.page import page_of, refuse_other_papers

if TYPE_CHECKING:
    import jinja2

_NAMESPACES = re.compile(r' xmlns(:\w+)?="[^"]*"')  # HTML knows SVG without them
_SIZE = re.compile(r' width="[\d.]+" height="[\d.]+"', re.ASCII)


def memo_html(answer: Answer, shop_name: str, day: date, paper: str = "a4") -> str:
    """The page of one answer as HTML, its pictures inside; prints on `paper`, "a4" or "letter".

    day: the date printed on it. Raises ValueError for any other paper.
    """
    refuse_other_papers(paper)
    page = page_of(answer, shop_name, day)
    pictures = [{**dataclasses.asdict(one), "svg": _inline(one.svg)} for one in page.pictures]
    return _template().render(
        page=page, pictures=pictures, paper=paper, shop_in_css=css_text(shop_name)
    )


@cache
def _template() -> jinja2.Template:
    import jinja2  # an altair of ours needs it anyway; loaded where a page is printed

    source = (Path(__file__).parent / "page.html").read_text(encoding="utf-8")
    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    return environment.from_string(source)


def _inline(svg: str) -> str:
    """A drawing to stand inside HTML, as wide as its place."""
    return _SIZE.sub("", _NAMESPACES.sub("", svg, count=2), count=1)


def css_text(text: str) -> str:
    r"""A text as a CSS string: every character but letters and digits of ASCII as `\00003c `."""
    written = "".join(
        letter if letter.isascii() and letter.isalnum() else f"\\{ord(letter):06x} "
        for letter in text
    )
    return f'"{written}"'
