"""A real server process on a port of its own, and plain HTTP requests to it from any address.

Every address of 127.0.0.0/8 reaches this computer, but the program takes only 127.0.0.1 and ::1
for it. So a request sent from 127.1.0.2 to a server that listens on 0.0.0.0 is, to the server, one
from another machine, over a real connection.
"""

import http.client
import itertools
import json
import os
import signal
import socket
import subprocess
import sys
import time
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).parents[2]
HERE = "127.0.0.1"
PAGE = {"Accept": "text/html"}


@dataclass(frozen=True)
class Answer:
    """A response read to its end."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self):
        return json.loads(self.body)


class Server:
    """`streamlit run app.py` with a store in a folder; can be killed and started again."""

    scheme = "http"
    script: Path | str = "app.py"

    def __init__(self, folder: Path, *options: str, **environment: str):
        self.folder = folder
        self.store = folder / "workshop.sqlite"
        self.options = options
        self.port = free_port()
        self.started = False
        self.environment = os.environ | {
            "HOME": str(folder),
            "WORKSHOP_STORE": f"sqlite:///{self.store}",
            "WORKSHOP_DEMO_FOLDER": str(folder / "demo"),
        } | environment  # fmt: skip
        self.environment.pop("WORKSHOP_OPEN", None)
        self.environment |= environment

    @property
    def origin(self) -> str:
        return f"{self.scheme}://{HERE}:{self.port}"

    def start(self) -> "Server":
        """Start it; the first time on another port where somebody took this one meanwhile."""
        for _ in range(1 if self.started else 3):
            self._launch()
            if self._is_healthy():
                self.started = True
                return self
            self.port = free_port()
        raise RuntimeError((self.folder / "server.log").read_text()[-2000:])

    def _launch(self) -> None:
        command = [sys.executable, "-m", "streamlit", "run", str(self.script)]
        command += ["--server.headless", "true", "--server.port", str(self.port), *self.options]
        with open(self.folder / "server.log", "a") as log:
            self.process = subprocess.Popen(
                command, cwd=ROOT, env=self.environment, stdout=log, stderr=subprocess.STDOUT
            )

    def _is_healthy(self, patience_seconds: float = 90) -> bool:
        """Wait until it answers; False where it has ended instead."""
        deadline = time.monotonic() + patience_seconds
        while time.monotonic() < deadline:
            if self.process.poll() is not None:
                return False
            try:
                self.ask("GET", "/_stcore/health")
                return True
            except (OSError, http.client.HTTPException):  # a port nobody listens at yet may be
                # given to the one who asks, who then hears the question itself for an answer
                time.sleep(0.05)  # between two questions to a process that is still starting
        raise TimeoutError(self.origin)

    def connect(self, source: str) -> http.client.HTTPConnection:
        return http.client.HTTPConnection(HERE, self.port, timeout=90, source_address=(source, 0))

    def kill(self) -> None:
        """End it as a power cut does: nothing is tidied up."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=20)

    def ask(
        self, method: str, path: str, body: bytes | str | None = None, source: str = HERE,
        **headers: str | None,
    ) -> Answer:  # fmt: skip
        """One request from `source`; headers by name with _ for -, None leaves one out."""
        sent = {"Host": f"{HERE}:{self.port}"}
        if method not in ("GET", "HEAD"):
            sent |= {"Origin": self.origin, "Content-Type": "application/json"}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = self.connect(source)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            body = body.encode() if isinstance(body, str) else body
            if body is not None and "Transfer-Encoding" not in sent:
                sent.setdefault("Content-Length", str(len(body)))
            for name, value in sent.items():
                if value is not None:
                    connection.putheader(name, value)
            connection.endheaders(body)
            response = connection.getresponse()
            found = {name.lower(): value for name, value in response.getheaders()}
            return Answer(response.status, found, response.read())
        finally:
            connection.close()

    def post_laps(self, *laps: dict, **more) -> Answer:
        return self.ask("POST", "/laps", body_of(*laps), **more)

    def pair(self, code: str, name: str = "phone", source: str | None = None, **more) -> Answer:
        body = json.dumps({"code": code, "name": name})
        return self.ask("POST", "/bench/pair", body, source or another_machine(), **more)


_machines = itertools.count(2)


def another_machine() -> str:
    """An address that the server takes for another machine's, new each time."""
    number = next(_machines)
    return f"127.1.{number // 250}.{number % 250 + 2}"


def lap(**changes) -> dict:
    """A lap as the page sends it, with an id of its own."""
    return {
        "lap_id": str(uuid.uuid4()), "revision": 0, "removed": False,
        "started_at": "2026-03-02T09:15:00+01:00", "seconds": 61.25, "worker": "maker",
        "product": "pocket notebook", "operation": "sew", "variant": "linen", "batch": "012",
        "activity": "operation", "units": 1, "rework_units": 0, "scrap_units": 0, "cause": "",
        "cause_operation": "", "rating": 100, "note": "", "flags": [],
    } | changes  # fmt: skip


def body_of(*laps: dict, **changes) -> str:
    body = {"device": "phone-0001", "sent_at": at_clock(), "laps": list(laps)}
    return json.dumps(body | changes)


def at_clock(**off) -> str:
    """The time by a phone's clock that is so far from ours."""
    return (datetime.now(UTC) + timedelta(**off)).isoformat()


def key_in(answer: Answer) -> str:
    """The cookie that a pairing gave, as the phone sends it back."""
    return answer.headers["set-cookie"].partition(";")[0]


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        return probe.getsockname()[1]
