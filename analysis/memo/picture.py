"""A chart as a drawing of lines and letters (SVG), which prints sharp at any size."""

from __future__ import annotations

import json
from dataclasses import dataclass

from analysis.records.figures import manner

WIDE = 370  # pixels with the axis; two stand side by side on the page
MEASURED_AS = 'font-family="sans-serif"'  # a font the drawing program brings along and measures by
FONT = 'font-family="Libertinus Serif, Arial, Helvetica, sans-serif"'  # Typst has the first
INK = "#000000"


@dataclass(frozen=True)
class Picture:
    """A drawing, what it shows, how to read it, and what a screen reader says instead."""

    title: str
    caption: str
    svg: str
    said: str


def picture(specification: dict, title: str, caption: str) -> Picture:
    """The drawing of a Vega-Lite specification (`charts.look.specification`), in black ink."""
    import vl_convert  # brings a JavaScript engine along: only who prints a page waits for it

    inked = json.loads(json.dumps(specification).replace('"currentColor"', f'"{INK}"'))
    inked["width"] = WIDE
    inked["autosize"] = {"type": "fit-x", "contains": "padding"}
    inked["background"] = None
    svg = vl_convert.vegalite_to_svg(
        inked, allowed_base_urls=[], format_locale=(manner().vega or {}).get("number")
    )
    return Picture(title, caption, svg.replace(MEASURED_AS, FONT), specification["description"])
