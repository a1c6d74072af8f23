"""Print the benchmark table: `python -m tests.benchmarks [NAME ...]`, as Markdown.

Every ratio is of two figures measured in this one run on this one machine; NAME picks some of
the bench_*.py files (for example `learning`).
"""

import importlib
import os
import platform
import sys
from pathlib import Path

from tests.benchmarks.rows import Row

WHEN_NAMED = {"bench_ten_million", "bench_past_one_machine"}  # minutes, gigabytes, other programs
HEADER = "| what | reference | ours | ratio | asked | met |\n|---|---|---|---|---|---|"


def main(names: list[str]) -> int:
    found = sorted(path.stem for path in Path(__file__).parent.glob("bench_*.py"))
    chosen = [name for name in found if name.removeprefix("bench_") in names] or [
        name for name in found if not names and name not in WHEN_NAMED
    ]
    print(f"{_machine()}\n\n{HEADER}")
    missed = 0
    for name in chosen:
        print(f"{name} ...", file=sys.stderr, flush=True)
        for row in importlib.import_module(f"tests.benchmarks.{name}").rows():
            print(_line(row), flush=True)
            missed += not row.met
    return 1 if missed else 0


def _machine() -> str:
    cores = os.cpu_count()
    return (
        f"{platform.machine()}, {cores} cores, {platform.system()}, Python {sys.version.split()[0]}"
    )


def _line(row: Row) -> str:
    reference = "" if row.reference is None else _figure(row.reference, row.unit)
    ratio = "" if row.ratio is None else f"{row.ratio:.3g}x"
    name = f"{row.name} ({row.note})" if row.note else row.name
    met = "yes" if row.met else "**no**"
    return (
        f"| {name} | {reference} | {_figure(row.ours, row.unit)} | {ratio} | {row.target} | {met} |"
    )


def _figure(value: float, unit: str) -> str:
    if unit == "s" and value < 1:
        return f"{1000 * value:.3g} ms"
    return f"{value:.3g} {unit}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
