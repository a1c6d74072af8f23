"""Work on several parts at a time: Arrow and NumPy let other threads run while they compute."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import pyarrow as pa

FEW = 20_000  # rows or bytes that are done with before threads would have started


def side_by_side(work: Callable, parts: Sequence, size: int) -> list:
    """What `work` makes of each part, in their order; a part holds so many rows or bytes."""
    if size <= FEW or len(parts) == 1:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(pa.cpu_count()) as threads:
        return list(threads.map(work, parts))
