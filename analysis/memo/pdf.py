"""The page as PDF, set by Typst: no browser, no network.

Texts reach the template as data (JSON) and are set as text; none is ever read as Typst's markup.
"""

from __future__ import annotations

import dataclasses
import json
import re
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.decisions.answer import Answer
from analysis.memo.page import Page, page_of, refuse_other_papers

if TYPE_CHECKING:
    import typst  # 40 MB: only who prints a page waits for it

TEMPLATE = Path(__file__).parent / "page.typ"
MOST_PAGES = 2
LONG_WORD, PART = 30, 15  # letters: a longer word may be broken after every so many
BREAK_HERE = "\N{ZERO WIDTH SPACE}"
LETTER_POINTS = (10.0, 9.5, 9.0, 8.5, 8.0)  # the largest at which all fits on MOST_PAGES


def memo_pdf(answer: Answer, shop_name: str, day: date, paper: str = "a4") -> bytes:
    """The page of one answer as PDF, on `paper`, "a4" or "letter".

    day: the date printed on it. Names so long that even the smallest letters do not fit on two
    pages take a third; nothing is cut. Raises ValueError for any other paper.
    """
    refuse_other_papers(paper)
    compiler = fitted(page_of(answer, shop_name, day), paper)
    made = datetime(day.year, day.month, day.day, tzinfo=UTC)
    pdf = compiler.compile(format="pdf", timestamp=made)
    assert isinstance(pdf, bytes)  # pages come apart in pictures only
    return pdf


def fitted(page: Page, paper: str) -> typst.Compiler:
    """Typst's compiler, loaded with the page in letters that fit it on MOST_PAGES."""
    import typst

    content = json.dumps(dataclasses.asdict(page, dict_factory=_breakable))
    for points in LETTER_POINTS:
        given = {"memo": content, "paper": paper, "points": str(points)}
        compiler = typst.Compiler(TEMPLATE, root=TEMPLATE.parent, sys_inputs=given)
        if json.loads(compiler.query("<pages>", field="value", one=True)) <= MOST_PAGES:
            break
    return compiler


def _breakable(fields: list[tuple[str, object]]) -> dict:
    """The fields of a page, a place to break in every word too long for a line; drawings as is."""
    return {name: value if name == "svg" else _with_breaks(value) for name, value in fields}


def _with_breaks(value: object) -> object:
    if isinstance(value, str):
        return re.sub(rf"\S{{{LONG_WORD},}}", _broken, value)
    return [_with_breaks(part) for part in value] if isinstance(value, list | tuple) else value


def _broken(word: re.Match) -> str:
    return re.sub(rf"(\S{{{PART}}})(?=\S)", rf"\1{BREAK_HERE}", word.group())
