"""Names that may be slips of the pen: `card walet` beside `card wallet`, `Glue` beside `glue`.

Nothing is ever merged by itself: two names may be two things. They are only asked about.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import combinations, groupby

from analysis.records.figures import counted

COLUMNS = ("product", "variant", "operation", "worker")
MOST_NAMES = 150  # beyond, pairs take long, and only capitals and spaces are looked at
RARE_LAPS, RARE_SHARE = 2, 0.05  # of the laps of the usual name; common practice, no source
USUAL_TIMES = 5  # laps of the usual name for one of the rare; common practice, no source
NEAR = 0.8  # difflib's ratio of two words: about one letter in five; common practice, no source
SHORTEST = 4  # letters of a word in which one more, less or other may be a slip
ENDINGS = ("s", "es", "ing", "ed", "er")  # sew, sewing; trim, trimming; glue, gluing


@dataclass(frozen=True)
class Slip:
    """A name of a column, and the one that may have been meant: that with more laps, or the one
    that is `written` in the shop, the route or the stock book."""

    column: str
    name: str
    laps: int
    usual: str
    usual_laps: int
    written: bool = False

    def __str__(self) -> str:
        name, usual = (" ".join(one.split()) for one in (self.name, self.usual))
        return (
            f"{self.column} {name} ({counted(self.laps, 'lap')}): did you mean {usual} "
            f"({counted(self.usual_laps, 'lap')})?"
        )


def slips(
    column: str,
    names: Iterable[str],
    laps_of: Callable[[str], int],
    written: Collection[str] = (),
) -> list[Slip]:
    """Names of one column to be asked about, the usual name with most laps first.

    laps_of: how many laps a name has; asked only of names that are like another. Asked about are
    names equal but for capitals and spaces, and rarely used ones nearly another's. A name that is
    written down elsewhere (`written`) is never taken for a slip: a rename would leave it there.
    """
    found: dict[str, Slip] = {}
    for pair in _alike(sorted(name for name in set(names) if name)):
        if all(name in written for name in pair):
            continue
        # The same laps: the name that the alphabet has first is asked about.
        name, usual = sorted(pair, key=lambda one: (one in written, laps_of(one), one))
        asked = Slip(column, name, laps_of(name), usual, laps_of(usual), usual in written)
        if (same(*pair) or _is_rare(asked)) and (
            name not in found or _weight(found[name]) < _weight(asked)
        ):
            found[name] = asked
    return sorted(found.values(), key=lambda slip: (-slip.usual_laps, slip.name))


def _weight(slip: Slip) -> tuple[bool, int]:
    """Of several names that may have been meant, that with the most is asked about."""
    return slip.written, slip.usual_laps


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
    more = len(long) - len(short)
    if len(short) >= SHORTEST - 1 and _has_ending(short, long):
        return True
    if len(short) < SHORTEST or more > 1:  # fold, unfold; card, cardboard: two things
        return False
    return long.startswith(short) or SequenceMatcher(None, short, long).ratio() >= NEAR


def _has_ending(short: str, long: str) -> bool:
    """Whether the longer word is the other with an ending, whose last letter may be doubled before
    it (trim, trimming), or its e dropped (glue, gluing)."""
    begun = (short, short + short[-1], short.removesuffix("e"))
    return any(long == begin + ending for begin in begun for ending in ENDINGS)


def _is_rare(asked: Slip) -> bool:
    few, many = sorted((asked.laps, asked.usual_laps))
    return few <= max(RARE_LAPS, RARE_SHARE * many) and many >= USUAL_TIMES * few
