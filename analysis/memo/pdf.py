"""The page as PDF."""

from __future__ import annotations

from datetime import date

from analysis.decisions.answer import Answer


def memo_pdf(answer: Answer, shop_name: str, day: date, paper: str = "a4") -> bytes:
    """The page of one answer as PDF, on `paper`, "a4" or "letter"."""
    raise NotImplementedError
