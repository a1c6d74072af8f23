"""A chart as a drawing of lines and letters (SVG), which prints sharp at any size."""

from __future__ import annotations

import json
from dataclasses import dataclass

WIDE = 330  # pixels of the plot; two stand side by side on the page
FONT = "Libertinus Serif, Georgia, Times New Roman, serif"
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
    inked["background"] = None
    inked["config"] = {**inked.get("config", {}), "font": FONT}
    svg = vl_convert.vegalite_to_svg(inked, allowed_base_urls=[])
    return Picture(title, caption, svg, specification["description"])
