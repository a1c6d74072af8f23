"""Where phones find this computer: its addresses in the local network, and the link in the code."""

import contextlib
import ipaddress
import os
import socket

NAMED = "WORKSHOP_ADDRESS"
# Addresses set aside for documentation (RFC 5737, RFC 3849): asked for a route, never reached.
_SOMEWHERE = ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1"))


def own_addresses() -> list[str]:
    """Names or addresses by which another machine may reach this one, the likeliest first."""
    named = os.environ.get(NAMED, "").strip()
    found = [named] if named else []
    for family, somewhere in _SOMEWHERE:
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((somewhere, 9))  # chooses a route; a datagram socket sends nothing yet
            found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None)]
    return [one for one in dict.fromkeys(found) if one == named or _is_for_others(one)]


def pairing_link(scheme: str, address: str, port: int, code: str) -> str:
    """The link of a pairing code; the code stands behind the #, which no request carries."""
    host = f"[{address}]" if ":" in address else address
    return f"{scheme}://{host}:{port}/bench#pair={code}"


def _is_for_others(address: str) -> bool:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    return not (found.is_loopback or found.is_link_local or found.is_unspecified)
