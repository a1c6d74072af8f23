"""How many examples a property is asked: all of them at a desk, an eighth of them on a clean clone,
which is asked the same ones each time."""

import os

FEWEST = 4
ON_A_CLONE = 8  # one in so many


def examples(count: int) -> int:
    return max(FEWEST, count // ON_A_CLONE) if os.environ.get("CI") else count
