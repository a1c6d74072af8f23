"""A page and a phone do not wait long for their turn while something is worked out beside them.

Python lets one thread run at a time, and the one that runs keeps its turn for 5 ms where another
asks for it. A page hands its turn over at each of its hundreds of short calls into Arrow, and while
another thread was busy without a pause it waited those 5 ms each time: Order of work, with a lap
corrected, took 9 to 15 s then and takes 3.7 s (1.2 s alone; 2 cores, 2026-11-30). Two
busy threads came to their end as soon as before.
"""

import sys

TURN_SECONDS = 0.0005


def take_short_turns() -> None:
    """Let each of this process's threads keep its turn for so long at most."""
    sys.setswitchinterval(TURN_SECONDS)
