"""A newcomer is told what to do, in three steps at most, and only until they know."""

import pytest

from analysis.screens import tour
from analysis.screens.source import OWN
from tests.screens.driving import said


@pytest.fixture(autouse=True)
def unseen(tmp_path, monkeypatch, one_demo):
    """A computer on which nobody has put the steps away."""
    monkeypatch.setenv("WORKSHOP_DEMO_FOLDER", str(tmp_path / "cache"))


def test_a_newcomer_is_told_three_steps_and_puts_them_away_for_good(show):
    page = show("this_week", OWN)
    steps = page.info[0].value
    assert 2 <= steps.count("\n") <= 3
    for word in ("Look round", "Start timing", "drop in a file", "Shop"):
        assert word in steps
    page.button(key="tour_seen").click().run()
    assert not page.exception
    assert tour.STEPS.splitlines()[0] not in said(page)
    assert tour.STEPS.splitlines()[0] not in said(show("this_week", OWN))  # another visit


def test_whoever_has_laps_is_told_no_first_steps(show, first_file):
    assert tour.STEPS.splitlines()[0] not in said(show("this_week", OWN))
