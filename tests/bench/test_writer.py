"""Many phones, one commit: who waits is told the truth about their own laps, and nobody else's."""

import asyncio
import sqlite3
import threading

from analysis.bench.writer import MOST_WAITING, Full, Writer
from analysis.problems import StoreProblem


def deliver(writer: Writer, *deliveries) -> list:
    """What each of these gets back when they come at the same time: None, or an error."""

    async def all_at_once():
        return await asyncio.gather(
            *(writer.put(one) for one in deliveries), return_exceptions=True
        )

    return asyncio.run(all_at_once())


def test_what_waits_while_the_disk_writes_goes_into_the_next_commit_together():
    commits, writing, go_on = [], threading.Event(), threading.Event()

    def record(deliveries):
        commits.append(deliveries)
        writing.set()
        assert go_on.wait(30)

    async def first_then_the_others():
        writer = Writer(record)
        first = asyncio.create_task(writer.put("first"))
        await asyncio.to_thread(writing.wait, 30)
        others = [asyncio.create_task(writer.put(number)) for number in range(10)]
        await asyncio.sleep(0)  # lets the others hand over
        go_on.set()
        await asyncio.gather(first, *others)

    asyncio.run(first_then_the_others())
    assert commits == [["first"], list(range(10))]


def test_a_delivery_that_cannot_be_recorded_sinks_no_other():
    kept = []

    def record(deliveries):
        if "bad" in deliveries:
            raise sqlite3.IntegrityError("no such thing")
        kept.extend(deliveries)

    told = deliver(Writer(record), "a", "bad", "b", "c")
    assert [type(one) for one in told] == [
        type(None),
        sqlite3.IntegrityError,
        type(None),
        type(None),
    ]
    assert kept == ["a", "b", "c"]


def test_a_store_that_is_locked_is_waited_for_once_not_by_each():
    tries = []

    def record(deliveries):
        tries.append(deliveries)
        raise StoreProblem("The store is in use by another program.")

    told = deliver(Writer(record), *range(20))
    assert all(isinstance(one, StoreProblem) for one in told)
    assert len(tries) <= 2  # the first may have gone alone


def test_when_too_much_waits_the_phone_is_told_to_come_later():
    go_on = threading.Event()
    told = []

    async def flood():
        writer = Writer(lambda deliveries: go_on.wait(30))
        waiting = [asyncio.create_task(writer.put(n)) for n in range(MOST_WAITING + 100)]
        await asyncio.sleep(0)
        go_on.set()
        told.extend(await asyncio.gather(*waiting, return_exceptions=True))

    asyncio.run(flood())
    assert sum(isinstance(one, Full) for one in told) >= 36  # 64 may be under way
    assert told[0] is None


def test_a_store_that_cannot_be_written_keeps_the_laps_on_the_phone(tmp_path):
    from tests.bench.serving import Server, lap

    server = Server(tmp_path).start()
    try:
        sent = lap()
        assert server.post_laps(lap()).status == 200
        breaking = sqlite3.connect(server.store)
        breaking.execute("ALTER TABLE lap RENAME TO hidden")
        answer = server.post_laps(sent)
        assert answer.status >= 500 and answer.headers["retry-after"]
        assert "acknowledged" not in answer.json and answer.json["error"]
        breaking.execute("ALTER TABLE hidden RENAME TO lap")
        assert server.post_laps(sent).json["acknowledged"]
    finally:
        server.stop()


def test_the_store_is_written_with_full_sync(own_store):
    from analysis.bench.service import Bench

    engine = Bench(own_store).store.engine
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
