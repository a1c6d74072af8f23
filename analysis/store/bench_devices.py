"""Devices that may come in: paired with a code used once, known by a token, revocable one by one.

Codes and tokens are random and long (about 78 and 256 bits), so a plain SHA-256 is what they are
kept as: there is no dictionary to try against it, and a slow hash would only slow each request.
What is in the store lets nobody in. Times are microseconds since 1970, UTC.
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass

import sqlalchemy as sa

from analysis.store.bench_tables import device, pairing_code
from analysis.store.connection import reading, writing

CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that is read as another
CODE_LENGTH = 16
MINUTE = 60 * 1_000_000
CODE_LASTS = 5 * MINUTE
SEEN_EVERY = 10 * MINUTE  # how exact "last seen" is, so that not every request writes
UNSEEN_LASTS = 90 * 24 * 60 * MINUTE
LONGEST_NAME = 40


@dataclass(frozen=True)
class Device:
    """One paired device; it may come in while it is neither revoked nor long unseen."""

    id: str
    name: str
    paired_at: int
    seen_at: int
    revoked_at: int | None

    def may_come_in(self, now: int) -> bool:
        """Whether it may at `now` (microseconds UTC)."""
        return self.revoked_at is None and now - self.seen_at < UNSEEN_LASTS


class Devices:
    """The paired devices of one store."""

    def __init__(self, engine: sa.Engine):
        self.engine = engine

    def new_code(self, now: int) -> str:
        """A code that pairs one device within 5 minutes; codes that have ended are forgotten."""
        code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        with writing(self.engine) as connection:
            connection.execute(sa.delete(pairing_code).where(pairing_code.c.ends_at <= now))
            connection.execute(
                sa.insert(pairing_code).values(code_hash=_hash(code), ends_at=now + CODE_LASTS)
            )
        return code

    def pair(self, code: str, name: str, now: int) -> str | None:
        """Use a code up at `now` (microseconds UTC): the new device's key, or None where the code
        is not good (any more)."""
        key_id, token = secrets.token_hex(8), secrets.token_urlsafe(32)
        good = sa.and_(
            pairing_code.c.code_hash == _hash(_as_made(code)), pairing_code.c.ends_at > now
        )
        with writing(self.engine) as connection:
            if connection.execute(sa.delete(pairing_code).where(good)).rowcount != 1:
                return None
            connection.execute(
                sa.insert(device).values(
                    id=key_id, name=_name(name), token_hash=_hash(token), paired_at=now, seen_at=now
                )
            )
        return f"{key_id}.{token}"

    def known_by(self, key: str, now: int) -> Device | None:
        """The device that holds this key, if it may come in at `now` (microseconds UTC)."""
        key_id, _, token = key.partition(".")
        with reading(self.engine) as connection:
            row = connection.execute(sa.select(device).where(device.c.id == key_id)).first()
        kept = row.token_hash if row else _hash("")
        if not hmac.compare_digest(kept, _hash(token)) or row is None:
            return None
        known = _device(row)
        if not known.may_come_in(now):
            return None
        if now - known.seen_at > SEEN_EVERY:
            self._seen(key_id, now)
        return known

    def all(self) -> list[Device]:
        """Every device ever paired, the newest first."""
        query = sa.select(device).order_by(device.c.paired_at.desc())
        with reading(self.engine) as connection:
            return [_device(row) for row in connection.execute(query)]

    def revoke(self, device_id: str, now: int) -> None:
        """Shut one device out from `now` (microseconds UTC) on; it must be paired anew to come
        in."""
        still_in = (device.c.id == device_id) & device.c.revoked_at.is_(None)
        with writing(self.engine) as connection:
            connection.execute(sa.update(device).where(still_in).values(revoked_at=now))

    def _seen(self, device_id: str, now: int) -> None:
        with writing(self.engine) as connection:
            connection.execute(
                sa.update(device).where(device.c.id == device_id).values(seen_at=now)
            )


def _device(row: sa.Row) -> Device:
    return Device(row.id, row.name, row.paired_at, row.seen_at, row.revoked_at)


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _as_made(code: str) -> str:
    """A code as it was made, however it was typed: hyphens, spaces, small letters."""
    return "".join(letter for letter in code.upper() if letter in CODE_LETTERS)


def _name(name: str) -> str:
    printable = "".join(letter if letter.isprintable() else " " for letter in name)
    return " ".join(printable.split())[:LONGEST_NAME] or "phone"
