"""A lap tapped on a phone is on an open dashboard without anybody reloading it."""

from contextlib import ExitStack
from functools import cache

import pytest

from tests.bench.serving import Server, lap


@pytest.fixture(scope="module")
def server_of(tmp_path_factory):
    """A server by the window's width, whose store only the tests at that size fill."""
    with ExitStack() as running:

        @cache
        def of(width: int) -> Server:
            server = Server(tmp_path_factory.mktemp(f"live {width}")).start()
            running.callback(server.stop)
            return server

        yield of


@pytest.fixture
def served(server_of, page):
    return server_of(page.viewport_size["width"])


def test_a_new_lap_reaches_the_open_dashboard_by_itself(served, page):
    served.post_laps(lap(product="album"), lap(product="album", operation="wrap", seconds=5))
    page.goto(f"{served.origin}/batch-minutes?workshop=mine")
    page.get_by_text("good piece of album").wait_for()
    page.get_by_text("Most of it goes into sew").wait_for()
    served.post_laps(lap(product="album", operation="wrap", seconds=5000))
    page.get_by_text("Most of it goes into wrap").wait_for()


def test_someone_mending_laps_is_asked_before_the_table_moves(served, page):
    served.post_laps(lap())
    page.goto(f"{served.origin}/laps?workshop=mine")
    page.get_by_role("heading", name="Laps", exact=True).wait_for()
    page.get_by_role("radio", name="Phones").wait_for()
    served.post_laps(lap())
    page.get_by_role("button", name="The records have changed").click()
    page.get_by_role("button", name="The records have changed").wait_for(state="detached")
