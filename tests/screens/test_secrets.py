"""What a page sends to the browser holds nothing that is the server's alone."""

import pytest

from analysis.screens.frame import SCREENS
from analysis.screens.source import DEMO, OWN
from tests.screens.driving import end_what_is_beside_the_page


def sent(node) -> str:
    """All that a part of a page and the parts in it send, keys of widgets with it."""
    inside = getattr(node, "children", {}).values()
    return str(getattr(node, "proto", "")) + "".join(map(sent, inside))


@pytest.mark.parametrize("whose", [OWN, DEMO])
@pytest.mark.parametrize("name", [name for _, name, _, _ in SCREENS])
def test_no_page_tells_the_browser_where_the_records_are_kept(show, first_file, name, whose):
    """Of records on a server the address holds the password."""
    screen = show(name, whose)
    for part in ("what_if_part", "laps_part", "shop_part"):
        if part.startswith(name):
            screen.session_state[part] = {"what_if_part": "Change it", "laps_part": "Look and mend",
                                          "shop_part": "Route"}[part]  # fmt: skip
            screen.run()
    assert "sqlite:" not in sent(screen._tree)
    end_what_is_beside_the_page()
