"""Each status that openapi.json describes is met on its route, and none that it does not."""

import ast
import inspect
import json
import time
from collections.abc import Callable
from types import SimpleNamespace

import pytest
import requests
import schemathesis
from schemathesis import checks

from analysis.bench import guard, routes
from analysis.bench.assets import Assets
from analysis.bench.service import OPEN_SWITCH
from analysis.screens.shown_files import SHOWN
from tests.bench.conftest import now
from tests.bench.serving import ROOT, Answer, another_machine, at_clock, body_of, lap
from tests.bench.within import Within, own_app

DESCRIPTION = json.loads((ROOT / "analysis/bench/openapi.json").read_text("utf-8"))
schema = schemathesis.openapi.from_dict(DESCRIPTION)
DESCRIBED = {  # (method, path): its statuses
    (method.upper(), path): set(map(int, operation["responses"]))
    for path, methods in DESCRIPTION["paths"].items()
    for method, operation in methods.items()
}
CONFORMANCE = [
    checks.status_code_conformance, checks.content_type_conformance,
    checks.response_schema_conformance,
]  # fmt: skip
STATUSES = sorted(set().union(*DESCRIBED.values()))
NAMES = {"{name}": "index.html", "{rest}": "nothing", "{mark}": "bar", "{kind}": "svg"}
CHART = {"mark": "bar", "data": {"values": [{"a": 1}]}, "encoding": {"x": {"field": "a"}}}
KEY = f"workshop_device={'0' * 16}.{'A' * 43}"  # formed as a paired device's, and none


@pytest.fixture
def within(tmp_path, monkeypatch):
    """Opened to the local network; each test may break what it likes."""
    monkeypatch.setenv(OPEN_SWITCH, "1")
    server = Within(tmp_path).start()
    yield server
    server.stop()


def test_every_route_of_the_program_is_described_and_nothing_else_is():
    assert {route.path_format for route in own_app()["routes"]} == {path for _, path in DESCRIBED}


def test_every_refusal_that_the_code_can_give_is_described():
    calls = [
        node
        for module in (guard, routes)
        for node in ast.walk(ast.parse(inspect.getsource(module)))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("Stop", "Refusal")
    ]
    given = {call.args[0].value for call in calls}
    assert len(given) > 5 and given <= set(STATUSES)


def good_body(server: Within, path: str) -> str:
    entries = {"/bench/put-away": {"put_away": []}, "/bench/batches": {"batches": []}}
    if path == "/bench/pair":
        return json.dumps({"code": server.bench.devices.new_code(now())})
    if path in entries:
        return json.dumps({"device": "phone-0001", "sent_at": at_clock()} | entries[path])
    return body_of(lap())


def ask(
    server: Within, method: str, path: str, body: str | None = None, names: dict = NAMES,
    by: str | None = None, **more: str,
) -> Answer:  # fmt: skip
    """A request as it should be, but for what is said; `by`: by another method."""
    if method == "POST" and body is None:
        body = good_body(server, path)
    for name, value in names.items():
        path = path.replace(name, value)
    return server.ask(by or method, path, body if method == "POST" else None, **more)


def told_as_described(answer: Answer, method: str, path: str) -> None:
    """Its status, its type and its content stand in the description."""
    assert answer.status in DESCRIBED[method, path], (method, path, answer)
    named = {name.strip("{}"): value for name, value in NAMES.items() if name in path}
    schema[path][method].Case(path_parameters=named).validate_response(
        schemathesis.Response(
            answer.status,
            {name: [value] for name, value in answer.headers.items()},
            answer.body,
            requests.Request(method, f"http://localhost{path}").prepare(),
            elapsed=0,
            verify=False,
        ),
        checks=CONFORMANCE,
    )


# How each status is provoked: prepares the server, and says what is unlike a good request.


def as_it_should_be(server, monkeypatch):
    SHOWN.put("bar", "chart", CHART)
    return {}


def known_already(server, monkeypatch):
    marks = [server.bench.assets.get(name).etag for name in ("index.html", "sw.js")]
    return {"If_None_Match": ", ".join(marks)}


def not_opened(server, monkeypatch):
    monkeypatch.delenv(OPEN_SWITCH)
    return {"source": another_machine()}


def nothing_there(server, monkeypatch):
    server.bench.assets = Assets(server.folder / "no such folder")
    return {"names": NAMES | {"{mark}": "unknown"}}


def dawdling(server, monkeypatch):
    monkeypatch.setattr(routes, "BODY_SECONDS", 0.1)
    return {"body": "", "Content_Length": "10"}


def a_fault_of_the_program(server, monkeypatch):
    server.bench.devices = None
    return {"source": another_machine(), "Cookie": KEY, "body": "{}"}


def a_store_that_is_none(server, monkeypatch):
    server.store.write_bytes(b"no database" * 1000)
    return {"source": another_machine(), "Cookie": KEY, "body": "{}"}


def only(**unlike) -> Callable:
    """Nothing to prepare."""
    return lambda server, monkeypatch: unlike


WAYS = {
    200: as_it_should_be,
    206: only(Range="bytes=0-9"),
    304: known_already,
    308: as_it_should_be,
    400: only(body="{", Range="bytes=x"),
    401: only(source=another_machine()),
    403: not_opened,
    404: nothing_there,
    405: only(by="PUT"),
    408: dawdling,
    413: only(body="", Content_Length=str(routes.MOST_BYTES + 1)),
    415: only(Content_Type="text/plain"),
    416: only(Range="bytes=99999999-"),
    421: only(Host="elsewhere.example"),
    429: only(source=another_machine()),
    500: a_fault_of_the_program,
    503: a_store_that_is_none,
}
MOST_TRIES = {429: 300}  # until it is too many


@pytest.mark.parametrize("status", STATUSES)
def test_a_described_status_is_met_on_each_route_that_has_it_and_others_stay_described(
    within, monkeypatch, status
):
    unlike = WAYS[status](within, monkeypatch)
    if status == 429:  # however slow the machine: no second passes in which one more is let in
        stopped = SimpleNamespace(monotonic=lambda: 0.0, time_ns=time.time_ns)
        monkeypatch.setattr(guard, "time", stopped)
    for (method, path), described in DESCRIBED.items():
        for _ in range(MOST_TRIES.get(status, 1)):
            answer = ask(within, method, path, **unlike)
            told_as_described(answer, method, path)
            if answer.status == status:
                break
        assert answer.status == status or status not in described, (method, path, answer)


def test_a_fault_behind_the_bench_s_routes_is_told_in_json(within):
    for part in ("assets", "lists", "next_task", "writer", "devices"):
        setattr(within.bench, part, None)
    for path in ("/bench", "/bench/sw.js", "/bench/assets/{name}", "/bench/lists", "/bench/next",
                 "/laps", "/bench/pair"):  # fmt: skip
        method = "POST" if ("POST", path) in DESCRIBED else "GET"
        answer = ask(within, method, path, '{"code": "x"}' if "pair" in path else body_of(lap()))
        told_as_described(answer, method, path)
        assert (answer.status, list(answer.json)) == (500, ["error"]), path


def test_why_the_store_cannot_be_read_is_told_to_this_computer_and_to_no_stranger(within):
    within.store.write_bytes(b"no database" * 1000)
    here = ask(within, "GET", "/bench/lists")
    there = ask(within, "GET", "/bench/lists", source=another_machine(), Cookie=KEY)
    assert here.status == there.status == 503 and here.headers["retry-after"] == "2"
    assert "is not a store" in here.json["error"]
    assert there.json == {"error": guard.NOT_READ} and there.headers["retry-after"] == "2"
