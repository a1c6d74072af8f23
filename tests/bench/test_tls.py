"""With a certificate (Streamlit's own settings) the same doors stand, and the cookie is Secure.

certificate.pem holds a key and a certificate made for this test by
`openssl req -x509 -newkey ec -nodes -days 36500 -addext subjectAltName=IP:127.0.0.1,DNS:localhost`.
"""

import http.client
import json
import ssl

import pytest

from analysis.store.bench_devices import Devices
from analysis.store.store import open_store
from tests.bench.conftest import now
from tests.bench.serving import HERE, ROOT, Server, another_machine, body_of, lap

CERTIFICATE = ROOT / "tests" / "bench" / "certificate.pem"


class SafeServer(Server):
    scheme = "https"

    def connect(self, source: str) -> http.client.HTTPConnection:
        trusted = ssl.create_default_context(cafile=CERTIFICATE)
        return http.client.HTTPSConnection(HERE, self.port, timeout=30, context=trusted,
                                           source_address=(source, 0))  # fmt: skip


@pytest.fixture(scope="module")
def safe(tmp_path_factory):
    options = ("--server.address", "0.0.0.0", "--server.sslCertFile", str(CERTIFICATE),
               "--server.sslKeyFile", str(CERTIFICATE))  # fmt: skip
    running = SafeServer(tmp_path_factory.mktemp("safe"), *options, WORKSHOP_OPEN="1").start()
    yield running
    running.stop()


def test_a_phone_pairs_and_sends_over_https_with_a_cookie_that_never_travels_without(safe):
    code = Devices(open_store(f"sqlite:///{safe.store}").engine).new_code(now())
    source = another_machine()
    assert safe.ask("GET", "/bench/lists", source=source).status == 401
    paired = safe.pair(code, source=source)
    cookie = paired.headers["set-cookie"]
    assert cookie.endswith("; Secure") and "HttpOnly" in cookie and "SameSite=Strict" in cookie
    key = cookie.partition(";")[0]
    sent = safe.ask("POST", "/laps", body_of(lap()), source=source, Cookie=key)
    assert len(json.loads(sent.body)["acknowledged"]) == 1


def test_a_page_without_https_is_a_foreign_page(safe):
    answer = safe.ask("POST", "/laps", body_of(lap()), Origin=f"http://{HERE}:{safe.port}")
    assert answer.status == 403
