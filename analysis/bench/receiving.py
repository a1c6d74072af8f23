"""What one request brought: the entries that can be recorded, and those that go back."""

from dataclasses import dataclass
from datetime import UTC, datetime

from analysis.bench.posted import Refused, check_batch, check_lap, check_put_away, read_body
from analysis.store.bench import Delivery
from analysis.store.bench_devices import Device

KINDS = {  # name of the list in the body: what checks an entry, and what names it
    "laps": (check_lap, ("lap_id", "revision")),
    "put_away": (check_put_away, ("id",)),
    "batches": (check_batch, ("id",)),
}


@dataclass(frozen=True)
class Taken:
    """The entries of a body: those to record, and the refusals to send back."""

    kind: str
    delivery: Delivery
    refused: list[dict]

    def answer(self) -> dict:
        """What the phone is told once the good entries are on the disk."""
        one, names = self.delivery, KINDS[self.kind][1]
        return {
            "server_time": iso(one.received_at),
            "clock_difference_seconds": round(one.clock_difference / 1e6, 3),
            "clock_corrected": one.shift != 0,
            "acknowledged": [{name: getattr(entry, name) for name in names}
                             for entry in one.entries],
            "refused": self.refused,
        }  # fmt: skip


def read_delivery(kind: str, body: bytes, received_at: int, device: Device | None = None) -> Taken:
    """The entries of a body that came at `received_at` (microseconds, UTC) from a paired device,
    or from this computer (None). Raises Malformed."""
    read = read_body(body, of=kind)
    good, refused = _sorted_out(kind, read.entries)
    who = (device.id, device.name) if device else ("", "")
    return Taken(kind, Delivery(read.device, read.sent_at, received_at, tuple(good), *who), refused)


def _sorted_out(kind: str, entries: list) -> tuple[list, list[dict]]:
    """The entries that pass, and for the others where they stood, what they were and why not."""
    check, names = KINDS[kind]
    good, refused = [], []
    for index, entry in enumerate(entries):
        try:
            good.append(check(entry))
        except Refused as fault:
            named = {name: _echo(entry, name) for name in names}
            refused.append({"index": index} | named | fault.as_json())
    return good, refused


def _echo(entry: object, name: str) -> object:
    """A short value of an entry as it was sent, so that the phone finds it again; else null."""
    value = entry.get(name) if isinstance(entry, dict) else None
    if isinstance(value, str):
        return value if len(value) <= 64 and value.isprintable() else None
    return value if isinstance(value, int) and abs(value) < 2**53 else None


def iso(micros: int) -> str:
    """A time of the server, for people and phones."""
    return datetime.fromtimestamp(micros / 1e6, UTC).isoformat(timespec="milliseconds")
