"""Small random routings, as rows of text, for what must hold of any order of work."""

import csv
import io

from hypothesis import strategies as st

from analysis.records.routing import COLUMNS, read_routing

NAMES = ("cut", "glue", "sew", "press", "trim")


def frame(rows):
    """The checked routing frame of rows of text."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS[1:], restval="")
    writer.writeheader()
    writer.writerows(rows)
    return read_routing(text.getvalue().encode(), "routing.csv")


@st.composite
def routings(draw, most=4):
    """Rows of one product: some of every kind of wait, station, skill, load, press and rack."""
    rows = []
    for place in range(draw(st.integers(1, most))):
        earlier = draw(st.lists(st.sampled_from(NAMES[:place]), unique=True)) if place else []
        after = [name + draw(st.sampled_from(["", "", ":0", ":7.5"])) for name in sorted(earlier)]
        row = {
            "product": "book", "operation": NAMES[place], "after": "|".join(after),
            "seconds": str(draw(st.sampled_from([0, 1, 2.5, 4, 9]))),
            "setup_seconds": str(draw(st.sampled_from([0, 0, 3, 8]))),
            "setup_wait_seconds": str(draw(st.sampled_from([0, 0, 5]))),
            "wait_seconds": str(draw(st.sampled_from([0, 0, 6, 20]))),
            "station": draw(st.sampled_from(["", "", "bench", "frame"])),
            "skill": draw(st.sampled_from(["", "", "", "maker"])),
            "pieces_at_once": str(draw(st.sampled_from([1, 1, 1, 2, 3]))),
        }  # fmt: skip
        if row["station"] and draw(st.booleans()):
            row["wait_holds_station"] = "true"
            row["rack_places"] = draw(st.sampled_from(["", "4"]))
        elif draw(st.integers(0, 3)) == 0:
            row["rack"], row["rack_places"] = "shelf", "3"
        rows.append(row)
    return rows
