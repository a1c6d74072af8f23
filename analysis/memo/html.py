"""The page as HTML that needs nothing beside itself."""

from __future__ import annotations

from datetime import date

from analysis.decisions.answer import Answer


def memo_html(answer: Answer, shop_name: str, day: date, paper: str = "a4") -> str:
    """The page of one answer as HTML, its pictures inside; prints on `paper`, "a4" or "letter"."""
    raise NotImplementedError
