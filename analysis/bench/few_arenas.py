"""The server's memory levels off: few heaps for its threads to share.

glibc gives threads heaps of their own, eight for each core, and keeps what is freed in each of
them. Streamlit draws a page in a new thread each time, so that all heaps came to hold what one
drawing needs at its height. Few are enough, as Python lets one thread at a time do nearly all of
the allocating. With glibc's M_ARENA_MAX (malloc.h; mallopt(3)) no more are made than there are
when it is set: the server's start has made four or five by then.
"""

import ctypes
import os

M_ARENA_MAX, ARENAS = -8, 2


def share_heaps() -> None:
    """Set it, where the system's C library is glibc and MALLOC_ARENA_MAX does not say otherwise;
    to be called while the server has few threads."""
    if "MALLOC_ARENA_MAX" in os.environ or not _is_glibc():
        return
    ctypes.CDLL(None).mallopt(M_ARENA_MAX, ARENAS)


def _is_glibc() -> bool:
    try:
        return os.confstr("CS_GNU_LIBC_VERSION") is not None
    except (AttributeError, ValueError, OSError):  # Windows, macOS, another C library
        return False
