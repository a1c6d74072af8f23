"""Who asks: read from the connection and the headers of one request, before anything is believed.

"This computer" is a connection from a loopback address that no proxy has passed on. Addresses
that a header claims (X-Forwarded-For and the like) only ever take that away, never grant it.
"""

import ipaddress
import re
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.types import Scope

LOOPBACK = frozenset({"127.0.0.1", "::1", "::ffff:127.0.0.1"})
LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
PASSED_ON = frozenset({b"x-forwarded-for", b"x-forwarded-host", b"x-real-ip", b"forwarded", b"via"})
READING = frozenset({"GET", "HEAD", "OPTIONS"})
COOKIE = "workshop_device"
_KEY = re.compile(r"[0-9a-f]{16}\.[0-9A-Za-z_-]{43}")  # as store/bench_devices.py makes them


@dataclass(frozen=True)
class Visitor:
    """One request: where it comes from, what it calls this server, what it wants to do."""

    address: str
    is_this_computer: bool
    host: str
    origin: str
    own_origin: str
    writes: bool
    wants_page: bool
    method: str
    path: str
    key: str

    @property
    def names_this_computer(self) -> bool:
        """Whether the Host header is a name that only this computer has.

        A page elsewhere whose name was made to point at 127.0.0.1 (DNS rebinding) still sends
        its own name.
        """
        return _name_of(self.host) in LOOPBACK_NAMES

    @property
    def comes_from_own_page(self) -> bool:
        """Whether the Origin is this server's own; browsers send one with all that writes."""
        return bool(self.host) and self.origin == self.own_origin

    @property
    def neighbourhood(self) -> str:
        """The address to count attempts by: an IPv6 host has a whole /64 to choose from."""
        try:
            address = ipaddress.ip_address(self.address)
        except ValueError:
            return self.address
        if address.version == 4:
            return str(address)
        return str(address.ipv4_mapped or ipaddress.ip_network((address, 64), strict=False))


def read_visitor(scope: Scope) -> Visitor:
    """The visitor of an ASGI connection scope (http or websocket)."""
    headers = dict(scope["headers"])
    address = (scope.get("client") or ("", 0))[0]
    host = headers.get(b"host", b"").decode("latin-1").lower()
    scheme = {"ws": "http", "wss": "https"}.get(scope["scheme"], scope["scheme"])
    method = scope.get("method", "WEBSOCKET")
    return Visitor(
        address=address,
        is_this_computer=address in LOOPBACK and PASSED_ON.isdisjoint(headers),
        host=host,
        origin=headers.get(b"origin", b"").decode("latin-1").lower(),
        own_origin=f"{scheme}://{host}",
        writes=method not in READING,
        wants_page=method == "GET" and b"text/html" in headers.get(b"accept", b""),
        method=method,
        path=scope["path"],
        key=_key(headers.get(b"cookie", b"")),
    )


def _name_of(host: str) -> str:
    """The name in a Host header, the port taken off."""
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdigit() else host


def _key(cookies: bytes) -> str:
    """The key of a paired device, "" where the request brings none."""
    if COOKIE.encode() not in cookies:
        return ""
    jar = SimpleCookie()
    try:
        jar.load(cookies.decode("latin-1"))
    except CookieError:
        return ""
    key = jar[COOKIE].value if COOKIE in jar else ""
    return key if _KEY.fullmatch(key) else ""
