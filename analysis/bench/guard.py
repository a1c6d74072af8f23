"""Who may come in: every request to the whole program passes here first, websockets included.

| from | may |
|---|---|
| this computer, under its own name | everything |
| another machine, the network not opened | nothing |
| another machine, opened, not paired | ask for a pairing with a code |
| another machine, opened, paired | everything, until the pairing is revoked |

Whoever writes, or opens a websocket, must come from a page of this server (Origin). The reasons
and what this does not keep out stand in DEVELOPERS.md, "Who may come in".
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analysis.bench.pairing import PAGE_POLICY, pairing_page
from analysis.bench.throttle import Throttle
from analysis.bench.visitor import Visitor, read_visitor
from analysis.problems import Problem

if TYPE_CHECKING:
    from analysis.bench.service import Bench
    from analysis.store.bench_devices import Device

PAIR_PATH = "/bench/pair"
LOOK_AGAIN_SECONDS = 2  # how long an open websocket may outlive a revoked pairing
REPEAT_SECONDS = 60  # a store that cannot be read is asked for many times a second
NOT_ALLOWED, TRY_AGAIN_LATER = 1008, 1013  # RFC 6455 7.4.1 and IANA's registry of close codes
SAFE_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"SAMEORIGIN"),
)
NOT_OPEN = (
    "This program answers only the computer it runs on. To let phones in, its owner starts it "
    "with WORKSHOP_OPEN=1 (README.md, 'Phones in the workshop').\n"
)
NOT_PAIRED = "This device is not paired. Scan the code on the Laps screen of the computer."
NOT_READ = "The computer cannot read its store just now; its own screens and its log say why."
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Refusal:
    """Why a request goes no further, as a status and a sentence."""

    status: int
    sentence: str
    wait_seconds: int = 0


class Guard:
    """Pure ASGI middleware around everything the server answers."""

    def __init__(self, app: ASGIApp, bench: Bench):
        self.app = app
        self.bench = bench
        self.strangers = Throttle(burst=60, per_second=1)
        self._warn_again_at = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        visitor = read_visitor(scope)
        try:
            device, refusal = await self._judge(visitor)
        except Problem as problem:  # who is paired stands in the store; strangers are not told why
            self._warn(problem)
            device, refusal = None, Refusal(503, NOT_READ, 2)
        if refusal:
            await _refuse(refusal, visitor, scope, receive, send)
            return
        scope["workshop_visitor"], scope["workshop_device"] = visitor, device
        if scope["type"] == "http":
            await self.app(scope, receive, _with_safe_headers(send))
        elif device is None:
            await self.app(scope, receive, send)
        else:
            await self._while_paired(visitor, scope, receive, send)

    async def _judge(self, visitor: Visitor) -> tuple[Device | None, Refusal | None]:
        """(paired device or None, None), or (None, why not)."""
        device = None
        if visitor.is_this_computer:
            if not visitor.names_this_computer:
                return None, Refusal(421, f"This computer is not called {visitor.host[:80]!r}.\n")
        elif not self.bench.is_open:
            return None, Refusal(403, NOT_OPEN)
        else:
            device = await self._paired(visitor)
            if device is None and (refusal := self._stranger(visitor)):
                return None, refusal
        if visitor.writes and not visitor.comes_from_own_page:
            return None, Refusal(403, "Only this server's own pages may write here: the request's "
                                      f"Origin is not {visitor.own_origin[:80]!r}.\n")  # fmt: skip
        return device, None

    async def _paired(self, visitor: Visitor) -> Device | None:
        if not visitor.key:
            return None
        now = time.time_ns() // 1000
        return await asyncio.to_thread(self.bench.device_known_by, visitor.key, now)

    def _stranger(self, visitor: Visitor) -> Refusal | None:
        """What a device without a pairing is told; None where it comes to be paired."""
        wait = self.strangers.wait_seconds(visitor.neighbourhood, time.monotonic())
        if wait:
            return Refusal(429, "Too many requests from a device that is not paired.\n", wait)
        if visitor.method == "POST" and visitor.path == PAIR_PATH:
            return None
        return Refusal(401, NOT_PAIRED)

    def _warn(self, problem: Problem) -> None:
        """Why nobody is let in, once a minute however often it is met."""
        now = time.monotonic()
        if now >= self._warn_again_at:
            self._warn_again_at = now + REPEAT_SECONDS
            _log.warning("who is paired cannot be read: %s", problem)

    async def _why_ended(self, visitor: Visitor) -> int | None:
        """The code to close a websocket with; None while its device is paired. Where that cannot
        be read it is closed too, and asks again like every other request."""
        try:
            known = await self._paired(visitor)
        except Problem as problem:
            self._warn(problem)
            return TRY_AGAIN_LATER
        return None if known else NOT_ALLOWED

    async def _while_paired(
        self, visitor: Visitor, scope: Scope, receive: Receive, send: Send
    ) -> None:
        """Serve a websocket as long as its device is paired, then close it."""

        waiting: asyncio.Task | None = None

        async def receive_while_paired() -> Message:
            nonlocal waiting
            while True:
                waiting = waiting or asyncio.ensure_future(receive())
                await asyncio.wait({waiting}, timeout=LOOK_AGAIN_SECONDS)
                if code := await self._why_ended(visitor):
                    waiting.cancel()
                    with contextlib.suppress(Exception):  # the phone may have gone already
                        await send({"type": "websocket.close", "code": code})
                    return {"type": "websocket.disconnect", "code": code}
                if waiting.done():
                    message, waiting = waiting.result(), None
                    return message

        try:
            await self.app(scope, receive_while_paired, send)
        finally:
            if waiting is not None:
                waiting.cancel()


def _with_safe_headers(send: Send) -> Send:
    """Add the headers that every answer carries, where it does not say otherwise itself."""

    async def send_safely(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", ()))
            said = {name.lower() for name, _ in headers}
            headers += [header for header in SAFE_HEADERS if header[0] not in said]
            message = {**message, "headers": headers}
        await send(message)

    return send_safely


async def _refuse(
    refusal: Refusal, visitor: Visitor, scope: Scope, receive: Receive, send: Send
) -> None:
    if scope["type"] == "websocket":
        await receive()
        code = TRY_AGAIN_LATER if refusal.status == 503 else NOT_ALLOWED
        await send({"type": "websocket.close", "code": code})
        return
    response = _answer(refusal, visitor)
    if refusal.wait_seconds:
        response.headers["Retry-After"] = str(refusal.wait_seconds)
    response.headers["Cache-Control"] = "no-store"
    await response(scope, receive, _with_safe_headers(send))


def _answer(refusal: Refusal, visitor: Visitor) -> Response:
    if refusal.status == 401 and visitor.wants_page:
        headers = {"Content-Security-Policy": PAGE_POLICY}
        return HTMLResponse(pairing_page(), status_code=401, headers=headers)
    if refusal.status in (401, 503):
        return JSONResponse({"error": refusal.sentence}, status_code=refusal.status)
    return PlainTextResponse(refusal.sentence, status_code=refusal.status)
