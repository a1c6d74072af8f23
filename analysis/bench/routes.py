"""The routes of the bench: its page, its lists, the laps that phones send, and pairing.

| route | what |
|---|---|
| GET /bench, /bench/assets/FILE, /bench/sw.js | the page and its files |
| GET /bench/lists | what the page offers to pick from |
| GET /bench/next?worker=NAME | what that person does next, in one sentence |
| POST /laps | laps, corrections and removals; answered when they are on the disk |
| POST /bench/put-away | finished pieces put into stock |
| POST /bench/batches | batches that a phone numbered, with their quantities |
| POST /bench/pair | a code in exchange for the cookie of a paired device |

Modules that need the store are loaded at the first request, so that the server starts at once.
"""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from starlette.convertors import PathConvertor, register_url_convertor
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from analysis.bench.guard import PAIR_PATH, Guard
from analysis.bench.pairing import cookie_header
from analysis.bench.service import Bench
from analysis.bench.visitor import COOKIE
from analysis.bench.writer import Full
from analysis.problems import Problem

if TYPE_CHECKING:  # with the store, which is loaded at the first request
    from analysis.bench.receiving import Taken
    from analysis.store.bench_devices import Device

MOST_BYTES = 2_000_000
MOST_PAIRING_BYTES = 2_000
MOST_NAME_LETTERS = 200
SHORT_BYTES = 20_000  # read in well under a millisecond, so not worth a thread
BODY_SECONDS = 30  # a body that comes more slowly than this is given up
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "media-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; "
    "manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
OWN_HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-cache",
}
Answer = Callable[[Request], Awaitable[Response]]
_log = logging.getLogger(__name__)


class Anything(PathConvertor):
    """The rest of a path, line breaks in it too: Starlette's own leaves such paths to others."""

    regex = "(?s:.*)"


register_url_convertor("anything", Anything())


class Stop(Exception):
    """The request ends here, with a status and a sentence."""

    def __init__(self, status: int, sentence: str, wait_seconds: int = 0):
        super().__init__(sentence)
        self.status, self.sentence, self.wait_seconds = status, sentence, wait_seconds


def routes(bench: Bench) -> list[Route]:
    """The routes, in front of Streamlit's own."""
    answers = _Answers(bench)
    return [
        _route("/bench", answers.page, "GET"),
        _route("/bench/sw.js", answers.service_worker, "GET"),
        _route("/bench/assets/{name:anything}", answers.asset, "GET"),
        _route("/bench/lists", answers.lists, "GET"),
        _route("/bench/next", answers.next_task, "GET"),
        _route("/bench/put-away", answers.put_away, "POST"),
        _route("/bench/batches", answers.batches, "POST"),
        _route(PAIR_PATH, answers.pair, "POST"),
        Route("/laps", _plainly(answers.laps), methods=["POST"]),
        Route("/bench/", _plainly(answers.lead_on), methods=["GET"]),
        _route("/bench/{rest:anything}", answers.nothing, "GET"),
    ]


def middleware(bench: Bench) -> list[Middleware]:
    """What stands in front of every route, Streamlit's included."""
    return [Middleware(Guard, bench=bench)]


def _route(path: str, answer: Answer, method: str) -> Route:
    """A route that answers one method and tells the others so."""

    async def respond(request: Request) -> Response:
        if request.method != method and (method, request.method) != ("GET", "HEAD"):
            raise Stop(405, f"{request.url.path} answers {method} only.")
        return await answer(request)

    every = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"]
    return Route(path, _plainly(respond), methods=every)


def _plainly(answer: Answer) -> Answer:
    """Answer, or say in JSON why not; our headers on either."""

    async def respond(request: Request) -> Response:
        try:
            response = await answer(request)
        except Stop as stop:
            response = JSONResponse({"error": stop.sentence}, stop.status)
            if stop.wait_seconds:
                response.headers["Retry-After"] = str(stop.wait_seconds)
        except Full:
            response = _later("The computer is busy writing.")
        except Problem as problem:
            response = _later(str(problem))
        except ClientDisconnect:
            response = Response(status_code=499)
        except Exception:
            _log.exception("%s %s", request.method, request.url.path)
            response = _later("Something went wrong on the computer; its log says what.", 500)
        for name, value in OWN_HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    return respond


def _later(sentence: str, status: int = 503) -> JSONResponse:
    return JSONResponse({"error": sentence}, status, headers={"Retry-After": "2"})


class _Answers:
    """One method a route."""

    def __init__(self, bench: Bench):
        self.bench = bench

    async def page(self, request: Request) -> Response:
        """The bench page."""
        return self._file(request, "index.html")

    async def asset(self, request: Request) -> Response:
        """One of the page's files."""
        return self._file(request, request.path_params["name"])

    async def service_worker(self, request: Request) -> Response:
        """The script that opens the page without a network, allowed for the page alone."""
        response = self._file(request, "sw.js")
        response.headers["Service-Worker-Allowed"] = "/bench"
        return response

    async def lead_on(self, request: Request) -> Response:
        """/bench/ is /bench; with a line break behind it, which a route also takes, it is not."""
        if request.scope["path"] != "/bench/":
            return await self.nothing(request)
        return RedirectResponse("/bench", 308)

    async def nothing(self, request: Request) -> Response:
        """What no other route answers."""
        raise Stop(404, "There is nothing of that name here.")

    def _file(self, request: Request, name: str) -> Response:
        asset = self.bench.assets.get(name)
        if asset is None:
            raise Stop(404, "There is no file of that name here.")
        headers = {"ETag": asset.etag}
        if asset.etag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(asset.body, headers=headers | {"Content-Type": asset.content_type})

    async def lists(self, request: Request) -> Response:
        """The lists as they are; made in a thread, since the store may be large."""
        answer = await asyncio.to_thread(lambda: self.bench.lists.now())
        return Response(answer, media_type="application/json")

    async def next_task(self, request: Request) -> Response:
        """One person's next task; planned in a thread, and kept for a minute."""
        worker = request.query_params.get("worker", "")[:MOST_NAME_LETTERS]
        moment = datetime.now(UTC)
        answer = await asyncio.to_thread(lambda: self.bench.next_task.answer(worker, moment))
        if answer is None:
            return _later("The next task is being planned for somebody else.")
        return Response(answer, media_type="application/json")

    async def laps(self, request: Request) -> Response:
        """Take the good laps of a body, say which are on the disk and why others are not."""
        return await self._take("laps", request)

    async def put_away(self, request: Request) -> Response:
        """Take finished pieces put into stock, each id once."""
        return await self._take("put_away", request)

    async def batches(self, request: Request) -> Response:
        """Take batches that the phone numbered, each with its quantities."""
        return await self._take("batches", request)

    async def _take(self, kind: str, request: Request) -> Response:
        received_at = _now()
        self._throttle(request)
        body = await _json_body(request, MOST_BYTES)
        taken = await self._read(kind, body, received_at, request.scope["workshop_device"])
        if taken.delivery.entries:
            await self.bench.writer.put((kind, taken.delivery))
        return _json(taken.answer())

    async def _read(self, kind: str, body: bytes, received_at: int, device: Device | None) -> Taken:
        """Read a body: a short one at once, a long one in a thread."""
        from analysis.bench.posted import Malformed
        from analysis.bench.receiving import read_delivery

        try:
            if len(body) < SHORT_BYTES:
                return read_delivery(kind, body, received_at, device)
            return await asyncio.to_thread(read_delivery, kind, body, received_at, device)
        except Malformed as problem:
            raise Stop(400, str(problem)) from None

    def _throttle(self, request: Request) -> None:
        device = request.scope["workshop_device"]
        throttle = self.bench.senders if device else self.bench.this_computer
        wait = throttle.wait_seconds(device.id if device else "", time.monotonic())
        if wait:
            raise Stop(429, "Too many requests; the laps stay on the phone until later.", wait)

    async def pair(self, request: Request) -> Response:
        """Exchange a code for the cookie of a paired device."""
        visitor = request.scope["workshop_visitor"]
        wait = self.bench.pairings.wait_seconds(visitor.neighbourhood, time.monotonic())
        if wait:
            raise Stop(429, f"Too many tries; wait {wait} seconds.", wait)
        try:
            asked = json.loads(await _json_body(request, MOST_PAIRING_BYTES))
            code, name = asked["code"], asked.get("name") or ""
            if not (isinstance(code, str) and isinstance(name, str)):
                raise TypeError
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            raise Stop(400, "Send a code and a name, both text.") from None
        key = await asyncio.to_thread(lambda: self.bench.devices.pair(code, name, _now()))
        if key is None:
            raise Stop(403, "This code is not known, was used already, or is older than five "
                            "minutes. Show a new one on the Laps screen.")  # fmt: skip
        self.bench.pairings.give_back(visitor.neighbourhood)  # only wrong codes count as tries
        cookie = cookie_header(COOKIE, key, secure=request.url.scheme == "https")
        return JSONResponse({"paired": True}, headers={"Set-Cookie": cookie})


def _now() -> int:
    return time.time_ns() // 1000


def _json(answer: dict) -> Response:
    body = json.dumps(answer, ensure_ascii=False, separators=(",", ":"))
    return Response(body.encode(), media_type="application/json")


async def _json_body(request: Request, most_bytes: int) -> bytes:
    """The whole body, if it is JSON by its type, not too long, and does not dawdle."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Stop(415, "Send Content-Type: application/json.")
    length = request.headers.get("content-length", "")
    too_long = Stop(413, f"The body is longer than {most_bytes} bytes; send fewer laps at once.")
    if length.isdigit() and int(length) > most_bytes:
        raise too_long
    parts, size = [], 0
    try:
        async with asyncio.timeout(BODY_SECONDS):
            async for part in request.stream():
                size += len(part)
                if size > most_bytes:
                    raise too_long
                parts.append(part)
    except TimeoutError:
        raise Stop(408, "The body took too long to arrive.") from None
    return b"".join(parts)
