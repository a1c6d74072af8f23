"""What now, as the bench is told it: from the laps so far, for whoever asks, in a short answer."""

import json
import threading
from datetime import UTC, datetime, timedelta

import pytest

from analysis.bench.next_task import NextTask
from analysis.records.laps import read_laps
from analysis.store.store import open_store

ROUTE = (
    "product,operation,variant,after,seconds,wait_seconds,skill\n"
    "book,sew,,,60,0,maker\nbook,glue,,sew,30,1200,\nbook,trim,,glue,20,0,\n"
)
SHOP = '[shop]\ntimezone = "UTC"\n[week]\nMon = "08:00-17:00"\nTue = "08:00-17:00"\n'
MONDAY = datetime(2026, 3, 23, 8, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'own.sqlite'}")
    store.save_routing(ROUTE)
    store.save_shop(SHOP)
    return store


def log(store, *rows, start=MONDAY, batch="7"):
    """Laps in turn from `start` on: worker, operation, units, seconds, variant."""
    lines, at = ["started_at,seconds,worker,product,operation,batch,units,variant"], start
    for worker, operation, units, seconds, variant in rows:
        told = (at.isoformat(), seconds, worker, "book", operation, batch, units, variant)
        lines.append(",".join(map(str, told)))
        at += timedelta(seconds=seconds)
    store.import_laps(read_laps(("\n".join(lines) + "\n").encode(), name=f"{at}.csv"))
    return at


def told(store, moment, worker="maker"):
    return json.loads(NextTask(store).answer(worker, moment))


def test_the_next_task_is_one_short_sentence(store):
    at = log(store, ("maker", "sew", 4, 240, ""))
    answer = told(store, at)
    assert answer["sentence"] == "Next: glue, 4 of book (about 2 min)."
    assert (answer["operation"], answer["batch"], answer["worker"]) == ("glue", "7", "maker")
    assert len(json.dumps(answer)) < 500


def test_while_nothing_is_dry_it_says_until_when_to_wait(store):
    at = log(store, ("maker", "sew", 2, 120, ""), ("maker", "glue", 2, 60, ""))
    answer = told(store, at)
    assert answer["activity"] == "wait"
    assert answer["sentence"].startswith("Nothing to do before 08:22; then trim, 2 of book")


def test_what_dries_is_said_with_its_hour(store):
    at = log(store, ("maker", "sew", 4, 240, ""), ("maker", "glue", 2, 60, ""))
    assert "2 from glue are ready at 08:25." in told(store, at)["meanwhile"]


def test_two_people_are_not_sent_to_the_same_piece(store):
    at = log(store, ("helper", "glue", 1, 30, ""), ("maker", "sew", 4, 240, ""))
    tasks = {task.worker: task for task in NextTask(store).tasks(at)}
    assert set(tasks) == {"maker", "helper"}
    pieces = sum(
        int(t.sentence.split("glue, ")[1].split()[0]) for t in tasks.values()
        if "glue, " in t.sentence
    )  # fmt: skip
    assert pieces <= 3


def test_a_mixed_batch_is_planned_by_variant(store):
    at = log(store, ("maker", "sew", 2, 120, "linen"), ("maker", "sew", 3, 180, "marbled"),
             ("maker", "glue", 2, 60, "linen"))  # fmt: skip
    answer = told(store, at)
    assert answer["sentence"].startswith("Next: glue, 3 of book, marbled")


def test_after_hours_whoever_works_is_told_the_next_task_all_the_same(store):
    at = log(store, ("maker", "sew", 4, 240, ""), start=MONDAY.replace(hour=20))
    assert told(store, at)["sentence"].startswith("Next: glue, 4")


def test_a_batch_nobody_touched_for_two_weeks_is_not_what_the_bench_is_on(store):
    at = log(store, ("maker", "sew", 4, 240, ""))
    assert told(store, at + timedelta(days=15))["sentence"] == ""


def test_without_route_or_batch_there_is_nothing_to_say(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'bare.sqlite'}")
    assert told(store, MONDAY)["sentence"] == ""
    log(store, ("maker", "sew", 4, 240, ""))
    assert told(store, MONDAY + timedelta(hours=1))["sentence"] == ""


def test_a_batch_that_is_through_leaves_nothing_to_say(store):
    at = log(store, ("maker", "sew", 1, 60, ""), ("maker", "glue", 1, 30, ""),
             ("maker", "trim", 1, 20, ""))  # fmt: skip
    assert told(store, at)["sentence"] == ""


def test_a_new_lap_brings_a_new_answer_at_once(store):
    source = NextTask(store)
    at = log(store, ("maker", "sew", 4, 240, ""))
    first = json.loads(source.answer("maker", at))
    log(store, ("maker", "glue", 4, 30, ""), start=at)
    assert json.loads(source.answer("maker", at + timedelta(seconds=31))) != first


def test_nobody_waits_in_line_for_a_hint(store):
    """While one answer is planned, who else asks is told to come again, and no thread is held."""
    at = log(store, ("maker", "sew", 4, 240, ""))
    begun, go_on = threading.Event(), threading.Event()

    def slow_study(version):
        begun.set()
        assert go_on.wait(30)
        return {}

    source = NextTask(store, slow_study)
    first = threading.Thread(target=source.answer, args=("maker", at))
    first.start()
    assert begun.wait(30)
    assert source.answer("helper", at) is None
    go_on.set()
    first.join()
    assert json.loads(source.answer("maker", at))["operation"] == "glue"


def test_the_server_answers_the_phone(server):
    answer = server.ask("GET", "/bench/next?worker=maker")
    assert answer.status == 200
    assert set(answer.json) >= {"sentence", "at"}
    assert server.ask("POST", "/bench/next").status == 405
