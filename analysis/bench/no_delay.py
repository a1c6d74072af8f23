"""Answers leave the server at once instead of waiting some 40 ms for the receiver's ACK.

An answer is written in two pieces, headers and body. Where TCP_NODELAY is not set, the second
waits until the first is acknowledged (Nagle, RFC 896), which receivers put off (RFC 1122,
4.2.3.2). asyncio sets the option only on sockets that were opened with the protocol number of
TCP, and Streamlit 1.67 opens its listening socket without one. Connections take the option over
from the listening socket.
"""

import contextlib
import os
import socket
from collections.abc import Iterator


def answer_without_delay() -> None:
    """Set the option; to be called at the start of the server, when its sockets listen already."""
    for listening in _listening_sockets():
        with contextlib.suppress(OSError):
            listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _listening_sockets() -> Iterator[socket.socket]:
    """This process's listening TCP sockets, each through a handle that is closed again."""
    for number in _open_files():
        with contextlib.suppress(OSError), socket.socket(fileno=os.dup(number)) as one:
            is_tcp = one.family in (socket.AF_INET, socket.AF_INET6)
            if is_tcp and one.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN):
                yield one


def _open_files() -> list[int]:
    """Numbers of the open files, [] where the system does not list them."""
    try:
        return [int(name) for name in os.listdir("/dev/fd")]
    except OSError:
        return []
