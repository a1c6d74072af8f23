"""The work card: the plan as one page of HTML to print and hang over the bench."""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import datetime

from analysis.flow.calendar import CardLine
from analysis.records.figures import clock, day

STYLE = """
body{font:16px/1.35 system-ui,sans-serif;color:#111;background:#fff;margin:24px auto;
max-width:820px;padding:0 12px}
h1{font-size:22px;margin:0 0 4px}p{margin:0 0 12px}
table{border-collapse:collapse;width:100%}
th,td{border-bottom:1px solid #888;padding:6px 8px;text-align:left;vertical-align:top}
th{border-bottom:2px solid #111}td.number{text-align:right}
tr.day td{font-weight:700;border-bottom:2px solid #111;padding-top:14px}
td.box{width:1.6em}td.box span{display:inline-block;width:1em;height:1em;border:1.5px solid #111}
tr{break-inside:avoid}
@media screen and (max-width:480px){body{font-size:13px}th,td{padding:6px 3px;
overflow-wrap:anywhere}}
@media print{body{margin:0;max-width:none}}
"""
HEADS = ("done", "time", "who", "what", "pieces", "then")
CAUTION = (
    "Times are a plan, no target. Take your pauses; mind blade, needle, press and solvent as on "
    "any day, and never leave a hot press alone. The rules of your place come first."
)


def card_page(title: str, start: datetime, lines: Sequence[CardLine]) -> bytes:
    """The card as a page of its own, with a box to tick for each line."""
    rows, last_day = [], None
    for line in lines:
        if line.day != last_day:
            last_day = line.day
            rows.append(f"<tr class='day'><td colspan='6'>{html.escape(last_day)}</td></tr>")
        cells = (line.time, line.worker, line.what, str(line.pieces or ""), line.then)
        filled = "".join(
            f"<td{' class=number' if place == 3 else ''}>{html.escape(cell)}</td>"
            for place, cell in enumerate(cells)
        )
        rows.append(f"<tr><td class='box'><span></span></td>{filled}</tr>")
    head = "".join(f"<th scope='col'>{name}</th>" for name in HEADS)
    page = (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width,initial-scale=1'>"
        f"<title>{html.escape(title)}</title><style>{STYLE}</style></head><body>"
        f"<h1>{html.escape(title)}</h1><p>Order of work from {start:%A}, {day(start)}, "
        f"{clock(start)}.</p><table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody>"
        f"</table><p>{CAUTION}</p></body></html>"
    )
    return page.encode()
