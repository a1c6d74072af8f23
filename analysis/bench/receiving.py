"""What one request brought: the entries that can be recorded, and those that go back."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from analysis.bench.posted import Refused, check_lap, check_put_away, read_body
from analysis.store.bench import Delivery
from analysis.store.bench_stock import StockDelivery


@dataclass(frozen=True)
class Taken:
    """The laps of a body: those to record, and the refusals to send back."""

    delivery: Delivery
    refused: list[dict]

    def answer(self) -> dict:
        """What the phone is told once the laps are on the disk."""
        one = self.delivery
        return {
            "server_time": iso(one.received_at),
            "clock_difference_seconds": round(one.clock_difference / 1e6, 3),
            "clock_corrected": one.shift != 0,
            "acknowledged": [{"lap_id": lap.lap_id, "revision": lap.revision} for lap in one.laps],
            "refused": self.refused,
        }


@dataclass(frozen=True)
class TakenPutAways:
    """The put-aways of a body: those to record, and the refusals to send back."""

    delivery: StockDelivery
    refused: list[dict]

    def answer(self) -> dict:
        """What the phone is told once they are on the disk."""
        return {
            "server_time": iso(self.delivery.received_at),
            "acknowledged": [{"id": entry.id} for entry in self.delivery.entries],
            "refused": self.refused,
        }


def read_laps(body: bytes, received_at: int, device) -> Taken:
    """The laps of a body that came at `received_at` (microseconds, UTC) from a paired device or
    this computer (None). Raises Malformed."""
    read = read_body(body, of="laps")
    good, refused = _sorted_out(read.entries, check_lap, ("lap_id", "revision"))
    delivery = Delivery(read.device, read.sent_at, received_at, tuple(good), *_who(device))
    return Taken(delivery, refused)


def read_put_aways(body: bytes, received_at: int, device) -> TakenPutAways:
    """The put-aways of a body, as `read_laps`."""
    read = read_body(body, of="put_away")
    good, refused = _sorted_out(read.entries, check_put_away, ("id",))
    delivery = StockDelivery(read.device, read.sent_at, received_at, tuple(good), *_who(device))
    return TakenPutAways(delivery, refused)


def _who(device) -> tuple[str, str]:
    return (device.id, device.name) if device else ("", "")


def _sorted_out(entries: list, check: Callable, names: tuple[str, ...]) -> tuple[list, list[dict]]:
    """The entries that pass, and for the others where they stood, what they were and why not."""
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
