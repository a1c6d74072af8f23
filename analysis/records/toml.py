"""TOML as the shop and the scenario are written in: parsed once, each fault with its line."""

import re
import tomllib
from collections import Counter
from typing import overload

from analysis.problems import BadInput, Fault

Path = tuple[str, ...]  # of keys, down to a table or a value: ("workers", "maker")
MOST = 1e12  # of money or pieces, in any currency


def parsed(file: str, text: str, kind: str) -> dict:
    """The tables of a TOML text of some kind (`shop file`); BadInput where it is none."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        fault = _syntax_fault(file, str(error))
    except RecursionError:
        fault = Fault(file, 0, "", "has lists within lists too deep to read",
                      remedy=f"write one key = value a line in a {kind}")  # fmt: skip
    except ValueError:  # a number of thousands of digits, which Python does not convert
        long = re.search(r"\d[\d_]{4000,}", text)
        row = text.count("\n", 0, long.start()) + 1 if long else 0
        fault = Fault(file, row, "", "has a number too long to read",
                      long[0] if long else "", f"give at most {MOST:.0f}")  # fmt: skip
    raise BadInput([fault])


def _syntax_fault(file: str, message: str) -> Fault:
    where = re.search(r"line (\d+)", message)
    return Fault(
        file,
        int(where[1]) if where else 0,
        "",
        f"is not TOML: {message.split(' (at')[0].lower()}",
        remedy='write one key = value a line, text in "quotes"',
    )


class Reader:
    """Takes typed values out of parsed TOML and notes each fault with the line it stands on.

    A value that is wrong is noted in `faults`, and its default given, so that the rest is read too;
    nothing here raises.
    """

    def __init__(self, file: str, text: str, kind: str):
        self.file, self.lines = file, _lines_of_keys(text)
        self.faults: list[Fault] = []
        self.kind = kind

    def fault(self, path: Path, problem: str, value: object, remedy: str) -> None:
        """Note one fault, at the line of the path or of the nearest table above it; 0: of none."""
        row = next(
            (self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), 0
        )
        self.faults.append(
            Fault(self.file, row, ".".join(path), problem, _as_written(value), remedy)
        )

    def known(self, path: Path, table: dict, keys: tuple[str, ...]) -> None:
        """Note each key of a table that is none of `keys`."""
        for key in table:
            if key not in keys:
                self.fault(
                    path + (key,), f"is no key of the {self.kind}", key, "one of " + ", ".join(keys)
                )

    def table(self, path: Path, tables: dict, key: str, keys: tuple | None) -> dict:
        """The table under a key, empty where there is none; no keys but `keys` may stand in it."""
        value = tables.get(key, {})
        if not isinstance(value, dict):
            self.fault(
                path + (key,),
                "is not a table",
                value,
                f"write [{'.'.join(path + (key,))}] on a line of its own",
            )
            return {}
        if keys is not None:
            self.known(path + (key,), value, keys)
        return value

    def text(self, path: Path, table: dict, key: str, default: str) -> str:
        """A text that is not blank, trimmed; the default where there is none."""
        value = table.get(key, default)
        if isinstance(value, str) and value.strip():
            return value.strip()
        self.fault(path + (key,), "is not text", value, 'write it in "quotes"')
        return default

    @overload
    def amount(self, path: Path, table: dict, key: str, default: float) -> float: ...

    @overload
    def amount(
        self, path: Path, table: dict, key: str, default: float | None = None
    ) -> float | None: ...

    def amount(
        self, path: Path, table: dict, key: str, default: float | None = None
    ) -> float | None:
        """A number from 0 to MOST, in the unit of its key; the default where there is none."""
        value = table.get(key, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            self.fault(path + (key,), "is not a number", value, "write digits, without quotes")
        elif value < 0:
            self.fault(path + (key,), "is less than nothing", value, "give 0 or more")
        elif value > MOST:
            most = f"{MOST:.0f}"
            self.fault(path + (key,), f"is more than {most}", value, f"give at most {most}")
        else:
            return value
        return default

    @overload
    def whole(
        self, path: Path, table: dict, key: str, least: int, most: int, default: int,
        remedy: str = "",
    ) -> int: ...  # fmt: skip

    @overload
    def whole(
        self, path: Path, table: dict, key: str, least: int, most: int, default: None,
        remedy: str = "",
    ) -> int | None: ...  # fmt: skip

    def whole(
        self, path: Path, table: dict, key: str, least: int, most: int,
        default: int | None, remedy: str = "",
    ) -> int | None:  # fmt: skip
        """A whole number from least to most; the default where there is none or a wrong one."""
        value = table.get(key)
        if value is None:
            return default
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if number and least <= value <= most and value == int(value):
            return int(value)
        words = f"is not a whole number from {least} to {most}"
        self.fault(path + (key,), words, value, remedy or f"give {least} or more")
        return default

    @overload
    def below(self, path: Path, value: float, limit: float, default: float) -> float: ...

    @overload
    def below(
        self, path: Path, value: float | None, limit: float, default: float | None
    ) -> float | None: ...

    def below(
        self, path: Path, value: float | None, limit: float, default: float | None
    ) -> float | None:
        """The value, or None, where it is at most `limit`; else the default."""
        if value is None or value <= limit:
            return value
        self.fault(path, f"is more than {limit}", value, f"give at most {limit}")
        return default


def _as_written(value: object) -> str:
    """A value for the wording of a fault; what nests is only called by its kind, but for a range
    (and what was meant for one)."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        short = len(value) <= 3 and all(type(part) in (int, float) for part in value)
        return f"[{', '.join(map(_as_written, value))}]" if short else "a list"
    try:
        return str(value)
    except ValueError:  # more digits than Python writes
        return f"{value:#x}"


def _lines_of_keys(text: str) -> dict[Path, int]:
    """The line of each table and key of a TOML text, as far as line-wise reading can tell.

    The second [[table]] of a name goes by `table 2`, as `numbered` says it.
    """
    lines: dict[Path, int] = {}
    table: Path = ()
    heads: Counter[Path] = Counter()
    for number, line in enumerate(text.splitlines(), 1):
        line = line.strip()
        try:
            if line.startswith("["):
                table = _only_path(tomllib.loads(line))
                if line.startswith("[["):
                    heads[table] += 1
                    table = table[:-1] + (numbered(table[-1], heads[table]),)
                lines.setdefault(table, number)
            elif "=" in line and not line.startswith("#"):
                key = _only_path(tomllib.loads(line.split("=")[0] + "= 0"))
                lines.setdefault(table + key, number)
        except (ValueError, RecursionError):  # a line within a text of several lines
            continue
    return lines


def numbered(name: str, place: int) -> str:
    """The name of the first, second, … table of a list of tables: `orders`, `orders 2`."""
    return name if place == 1 else f"{name} {place}"


def _only_path(nested: object) -> Path:
    path: Path = ()
    while isinstance(nested, dict) and nested:
        key = next(iter(nested))
        path, nested = path + (key,), nested[key]
    return path
