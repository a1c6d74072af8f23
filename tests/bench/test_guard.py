"""Who may come in: every way to knock, and what each is told."""

import json
import socket

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from analysis.store.store import open_store
from tests.bench.conftest import now
from tests.bench.serving import HERE, PAGE, Server, another_machine, body_of, key_in, lap

# What lies behind the guard: the dashboard, its files and its doors, and the bench.
EVERYTHING = [
    ("GET", "/"),
    ("GET", "/laps"),
    ("GET", "/static/index.html"),
    ("GET", "/_stcore/health"),
    ("GET", "/_stcore/host-config"),
    ("GET", "/media/anything.png"),
    ("GET", "/component/anything"),
    ("PUT", "/_stcore/upload_file/session/file"),
    ("DELETE", "/_stcore/upload_file/session/file"),
    ("GET", "/bench"),
    ("GET", "/bench/sw.js"),
    ("GET", "/bench/assets/index.html"),
    ("GET", "/bench/lists"),
    ("POST", "/laps"),
    ("POST", "/bench/put-away"),
    ("POST", "/bench/batches"),
    ("GET", "/bench/pair"),
    ("GET", "/nowhere"),
    ("OPTIONS", "/laps"),
    ("PROPFIND", "/laps"),
]


@pytest.mark.parametrize(("method", "path"), EVERYTHING)
def test_another_machine_gets_nothing_until_it_is_paired(opened, method, path, elsewhere):
    answer = opened.ask(method, path, body_of(lap()), source=elsewhere)
    assert answer.status == 401
    assert answer.json == {
        "error": "This device is not paired. Scan the code on the Laps screen of the computer."
    }


@pytest.mark.parametrize(("method", "path"), EVERYTHING)
def test_without_the_switch_another_machine_gets_nothing_though_the_server_listens(
    closed, method, path, elsewhere
):
    answer = closed.ask(method, path, body_of(lap()), source=elsewhere)
    assert answer.status == 403
    assert b"answers only the computer it runs on" in answer.body


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """Started on every address, but the switch forgotten."""
    running = Server(tmp_path_factory.mktemp("closed"), "--server.address", "0.0.0.0").start()
    yield running
    running.stop()


def test_without_the_switch_no_code_pairs(closed):
    from analysis.store.bench_devices import Devices

    code = Devices(open_store(f"sqlite:///{closed.store}").engine).new_code(now())
    assert closed.pair(code).status == 403


@pytest.mark.parametrize("key", [
    "workshop_device=",
    "workshop_device=abc.def",
    "workshop_device=" + "0" * 16 + "." + "A" * 43,
    "workshop_device=" + "x" * 5000,
    "workshop_device=\xe9\xff.\xfe",
    'workshop_device="; workshop_device=..',
    "workshop_device=' OR 1=1 --.x",
    "other=1",
])  # fmt: skip
def test_a_made_up_key_opens_nothing(opened, key, elsewhere):
    answer = opened.ask("GET", "/bench/lists", source=elsewhere, Cookie=key)
    assert answer.status == 401


def test_a_key_with_the_token_of_another_device_opens_nothing(opened, devices, key, elsewhere):
    other = key_in(opened.pair(devices.new_code(now())))
    swapped = key.partition(".")[0] + "." + other.partition(".")[2]
    assert opened.ask("GET", "/bench/lists", source=elsewhere, Cookie=swapped).status == 401


def test_a_paired_device_gets_the_bench_and_the_dashboard(opened, key, elsewhere):
    for path in ("/bench", "/bench/lists", "/", "/_stcore/health"):
        assert opened.ask("GET", path, source=elsewhere, Cookie=key).status == 200, path
    sent = opened.post_laps(lap(), source=elsewhere, Cookie=key)
    assert sent.status == 200 and len(sent.json["acknowledged"]) == 1


def test_a_device_that_is_shut_out_gets_nothing_from_then_on(opened, devices, key, elsewhere):
    assert opened.ask("GET", "/bench/lists", source=elsewhere, Cookie=key).status == 200
    devices.revoke(devices.all()[0].id, now())
    assert opened.ask("GET", "/bench/lists", source=elsewhere, Cookie=key).status == 401
    assert opened.post_laps(lap(), source=elsewhere, Cookie=key).status == 401
    assert opened.ask("GET", "/", source=elsewhere, Cookie=key, **PAGE).status == 401


def test_a_code_pairs_one_device_and_no_second(opened, code):
    assert opened.pair(code).status == 200
    second = opened.pair(code)
    assert second.status == 403
    assert "set-cookie" not in second.headers


def test_a_code_typed_with_spaces_hyphens_and_small_letters_is_the_same_code(opened, code):
    typed = f"{code[:4].lower()}-{code[4:8]} {code[8:]}"
    assert opened.pair(typed).status == 200


def test_a_code_is_no_longer_good_after_five_minutes(opened, devices):
    code = devices.new_code(now() - 5 * 60 * 1_000_000)
    assert opened.pair(code).status == 403


@pytest.mark.parametrize("body", [
    b"", b"{", b"[]", b"null", b"{}", b'{"code": 5}', b'{"code": null, "name": "x"}',
    b'{"code": "ABCD", "name": ["x"]}', b'{"code": "\\ud800", "name": "x"}', b"\xff\xfe",
    b"[" * 1900,
])  # fmt: skip
def test_a_pairing_that_is_no_pairing_is_refused(opened, body):
    answer = opened.ask("POST", "/bench/pair", body, source=another_machine())
    assert answer.status in (400, 403, 429), answer.body
    assert "set-cookie" not in answer.headers


def test_guessing_codes_is_slowed_down_to_two_a_minute(opened, elsewhere):
    statuses = [opened.pair("WRNGWRNGWRNGWRNG", source=elsewhere).status for _ in range(15)]
    assert statuses[0] == 403
    assert statuses[-1] == 429
    answer = opened.pair("WRNGWRNGWRNGWRNG", source=elsewhere)
    assert 1 <= int(answer.headers["retry-after"]) <= 30


def test_who_guesses_does_not_keep_another_phone_from_pairing(opened, code, elsewhere):
    for _ in range(15):
        opened.pair("WRNGWRNGWRNGWRNG", source=elsewhere)
    assert opened.pair(code).status == 200


def test_a_flood_from_an_unpaired_machine_is_turned_away_cheaply(opened, elsewhere):
    statuses = {opened.ask("GET", "/", source=elsewhere).status for _ in range(80)}
    assert statuses == {401, 429}


def test_the_cookie_is_kept_from_scripts_and_from_other_sites(opened, code):
    cookie = opened.pair(code).headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie
    assert "Secure" not in cookie  # over plain http it would never come back


def test_what_the_store_keeps_lets_nobody_in(opened, code, key):
    token = key.partition(".")[2].encode()
    kept = b"".join(path.read_bytes() for path in opened.folder.glob("workshop.sqlite*"))
    assert token not in kept
    assert code.encode() not in kept


def test_a_scanned_code_is_exchanged_by_a_page_that_needs_nothing_else(opened, elsewhere):
    answer = opened.ask("GET", "/bench", source=elsewhere, **PAGE)
    assert answer.status == 401
    assert b"Pair this device" in answer.body
    assert b'src="' not in answer.body and b'href="' not in answer.body
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe-inline" not in policy
    assert answer.headers["cache-control"] == "no-store"


FOREIGN = [
    {"Origin": "http://elsewhere.example"},
    {"Origin": "null"},
    {"Origin": None},
    {"Origin": ""},
    {"Origin": "https://127.0.0.1:{port}"},
    {"Origin": "http://127.0.0.1:1"},
    {"Origin": "http://127.0.0.1:{port}.elsewhere.example"},
    {"Origin": "http://localhost:{port}"},
]


@pytest.mark.parametrize("headers", FOREIGN)
@pytest.mark.parametrize("path", [
    "/laps", "/bench/pair", "/bench/put-away", "/_stcore/upload_file/a/b",
])  # fmt: skip
def test_a_foreign_page_cannot_write_from_this_computer(server, headers, path):
    headers = {name: value and value.format(port=server.port) for name, value in headers.items()}
    method = "PUT" if "upload" in path else "POST"
    answer = server.ask(method, path, body_of(lap()), **headers)
    assert answer.status == 403
    assert b"Only this server's own pages may write here" in answer.body


def test_a_foreign_page_cannot_write_from_a_paired_phone(opened, key, elsewhere):
    answer = opened.post_laps(
        lap(), source=elsewhere, Cookie=key, Origin="http://elsewhere.example"
    )
    assert answer.status == 403


@pytest.mark.parametrize("host", [
    "elsewhere.example", "elsewhere.example:{port}", "127.0.0.1.elsewhere.example", "",
    "localhost.elsewhere.example:{port}", "127.0.0.1@elsewhere.example", "127.0.0.2:{port}",
])  # fmt: skip
def test_a_foreign_name_that_points_here_reads_nothing(server, host):
    host = host.format(port=server.port)
    for path in ("/", "/bench/lists", "/_stcore/health"):
        assert server.ask("GET", path, Host=host).status in (400, 421), path
    answer = server.post_laps(lap(), Host=host, Origin=f"http://{host}")
    assert answer.status in (400, 421)


@pytest.mark.parametrize("host", [
    "127.0.0.1:{port}", "localhost:{port}", "[::1]:{port}", "LOCALHOST",
])  # fmt: skip
def test_this_computer_is_known_by_its_own_names(server, host):
    assert server.ask("GET", "/bench/lists", Host=host.format(port=server.port)).status == 200


@pytest.mark.parametrize("header", [
    {"X_Forwarded_For": "127.0.0.1"}, {"X_Forwarded_For": "::1, 127.0.0.1"},
    {"X_Real_IP": "127.0.0.1"}, {"Forwarded": "for=127.0.0.1"}, {"X_Forwarded_Host": "127.0.0.1"},
])  # fmt: skip
def test_a_header_that_claims_to_be_this_computer_is_not_believed(opened, header, elsewhere):
    assert opened.ask("GET", "/bench/lists", source=elsewhere, **header).status == 401


def test_what_a_proxy_on_this_computer_passes_on_needs_a_pairing_too(opened):
    answer = opened.ask("GET", "/bench/lists", source=HERE, X_Forwarded_For="127.0.0.1")
    assert answer.status == 401


def websocket(server: Server, source: str, origin: str | None, **headers: str):
    """Open the dashboard's websocket as a browser at `source` would."""
    plug = socket.create_connection((HERE, server.port), 10, source_address=(source, 0))
    return connect(f"ws://{HERE}:{server.port}/_stcore/stream", sock=plug, origin=origin,
                   additional_headers=headers, subprotocols=["streamlit"], proxy=None)  # fmt: skip


def test_the_dashboard_s_websocket_stays_shut_without_a_pairing(opened, key, elsewhere):
    with pytest.raises(InvalidStatus) as refused:
        websocket(opened, elsewhere, opened.origin)
    assert refused.value.response.status_code == 403
    with pytest.raises(InvalidStatus):
        websocket(opened, elsewhere, opened.origin, Cookie=key[:-1] + "_")
    with websocket(opened, elsewhere, opened.origin, Cookie=key) as stream:
        assert stream.ping().wait(10)


def test_the_dashboard_s_websocket_stays_shut_to_foreign_pages(server, opened, key, elsewhere):
    for origin in ("http://elsewhere.example", None, "null"):
        with pytest.raises(InvalidStatus):
            websocket(server, HERE, origin)
        with pytest.raises(InvalidStatus):
            websocket(opened, elsewhere, origin, Cookie=key)
    with websocket(server, HERE, server.origin) as stream:
        assert stream.ping().wait(10)


def test_shutting_a_device_out_ends_the_websocket_it_has_open(opened, devices, key, elsewhere):
    with websocket(opened, elsewhere, opened.origin, Cookie=key) as stream:
        assert stream.ping().wait(10)
        devices.revoke(devices.all()[0].id, now())
        with pytest.raises(ConnectionClosed) as closed:
            stream.recv(20)
        assert closed.value.rcvd.code == 1008


def test_every_answer_carries_the_headers_that_keep_it_in_its_place(server):
    for path in ("/", "/bench", "/bench/lists", "/bench/nothing", "/_stcore/health"):
        headers = server.ask("GET", path).headers
        assert headers["x-content-type-options"] == "nosniff", path
        assert headers["x-frame-options"] in ("DENY", "SAMEORIGIN"), path
        assert headers["referrer-policy"] == "same-origin", path
        if path.startswith("/bench"):
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy and "unsafe" not in policy
            assert "frame-ancestors 'none'" in policy
    refused = server.ask("POST", "/laps", "{}", Origin="http://elsewhere.example")
    assert refused.headers["x-content-type-options"] == "nosniff"


def test_no_answer_lets_another_site_read_it(server):
    for path in ("/bench", "/bench/lists", "/bench/assets/index.html"):
        answer = server.ask("GET", path, Origin="http://elsewhere.example")
        assert "access-control-allow-origin" not in answer.headers


def test_a_name_with_markup_in_it_is_kept_as_plain_text(opened, devices, code):
    opened.pair(code, name="<script>alert(1)</script>\n" + "x" * 100)
    name = devices.all()[0].name
    assert name == "<script>alert(1)</script> " + "x" * 14
    assert json.dumps(name)  # shown by the Laps screen as text: tests/bench/test_screens.py
