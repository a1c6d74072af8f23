"""Pairing: the small page an unknown phone is shown, and exchanging a code for a cookie.

The code travels in the fragment of the address (#pair=…), which a browser keeps to itself: it is
in no request line, log or Referer. The page waits for a tap, so that an app which merely looks
at the address does not use the code up.
"""

import base64
import hashlib
from functools import cache
from pathlib import Path

PAGE = Path(__file__).parent / "pair.html"
COOKIE_SECONDS = 400 * 24 * 3600  # as long as browsers keep one; the store's own limits are shorter


@cache
def pairing_page() -> str:
    """The page's HTML, which needs nothing else from the server."""
    return PAGE.read_text("utf-8")


def _hash_of(tag: str) -> str:
    """The CSP source of the one inline script or style: its hash, so that no other runs."""
    inside = pairing_page().partition(f"<{tag}>")[2].partition(f"</{tag}>")[0]
    return "'sha256-" + base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode() + "'"


PAGE_POLICY = (
    f"default-src 'none'; script-src {_hash_of('script')}; style-src {_hash_of('style')}; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


def cookie_header(name: str, key: str, secure: bool) -> str:
    """The Set-Cookie of a paired device: no script reads it, no other site's page sends it."""
    return f"{name}={key}; Path=/; Max-Age={COOKIE_SECONDS}; HttpOnly; SameSite=Strict" + (
        "; Secure" if secure else ""
    )
