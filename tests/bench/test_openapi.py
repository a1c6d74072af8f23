"""The routes are as described in analysis/bench/openapi.json, which drives a fuzz of them.

Each status described is met in test_answer_codes.py.
"""

import json

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import checks

from analysis.store.store import open_store
from tests.bench.serving import ROOT, body_of, lap

DESCRIPTION = json.loads((ROOT / "analysis/bench/openapi.json").read_text("utf-8"))
PATHS = DESCRIPTION["paths"]
PROMISES = (
    checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
)
METHODS = ("get", "post", "put", "patch", "delete")
schema = schemathesis.openapi.from_dict(DESCRIPTION)
FEW = settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
MANY = settings(FEW, max_examples=500)


@pytest.mark.parametrize("path", sorted(set(PATHS) - {"/laps"}))  # /laps is a page by GET too
def test_a_path_answers_the_described_methods_and_no_other(server, path):
    asked = path.replace("{name}", "index.html").replace("{rest}", "nothing-here")
    asked = asked.replace("{mark}.{kind}", "unknown.svg")
    answered = {m for m in METHODS if server.ask(m.upper(), asked, "{}").status != 405}
    assert answered == set(PATHS[path])


@pytest.mark.parametrize(
    "path", ["/bench/%0A", "/bench/a%0Ab", "/bench/assets/a%0Ab", "/bench/assets/%0A"]
)
def test_a_name_with_a_line_break_is_answered_by_the_bench_itself(server, path):
    answer = server.ask("GET", path)
    assert answer.status == 404 and "error" in answer.json
    assert "content-security-policy" in answer.headers


def _answers_as_described(case, server) -> None:
    case.call_and_validate(
        base_url=server.origin, headers={"Origin": server.origin},
        checks=list(PROMISES), allow_redirects=False, timeout=30,
    )  # fmt: skip


@schema.parametrize()
@FEW
def test_whatever_is_sent_is_answered_as_described(case, server):
    _answers_as_described(case, server)


@pytest.mark.slow
@schema.parametrize()
@MANY
def test_whatever_is_sent_is_answered_as_described_at_length(case, server):
    _answers_as_described(case, server)


def test_what_was_taken_meanwhile_stays_readable(server):
    """Last in the file: the store holds what the runs above left in it."""
    sent = server.ask("POST", "/laps", body_of(lap(lap_id="after-the-fuzz")))
    assert sent.json["acknowledged"] == [{"lap_id": "after-the-fuzz", "revision": 0}]
    assert server.ask("GET", "/bench/lists").status == 200
    kept = open_store(f"sqlite:///{server.store}").laps()
    assert "after-the-fuzz" in set(kept.lap_id)
