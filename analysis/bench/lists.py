"""What the bench page offers to pick from."""

import json
import threading


class Lists:
    """The lists as JSON, made anew when the store has changed."""

    def __init__(self, store):
        self.store = store
        self._lock = threading.Lock()
        self._made: tuple[int, bytes] = (-1, b"")

    def now(self) -> bytes:
        shop = self.store.shop()
        return json.dumps({"shop": shop.name, "currency": shop.currency,
                           "timezone": shop.timezone, "version": self.store.version(),
                           "workers": [w.name for w in shop.workers] or ["maker"], "products": [],
                           "causes": [], "batches": [], "next_batch": "001"}).encode()
