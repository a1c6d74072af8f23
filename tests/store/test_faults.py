"""Nothing acknowledged is lost, whatever breaks: processes killed, disks full, files torn.

The normal run takes a few rounds of each; `pytest -m slow tests/store/test_faults.py` takes 200. A
table of faults, rounds and losses stands at the end of the tests' output.
"""

import multiprocessing
import os
import random
import resource
import shutil
import sqlite3
import time
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa

from analysis.problems import StoreProblem
from analysis.store import tables
from analysis.store.backup import back_up, backups, is_whole, restore
from analysis.store.connection import open_engine, writing
from analysis.store.schema import VERSION, bring_up_to_date, version_of
from analysis.store.store import open_store
from tests.store import work
from tests.store.test_store import check_totals, content, laps_file

STEPS = 8
DAY = date(2026, 3, 4)
ROUNDS = [
    pytest.param(range(2), id="2"),
    pytest.param(range(1000, 1200), id="200", marks=pytest.mark.slow),
]


@pytest.fixture(scope="module")
def processes():
    """Starts processes that have the program loaded already: one each 10 ms, killed for real."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.store.work", "alembic.command", "alembic.config"])
    return context


def killed(processes, chance: random.Random, target, *arguments, steps: int) -> int:
    """Run a process, kill it at a random moment; how many steps it had said were done."""
    ours, theirs = processes.Pipe()
    process = processes.Process(target=target, args=(*arguments, theirs), daemon=True)
    process.start()
    theirs.close()
    done = ours.recv()
    last = chance.randrange(steps + 1)
    while done < last:
        done = ours.recv()
    time.sleep(chance.choice((0, chance.expovariate(200), chance.expovariate(20))))
    process.kill()
    process.join()
    return _last_word(ours, done)


def _last_word(pipe, done: int) -> int:
    """What a process had said when it died."""
    try:
        while pipe.poll():
            done = pipe.recv()
    except (EOFError, OSError):
        pass
    return done


def losses(url: str, seed: int, acknowledged: int, reference: str) -> int:
    """0 where the store holds the acknowledged steps, and at most the one under way, whole."""
    store, wanted = open_store(url), work.opened(reference)
    try:
        with writing(store.engine):
            pass  # a server may still be at what the dead process had sent it: wait our turn
        for number in range(acknowledged):
            work.step(wanted, seed, number)
        found = work.held(store)
        if found != work.held(wanted):
            work.step(wanted, seed, acknowledged)
            return int(found != work.held(wanted))
        check_totals(store)
        return 0
    finally:
        store.close()
        wanted.close()


@pytest.mark.parametrize("rounds", ROUNDS)
@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_killed_while_importing_correcting_undoing_or_taking_in_a_phones_laps(
    rounds, database, processes, tmp_path, request, fault_table
):
    lost, in_the_middle = [], 0
    for seed in rounds:
        url = str(tmp_path / f"{seed}.sqlite")
        if database == "postgresql":
            url = f"{request.getfixturevalue('postgres_server')}&shop=fault_{len(rounds)}_{seed}"
        chance = random.Random(seed)
        arguments = (work.work_until_killed, url, seed, STEPS)
        acknowledged = killed(processes, chance, *arguments, steps=STEPS)
        in_the_middle += acknowledged < STEPS
        torn = database == "sqlite" and not is_whole(Path(url))
        if torn or losses(url, seed, acknowledged, str(tmp_path / f"{seed}-wanted.sqlite")):
            lost.append(seed)
    fault_table(f"process killed at work ({database})", len(rounds), len(lost))
    assert lost == []
    assert in_the_middle > len(rounds) // 3  # it did die at work


@pytest.fixture(scope="module")
def old_store(tmp_path_factory):
    """A store of version 1 with laps enough for its migration to take a while."""
    place = tmp_path_factory.mktemp("old") / "old.sqlite"
    engine = open_engine(str(place))
    bring_up_to_date(engine, "0001")
    file = laps_file(5000)
    laps = file.frame.drop(columns="row").assign(started_at=file.frame.started_at.astype("int64"))
    with engine.begin() as connection:
        connection.execute(sa.insert(tables.change), {"at": 0, "kind": "import", "what": "old"})
        rows = laps.assign(change_id=1).astype(object).to_dict("records")
        connection.execute(sa.insert(tables.lap), rows)
    engine.dispose()
    return place, file.frame


@pytest.mark.parametrize("rounds", ROUNDS)
def test_killed_while_an_older_store_is_migrated(
    rounds, processes, old_store, tmp_path, fault_table
):
    old, laps = old_store
    lost, versions = [], set()
    for seed in rounds:
        place = tmp_path / f"{seed}.sqlite"
        shutil.copy(old, place)
        killed(processes, random.Random(seed), work.migrate_until_killed, str(place), steps=0)
        engine = open_engine(str(place))
        versions.add(version_of(engine))
        engine.dispose()
        store = open_store(str(place))
        if not is_whole(place) or not content(store.laps()).equals(content(laps)):
            lost.append(seed)
        check_totals(store)
        store.close()
    fault_table("process killed while migrating", len(rounds), len(lost))
    assert lost == []
    assert versions <= {"0001", VERSION}  # never a version between
    assert "0001" in versions  # it did die before the end


@pytest.mark.parametrize("rounds", ROUNDS)
def test_the_log_of_a_store_torn_off_anywhere_leaves_an_earlier_whole_state(
    rounds, tmp_path, fault_table
):
    """What a computer without power may leave of the write-ahead log: its beginning. A disk that
    lied may then lose the last changes, but never half of one."""
    lost = []
    for seed in rounds:
        chance = random.Random(seed)
        place, torn = tmp_path / f"{seed}.sqlite", tmp_path / f"{seed}-torn.sqlite"
        store = work.opened(str(place))
        store.close()
        states = []
        keeps_the_log = sqlite3.connect(place)
        keeps_the_log.execute("SELECT count(*) FROM lap").fetchone()
        keeps_the_log.execute("BEGIN")
        keeps_the_log.execute("SELECT count(*) FROM lap").fetchone()
        store = work.opened(str(place))
        states.append(work.held(store))
        for number in range(3):
            work.step(store, seed, number)
            states.append(work.held(store))
        shutil.copy(place, torn)
        log = place.with_name(place.name + "-wal").read_bytes()
        end = chance.randrange(len(log) + 1)
        torn.with_name(torn.name + "-wal").write_bytes(
            log[:end] + os.urandom(chance.choice((0, 50)))
        )
        store.close()
        keeps_the_log.close()
        after = open_store(str(torn))
        if work.held(after) not in states or not is_whole(torn):
            lost.append(seed)
        after.close()
    fault_table("write-ahead log torn off", len(rounds), len(lost))
    assert lost == []


def _fill_until_full(url: str, limit: int, told) -> None:
    """Import until files may grow no more, as on a full disk; tell the laps that were kept."""
    store = open_store(url)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    kept = []
    for number in range(1000):
        try:
            store.import_laps(laps_file(200, number, f"{number}"))
        except StoreProblem as problem:
            told.send((kept, str(problem)))
            return
        kept.append(number)
    told.send((kept, "never full"))


@pytest.mark.parametrize("rounds", [range(2), pytest.param(range(2, 23), marks=pytest.mark.slow)])
def test_a_full_disk_is_said_to_be_full_and_keeps_what_was_kept(
    rounds, processes, tmp_path, fault_table
):
    lost = []
    for seed in rounds:
        place = tmp_path / f"{seed}.sqlite"
        open_store(str(place)).close()
        limit = place.stat().st_size + random.Random(seed).randrange(200_000, 500_000)
        ours, theirs = processes.Pipe()
        process = processes.Process(target=_fill_until_full, args=(str(place), limit, theirs))
        process.start()
        kept, said = ours.recv()
        process.join()
        assert "free some space" in said or "check the disk" in said, said
        after = open_store(str(place))
        if after.lap_count() != 200 * len(kept) or not is_whole(place):
            lost.append(seed)
        check_totals(after)
        after.import_laps(laps_file(5, 1, "room again"))
        after.close()
    fault_table("disk full (files limited)", len(rounds), len(lost))
    assert lost == []


@pytest.mark.parametrize("rounds", ROUNDS)
def test_bytes_overwritten_anywhere_are_noticed_and_the_backup_brings_everything_back(
    rounds, tmp_path, fault_table
):
    place = tmp_path / "workshop.sqlite"
    store = work.opened(str(place))
    for number in range(4):
        work.step(store, 7, number)
    before = work.held(store)
    store.close()
    back_up(place, DAY)
    whole = place.read_bytes()
    lost, noticed = [], 0
    for seed in rounds:
        chance = random.Random(seed)
        at = chance.randrange(len(whole))
        spilled = bytes(chance.randrange(256) for _ in range(chance.choice((1, 16, 4096))))
        place.write_bytes((whole[:at] + spilled + whole[at + len(spilled) :])[: len(whole)])
        noticed += not is_whole(place)
        restore(place, backups(place)[0], f"{seed}")
        after = open_store(str(place))
        if work.held(after) != before:
            lost.append(seed)
        after.close()
    fault_table("store overwritten, backup brought back", len(rounds), len(lost))
    fault_table("  of these noticed by the check of every page", noticed, 0)
    assert lost == [] and noticed > 0


def test_a_clock_that_jumps_back_loses_no_change_and_no_order(tmp_path):
    moments = iter([5_000_000, 9_000_000, 1_000_000, 0, 2_000_000])
    store = open_store(str(tmp_path / "workshop.sqlite"), lambda: next(moments))
    for number in range(4):
        store.import_laps(laps_file(5, number, f"{number}"))
    assert store.changes().change_id.tolist() == [4, 3, 2, 1] and store.version() == 4
    store.undo(4)
    assert store.lap_count() == 15
    store.close()
