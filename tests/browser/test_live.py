"""A lap tapped on a phone is on an open dashboard without anybody reloading it."""

import pytest

from tests.bench.serving import Server, lap


@pytest.fixture
def served(tmp_path):
    server = Server(tmp_path).start()
    yield server
    server.stop()


def test_a_new_lap_reaches_the_open_dashboard_by_itself(served, page):
    product = f"album {page.viewport_size['width']}"
    served.post_laps(lap(product=product), lap(product=product, operation="wrap", seconds=5))
    page.goto(f"{served.origin}/batch-minutes?workshop=mine")
    page.get_by_text(f"good piece of {product}").wait_for()
    page.get_by_text("Most of it goes into sew").wait_for()
    served.post_laps(lap(product=product, operation="wrap", seconds=5000))
    page.get_by_text("Most of it goes into wrap").wait_for()


def test_someone_mending_laps_is_asked_before_the_table_moves(served, page):
    served.post_laps(lap())
    page.goto(f"{served.origin}/laps?workshop=mine")
    page.get_by_role("heading", name="Laps", exact=True).wait_for()
    page.get_by_role("radio", name="Phones").wait_for()
    served.post_laps(lap())
    page.get_by_role("button", name="The records have changed").click()
    page.get_by_role("button", name="The records have changed").wait_for(state="detached")
