"""What the server does beside answering, from its start to its end."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable

from analysis.bench.daily_backup import keep_backed_up
from analysis.bench.few_arenas import share_heaps
from analysis.bench.no_delay import answer_without_delay
from analysis.bench.service import Bench
from analysis.bench.short_turns import take_short_turns


def lifespan(bench: Bench) -> Callable[[object], contextlib.AbstractAsyncContextManager[None]]:
    """The server's life, as Starlette asks for it."""

    @contextlib.asynccontextmanager
    async def life(_app: object) -> AsyncIterator[None]:
        share_heaps()
        take_short_turns()
        answer_without_delay()
        backing_up = asyncio.create_task(keep_backed_up(bench))
        yield
        backing_up.cancel()

    return life
