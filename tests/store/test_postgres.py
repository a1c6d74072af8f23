"""A group of workshops on one PostgreSQL server: kept apart, written by many, moved in and out."""

import threading

import pytest
import sqlalchemy as sa

from analysis.problems import StoreProblem
from analysis.store import bench
from analysis.store.connection import writing
from analysis.store.moving import copy_store
from analysis.store.store import open_store
from analysis.store.tables import CONTENT
from tests.store.test_store import check_totals, content, laps_file, same_laps, store, url

__all__ = ["store", "url"]  # fixtures: the same store on both databases


@pytest.fixture
def shared(postgres_url):
    opened = open_store(postgres_url)
    yield opened
    opened.close()


def test_shops_on_one_server_know_nothing_of_each_other(postgres_server):
    garage, cellar = (open_store(f"{postgres_server}&shop={name}") for name in ("garage", "cellar"))
    file = laps_file(20)
    garage.import_laps(file)
    garage.save_shop('[shop]\nname = "Garage"')
    assert cellar.laps().empty and cellar.version() == 0 and cellar.shop().name != "Garage"
    assert cellar.import_laps(laps_file(30)).new == 30  # the same ids, each in its own shop
    same_laps(garage, file.frame)
    assert garage.url != cellar.url  # what is cached by address is not mixed up
    garage.close()
    cellar.close()


@pytest.mark.parametrize("name", ["a b", "x';drop", "-csearch", "1st", "a" * 42])
def test_a_name_that_is_no_shops_is_refused(postgres_server, name):
    with pytest.raises(StoreProblem, match="no name of letters"):
        open_store(f"{postgres_server}&shop={name}")


def test_writers_at_the_same_time_lose_nothing_and_number_their_changes_in_order(postgres_url):
    """Eight writers, 40 laps each, half of them the same laps as another writer's."""
    open_store(postgres_url).close()
    failures = []

    def write(number):
        mine = open_store(postgres_url)
        try:
            for part in range(4):
                mine.import_laps(laps_file(10, part, f"w{number // 2}-{part}"))
        except Exception as error:  # shown below: an exception in a thread fails no test
            failures.append(error)
        finally:
            mine.close()

    writers = [threading.Thread(target=write, args=[number]) for number in range(8)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert failures == []
    after = open_store(postgres_url)
    assert after.lap_count() == len(after.laps()) == 4 * 4 * 10
    assert len(after.changes()) == 16 and sorted(after.changes().change_id, reverse=True) == list(
        after.changes().change_id
    )
    check_totals(after)
    after.close()


def test_a_reader_sees_one_state_while_others_write(shared, postgres_url):
    from analysis.store.connection import reading
    from analysis.store.totals import lap_count

    shared.import_laps(laps_file(10))
    other = open_store(postgres_url)
    with reading(shared.engine) as connection:
        assert lap_count(connection) == 10
        other.import_laps(laps_file(20))
        assert lap_count(connection) == 10
    assert shared.lap_count() == 20
    other.close()


def test_laps_of_phones_are_recorded_once(store):
    row = {**dict.fromkeys(CONTENT, ""), "lap_id": "tap-1", "started_at": 1_770_000_000_000_000,
           "seconds": 61.5, "product": "desk journal", "operation": "sew", "worker": "maker",
           "activity": "operation", "units": 2, "rework_units": 0, "scrap_units": 0,
           "rating": 100.0}  # fmt: skip
    lap = bench.PhoneLap("tap-1", 0, False, row, ("flag",))
    corrected = bench.PhoneLap("tap-1", 1, False, row | {"seconds": 30.25})
    for laps in ((lap,), (lap, corrected), (corrected, lap)):
        with writing(store.engine) as connection:
            now = 1_770_000_100_000_000
            bench.record(connection, [bench.Delivery("phone", now, now, laps)])
    assert store.laps()["seconds"].tolist() == [30.25]
    assert len(store.history("tap-1")) == 2


def test_a_server_that_is_away_is_said_to_be_so(tmp_path):
    with pytest.raises(StoreProblem, match="does not answer; start the database server"):
        open_store(f"postgresql+psycopg://tests:secret@/postgres?host={tmp_path}")


def test_a_database_that_is_not_there_is_named(postgres_server):
    with pytest.raises(StoreProblem, match="is not there"):
        open_store(postgres_server.replace("/postgres?", "/nowhere?"))


def worked_on(store):
    """A store with something of everything: corrections, removals, undos, stock, documents."""
    store.save_shop('[shop]\ntimezone = "Europe/Berlin"')
    first = store.import_laps(laps_file(60, name="naïve Grüße.csv"))
    store.correct_lap("lap-3", {"seconds": "0.1", "note": "it's 'quoted'; né\n2nd line"})
    store.remove_laps(["lap-4", "lap-5"])
    store.add_stock_event("count", "desk journal", 12, "linen")
    extra = store.import_laps(laps_file(10, 3, "extra"))
    store.undo(extra.change_id)
    return first


@pytest.mark.parametrize("way", ["to the server", "to a file"])
def test_a_store_moved_to_another_database_has_lost_nothing(tmp_path, postgres_url, way):
    file = str(tmp_path / "moved.sqlite")
    place, other = (file, postgres_url) if way == "to the server" else (postgres_url, file)
    source, target = open_store(place), open_store(other)
    first = worked_on(source)
    told = []
    copied = copy_store(source, target, lambda done, total: told.append((done, total)))
    assert {table.table: table.rows for table in copied}["lap"] == 60 + 1 + 10
    assert sum(table.rows for table in copied) == told[-1][0] == told[-1][1]
    assert content(source.laps()).equals(content(target.laps()))
    assert source.changes().equals(target.changes())
    assert source.history("lap-3").equals(target.history("lap-3"))
    assert source.stock_events().equals(target.stock_events())
    assert source.shop() == target.shop()
    # and life goes on there: new numbers follow the old, what was imported is known
    again = target.import_laps(laps_file(60))
    assert (again.new, again.already_there, again.removed_before) == (0, 58, 2)
    assert target.import_laps(laps_file(5, 9, "new")).change_id == source.version() + 1
    check_totals(target)
    with pytest.raises(StoreProblem, match="later change touched"):
        target.undo(first.change_id)
    source.close()
    target.close()


def test_nothing_is_copied_over_another_store(tmp_path):
    source, target = (open_store(str(tmp_path / name)) for name in ("a.sqlite", "b.sqlite"))
    source.import_laps(laps_file(10))
    target.import_laps(laps_file(3, 2, "other"))
    with pytest.raises(StoreProblem, match="not empty"):
        copy_store(source, target)
    assert target.lap_count() == 3
    source.close()
    target.close()


def test_a_target_that_gives_back_other_rows_keeps_nothing(tmp_path):
    """A trigger stands for a faulty database: it changes what is written."""
    source, target = (open_store(str(tmp_path / name)) for name in ("a.sqlite", "b.sqlite"))
    source.import_laps(laps_file(10))
    with target.engine.begin() as connection:
        connection.execute(sa.text(
            "CREATE TRIGGER faulty AFTER INSERT ON lap WHEN NEW.lap_id = 'lap-7' "
            "BEGIN UPDATE lap SET seconds = seconds + 1e-9 WHERE id = NEW.id; END"
        ))  # fmt: skip
    with pytest.raises(StoreProblem, match="other rows of lap"):
        copy_store(source, target)
    assert target.lap_count() == 0 and target.version() == 0
    source.close()
    target.close()
