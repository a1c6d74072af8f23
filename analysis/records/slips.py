"""Names that may be slips of the pen: `card walet` beside `card wallet`, `Glue` beside `glue`.

Nothing is ever merged by itself: two names may be two things. They are only asked about.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import combinations, groupby

COLUMNS = ("product", "variant", "operation", "worker")
MOST_NAMES = 150  # beyond, pairs take long, and only capitals and spaces are looked at
RARE_LAPS, RARE_SHARE = 2, 0.05  # of the laps of the usual name; common practice, no source
USUAL_TIMES = 5  # laps of the usual name for one of the rare; common practice, no source
NEAR = 0.8  # difflib's ratio of two words: about one letter in five; common practice, no source
SHORTEST = 4  # letters of a word in which one more, less or other may be a slip
ENDINGS = re.compile(r"(s|es|ing|ed|er)")  # sew, sewing


@dataclass(frozen=True)
class Slip:
    """A name of a column with few laps, and the one with more that may have been meant."""

    column: str
    name: str
    laps: int
    usual: str
    usual_laps: int

    def __str__(self) -> str:
        name, usual = (" ".join(one.split()) for one in (self.name, self.usual))
        return (
            f"{self.column} {name} ({_laps(self.laps)}): did you mean {usual} "
            f"({_laps(self.usual_laps)})?"
        )


def slips(column: str, names: Iterable[str], laps_of: Callable[[str], int]) -> list[Slip]:
    """Names of one column to be asked about, the usual name with most laps first.

    laps_of: how many laps a name has; asked only of names that are like another. Asked about are
    names equal but for capitals and spaces, and rarely used ones nearly another's.
    """
    found: dict[str, Slip] = {}
    for one, other in _alike(sorted(name for name in set(names) if name)):
        laps, name = min((laps_of(one), one), (laps_of(other), other))
        usual = other if name == one else one
        asked = Slip(column, name, laps, usual, laps_of(usual))
        best = found.get(name)
        if (same(one, other) or _is_rare(asked)) and (
            best is None or best.usual_laps < asked.usual_laps
        ):
            found[name] = asked
    return sorted(found.values(), key=lambda slip: (-slip.usual_laps, slip.name))


def _alike(names: list[str]) -> Iterator[tuple[str, str]]:
    """Pairs of names that may be one."""
    if len(names) <= MOST_NAMES:
        yield from (pair for pair in combinations(names, 2) if same(*pair) or nearly(*pair))
        return
    for _, group in groupby(sorted(names, key=_bare), _bare):
        yield from combinations(group, 2)


def same(one: str, other: str) -> bool:
    """Whether two names are equal but for capitals and spaces."""
    return _bare(one) == _bare(other)


def _bare(name: str) -> str:
    return "".join(name.casefold().split())


def nearly(one: str, other: str) -> bool:
    """Whether two names differ in one word only, and in that by a letter or an ending.

    Names that differ in a number (size 38, size 40) are two names.
    """
    words, others = one.casefold().split(), other.casefold().split()
    if len(words) != len(others):
        return False
    differ = [pair for pair in zip(words, others, strict=True) if pair[0] != pair[1]]
    if len(differ) != 1 or any(char.isdigit() for word in differ[0] for char in word):
        return False
    short, long = sorted(differ[0], key=len)
    if len(short) >= SHORTEST - 1 and long.startswith(short):
        return bool(ENDINGS.fullmatch(long[len(short) :])) or len(short) >= SHORTEST
    return len(short) >= SHORTEST and SequenceMatcher(None, short, long).ratio() >= NEAR


def _is_rare(asked: Slip) -> bool:
    return asked.laps <= max(RARE_LAPS, RARE_SHARE * asked.usual_laps) and (
        asked.usual_laps >= USUAL_TIMES * asked.laps
    )


def _laps(count: int) -> str:
    return f"{count} lap" if count == 1 else f"{count} laps"
