"""The command line: `python -m analysis VERB …`, readable tables, or one JSON object with --json.

Exit status 0; 2 for input that cannot be used, with one line per fault on standard error.
"""

import argparse
import dataclasses
import json
import os
import sys
from collections.abc import Sequence

from analysis.problems import BadInput, Problem


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit status."""
    options = _parser().parse_args(arguments)
    try:
        answer, show = options.run(options)
        print(json.dumps(answer, allow_nan=False) if options.json else show(answer), flush=True)
    except Problem as problem:
        print(problem, file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader (head, less) has seen enough; keep Python from complaining as it closes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        reason = error.strerror or str(error)
        print(f"{error.filename or '(file)'}:0: (file): {reason}", file=sys.stderr)
        return 2
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m analysis", description=__doc__.split("\n")[0])
    verbs = parser.add_subparsers(metavar="VERB", required=True)

    verb = _verb(verbs, "study", _study, "time per operation, practice, quality, takt, cost, weeks")
    verb.add_argument("laps", metavar="LAPS.csv")
    verb.add_argument(
        "--routing", metavar="R.csv", help="operations, their order and planned times"
    )
    verb.add_argument("--shop", metavar="S.toml", help="hours, people, products, money")

    verb = _verb(verbs, "import", _import, "take a file of laps into the store")
    verb.add_argument("laps", metavar="FILE.csv")
    verb.add_argument("--store", metavar="URL", help="default: WORKSHOP_STORE, or your data folder")

    verb = _verb(verbs, "export", _export, "write the store's laps to a file")
    verb.add_argument("--store", metavar="URL", help="default: WORKSHOP_STORE, or your data folder")
    verb.add_argument("-o", "--output", metavar="FILE.csv", required=True)
    return parser


def _verb(verbs, name: str, run, help_text: str) -> argparse.ArgumentParser:
    verb = verbs.add_parser(name, help=help_text, description=help_text)
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.set_defaults(run=run)
    return verb


def _study(options):
    from analysis import tables
    from analysis.study.contract import as_contract
    from analysis.study.summary import study

    laps, routing, shop = _read_inputs(options)
    for notice in laps.notices:
        print(notice, file=sys.stderr)
    return as_contract(study(laps.frame, routing, shop)), tables.study_tables


def _read_inputs(options):
    """The laps, routing and shop of the options; the faults of all three files told together."""
    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing
    from analysis.records.shop import Shop, read_shop

    faulty: list[BadInput] = []

    def attempt(read, *where):
        try:
            return read(*where)
        except BadInput as problem:
            faulty.append(problem)
            return None

    shop = attempt(read_shop, options.shop) if options.shop else None
    routing = attempt(read_routing, options.routing) if options.routing else None
    laps = attempt(read_laps, options.laps, shop or Shop())
    if faulty:
        faults = [fault for problem in faulty for fault in problem.faults]
        raise BadInput(faults, sum(problem.count for problem in faulty))
    return laps, routing, shop


def _import(options):
    from analysis.records.laps import read_laps
    from analysis.store.store import open_store

    store = open_store(options.store)
    report = store.import_laps(read_laps(options.laps, store.shop()))
    return dataclasses.asdict(report), lambda _: str(report)


def _export(options):
    from analysis.store.store import open_store

    store = open_store(options.store)
    written = store.export_laps(options.output)
    answer = {"laps": written, "file": options.output}
    return answer, lambda answer: f"{answer['laps']} laps written to {answer['file']}"


if __name__ == "__main__":
    sys.exit(main())
