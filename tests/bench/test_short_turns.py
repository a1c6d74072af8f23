"""What the server sets for its threads is set once it lives."""

import asyncio
import sys

import pytest

from analysis.bench.lifespan import lifespan
from analysis.bench.service import Bench


@pytest.fixture
def usual_turns():
    before = sys.getswitchinterval()
    sys.setswitchinterval(0.005)
    yield
    sys.setswitchinterval(before)


def test_a_page_waits_a_millisecond_at_most_for_its_turn_among_the_servers_threads(
    usual_turns, tmp_path
):
    async def lives():
        async with lifespan(Bench(f"sqlite:///{tmp_path / 'own.sqlite'}"))(None):
            return sys.getswitchinterval()

    assert asyncio.run(lives()) <= 0.001
