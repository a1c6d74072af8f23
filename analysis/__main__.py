"""The command line: `python -m analysis VERB …`, readable tables, or one JSON object with --json.

Exit status 0; 2 for input that cannot be used, with one line per fault on standard error.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, TypeAlias

from analysis.problems import BadInput, NotFound, Problem

if TYPE_CHECKING:
    import pandas as pd

    from analysis.decisions.answer import Answer, SoFar
    from analysis.records.laps import LapsFile
    from analysis.records.scenario import Scenario
    from analysis.records.shop import Shop

MOST_RUNS = 100_000

Options = argparse.Namespace
Verbs: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
Answered = tuple[dict, Callable[[dict], str]]  # for --json, and what lays it out for eyes


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb and return the exit status."""
    options = _options(arguments)
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


def _options(arguments: Sequence[str] | None) -> Options:
    """The arguments read; argparse takes the `--` of `--store=--` for a sign and hands on []."""
    parser = _parser()
    options = parser.parse_args(arguments)
    for name, value in vars(options).items():
        if value == []:
            parser.error(f"argument --{name.replace('_', '-')}: expected a value, found --")
    return options


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m analysis", description=__doc__.split("\n")[0])
    verbs = parser.add_subparsers(metavar="VERB", required=True)
    _add_study(verbs)
    _add_plans(verbs)
    _add_what_if(verbs)
    _add_store(verbs)
    return parser


def _add_study(verbs: Verbs) -> None:
    """What the laps tell."""
    verb = _verb(verbs, "study", _study, "time per operation, practice, quality, takt, cost, weeks")
    verb.add_argument("laps", metavar="LAPS.csv")
    verb.add_argument(
        "--routing", metavar="R.csv", help="operations, their order and planned times"
    )
    verb.add_argument("--shop", metavar="S.toml", help="hours, people, products, money")


def _add_plans(verbs: Verbs) -> None:
    """One product's route planned: for a batch, or along a line."""
    verb = _verb(verbs, "order", _order, "the quickest order of work for one batch")
    _route_arguments(verb)
    verb.add_argument("--units", metavar="N", type=int, required=True, help="pieces in the batch")
    verb.add_argument("--workers", metavar="K", type=int, default=1, help="people (default 1)")
    verb.add_argument("--laps", metavar="L.csv", help="present times from these laps, not planned")
    verb.add_argument("--change-seconds", metavar="C", type=float, default=0.0,
                      help="what a change of task costs a worker (default 0)")  # fmt: skip
    verb.add_argument("--seconds-limit", metavar="S", type=float, default=8.0,
                      help="about how long to search (default 8)")  # fmt: skip

    verb = _verb(verbs, "balance", _balance, "operations shared out along a line of people")
    _route_arguments(verb)
    aim = verb.add_mutually_exclusive_group(required=True)
    aim.add_argument("--cycle", metavar="SECONDS", type=float, help="the fewest people for it")
    aim.add_argument("--workers", metavar="K", type=int, help="the shortest cycle of so many")


def _route_arguments(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("routing", metavar="R.csv")
    verb.add_argument("--product", metavar="P", required=True)
    verb.add_argument("--variant", metavar="V", help="default: the first whose route is whole")


def _add_what_if(verbs: Verbs) -> None:
    """What a scenario would yield, as figures or as the page to hand over."""
    verb = _verb(verbs, "whatif", _whatif, "what a helper, a machine, a move or more demand yields")
    _what_if_arguments(verb)

    verb = _verb(verbs, "memo", _memo, "the page to print or hand over for a scenario")
    _what_if_arguments(verb)
    verb.add_argument("-o", "--output", metavar="FILE.html|FILE.pdf", required=True, type=_page)
    verb.add_argument("--paper", choices=("a4", "letter"), default="a4", help="default a4")


def _add_store(verbs: Verbs) -> None:
    """What goes into the store, out of it, beside it and back."""
    verb = _verb(verbs, "import", _import, "take a file of laps into the store")
    verb.add_argument("laps", metavar="FILE.csv")
    _store_argument(verb)

    verb = _verb(verbs, "export", _export, "write the store's laps to a file")
    _store_argument(verb)
    verb.add_argument("-o", "--output", metavar="FILE.csv", required=True)

    verb = _verb(verbs, "copy", _copy, "copy a whole store into an empty one, and prove it")
    _store_argument(verb)
    verb.add_argument("--to", metavar="URL", required=True, help="a file, or a database server's")

    verb = _verb(verbs, "backup", _backup, "back the store up now, and list the backups there are")
    _store_argument(verb)

    verb = _verb(verbs, "restore", _restore, "bring a backup back; what was there is put aside")
    verb.add_argument("day", metavar="YYYY-MM-DD", nargs="?", help="default: the newest backup")
    _store_argument(verb)


def _store_argument(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--store", metavar="URL", help="default: WORKSHOP_STORE, or your data folder")


def _what_if_arguments(verb: argparse.ArgumentParser) -> None:
    """What the verbs ask that answer a scenario."""
    verb.add_argument("scenario", metavar="SCENARIO.toml", help="what would change")
    verb.add_argument("--laps", metavar="L.csv", required=True)
    verb.add_argument("--routing", metavar="R.csv", required=True)
    verb.add_argument("--shop", metavar="S.toml", required=True)
    verb.add_argument("--runs", metavar="N", type=_count, default=200,
                      help="runs of the simulated weeks (default 200)")  # fmt: skip
    verb.add_argument("--seed", metavar="N", type=_seed, default=1, help="default 1")
    verb.add_argument("--backend", metavar="dask://HOST", help="a cluster to simulate on")


def _count(text: str) -> int:
    """A number of runs."""
    runs = int(text)
    if not 1 <= runs <= MOST_RUNS:
        raise argparse.ArgumentTypeError(f"{runs} is not from 1 to {MOST_RUNS}")
    return runs


def _seed(text: str) -> int:
    """A seed of the random numbers."""
    seed = int(text)
    if not 0 <= seed < 1 << 63:
        raise argparse.ArgumentTypeError(f"{seed} is not from 0 to 2^63")
    return seed


def _page(text: str) -> Path:
    """A file whose ending says which kind of page it is."""
    if Path(text).suffix.lower() not in (".html", ".pdf"):
        raise argparse.ArgumentTypeError(f"{text!r} ends neither in .html nor in .pdf; name one")
    if not Path(text).resolve().parent.is_dir():  # before weeks are simulated for nothing
        raise argparse.ArgumentTypeError(f"there is no folder {str(Path(text).parent)!r}")
    return Path(text)


def _verb(
    verbs: Verbs, name: str, run: Callable[[Options], Answered], help_text: str
) -> argparse.ArgumentParser:
    """A verb of the command line; `run` answers it."""
    verb = verbs.add_parser(name, help=help_text, description=help_text)
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.set_defaults(run=run)
    return verb


def _study(options: Options) -> Answered:
    from analysis import tables
    from analysis.study.contract import as_contract
    from analysis.study.summary import study

    laps, routing, shop, _ = _read_inputs(options)
    return as_contract(study(laps.frame, routing, shop)), tables.study_tables


def _whatif(options: Options) -> Answered:
    from analysis import tables
    from analysis.decisions.contract import whatif_contract
    from analysis.decisions.week import week_row

    _, answer = _answer(options)
    told = whatif_contract(answer)
    weeks = {name: week_row(answer, name) for name in told["baseline"]}
    return told, lambda _: tables.whatif_tables(told, weeks)


def _memo(options: Options) -> Answered:
    from zoneinfo import ZoneInfo

    from analysis.records.whole import write_whole

    shop, answer = _answer(options)
    day = datetime.now(ZoneInfo(shop.timezone)).date()
    page = _printed(options.output, answer, shop.name, day, options.paper)

    def write(file: BinaryIO) -> None:
        file.write(page)

    write_whole(options.output, write)
    told = {"file": str(options.output), "bytes": len(page), "paper": options.paper,
            "scenario": answer.name, "verdict": answer.verdict, "headline": answer.headline,
            "runs": answer.runs, "stopped": answer.stopped}  # fmt: skip
    return told, lambda told: f"{told['headline']}\nThe page is in {told['file']}."


def _printed(file: Path, answer: Answer, shop_name: str, day: date, paper: str) -> bytes:
    if file.suffix.lower() == ".pdf":
        from analysis.memo.pdf import memo_pdf

        return memo_pdf(answer, shop_name, day, paper)
    from analysis.memo.html import memo_html

    return memo_html(answer, shop_name, day, paper).encode()


def _answer(options: Options) -> tuple[Shop, Answer]:
    """(shop, answer to the scenario of the options), the estimate so far on a terminal."""
    from analysis.decisions.model_of import model_of
    from analysis.decisions.priced import check_priced
    from analysis.decisions.what_if import what_if
    from analysis.study.summary import study

    laps, routing, shop, scenario = _read_inputs(options)
    assert shop and scenario  # the verb asks for both
    check_priced(shop, options.shop)
    model = model_of(
        study(laps.frame, routing, shop), routing, shop,
        routing_file=options.routing, shop_file=options.shop,
    )  # fmt: skip
    report = _show_so_far if sys.stderr.isatty() else None
    (answer,) = what_if(
        model, [scenario], runs=options.runs, seed=options.seed, currency=shop.currency,
        report=report, stop=_interrupted(), jobs=0, backend=options.backend,
    )  # fmt: skip
    if report:
        print(file=sys.stderr)
    return shop, answer


def _interrupted() -> Callable[[], bool]:
    """Says whether Ctrl-C was pressed: once keeps the runs done, twice ends the program."""
    pressed: list[int] = []

    def note(number: int, _frame: object) -> None:
        if pressed:
            raise KeyboardInterrupt
        pressed.append(number)

    signal.signal(signal.SIGINT, note)
    return lambda: bool(pressed)


def _show_so_far(so_far: SoFar) -> None:
    """One line on the terminal, written over itself."""
    worth = so_far.net_present_value
    told = f"worth about {worth.mean:,.0f}" if worth else f"{so_far.sold_per_week.mean:.0f} sold"
    stage = so_far.scenario or "the shop as it is"
    line = f"{stage}: {so_far.runs_done} of {so_far.runs_wanted} runs, {told} so far"
    if so_far.other_values:
        line = f"{stage}: simulated again at other values, {so_far.other_values} so far, {told}"
    print(f"\r{line:<79.79}", end="", file=sys.stderr, flush=True)


def _read_inputs(
    options: Options,
) -> tuple[LapsFile, pd.DataFrame | None, Shop | None, Scenario | None]:
    """What the options name: laps, routing, shop, scenario. The faults of all files are told
    together, what the reader noticed about the laps on standard error."""
    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing
    from analysis.records.scenario import read_scenario
    from analysis.records.shop import read_shop

    faulty: list[BadInput] = []

    def attempt(read: Callable, file: str | None, *more: object) -> Any:
        try:
            return None if file is None else read(file, *more)
        except BadInput as problem:
            faulty.append(problem)
            return None

    shop = attempt(read_shop, options.shop)
    routing = attempt(read_routing, options.routing)
    laps = attempt(read_laps, options.laps, shop)
    scenario = attempt(read_scenario, getattr(options, "scenario", None))
    if faulty:
        faults = [fault for problem in faulty for fault in problem.faults]
        raise BadInput(faults, sum(problem.count for problem in faulty))
    for notice in laps.notices:
        print(notice, file=sys.stderr)
    return laps, routing, shop, scenario


def _order(options: Options) -> Answered:
    from analysis import tables
    from analysis.flow.contract import order_contract
    from analysis.flow.order import order
    from analysis.flow.work import Batch, work_of

    routing, variant, seconds = _route_inputs(options)
    work = work_of(routing, [Batch(options.product, options.units, variant)], options.workers,
                   options.change_seconds, seconds=seconds, file=options.routing)  # fmt: skip
    plan = order(work, options.seconds_limit, stop=_deadline(options.seconds_limit))
    return order_contract(plan, variant), tables.order_tables


def _balance(options: Options) -> Answered:
    from analysis import tables
    from analysis.flow.balance import balance_for_cycle, balance_for_workers
    from analysis.flow.contract import balance_contract
    from analysis.flow.work import Batch, line_of

    routing, variant, _ = _route_inputs(options)
    work = line_of(routing, Batch(options.product, 1, variant), options.workers, options.routing)
    if options.workers is None:
        balance = balance_for_cycle(work, options.cycle)
    else:
        balance = balance_for_workers(work)
    return balance_contract(balance), tables.balance_tables


def _route_inputs(options: Options) -> tuple[pd.DataFrame, str, dict]:
    """The routing, the variant to plan for, and present seconds where laps are given."""
    from analysis.flow.present import present_seconds
    from analysis.flow.work import whole_route
    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing

    routing = read_routing(options.routing)
    variant = options.variant
    if variant is None:
        variant = whole_route(routing, options.product, options.routing)
        if variant:
            print(f"planned for the variant {variant}; --variant names another", file=sys.stderr)
    laps = getattr(options, "laps", None)
    return routing, variant, present_seconds(read_laps(laps).frame) if laps else {}


def _deadline(seconds_limit: float) -> Callable[[], bool]:
    """Says when a search counted in effort has taken far longer by the clock (a slow machine)."""
    end = time.monotonic() + 2 * max(seconds_limit, 0) + 2
    return lambda: time.monotonic() > end


def _import(options: Options) -> Answered:
    from analysis.records.laps import read_laps
    from analysis.store.store import open_store

    with closing(open_store(options.store)) as store:
        report = store.import_laps(read_laps(options.laps, store.shop()))
    return dataclasses.asdict(report), lambda _: str(report)


def _export(options: Options) -> Answered:
    from analysis.store.store import open_store

    with closing(open_store(options.store, create=False)) as store:
        written = store.export_laps(options.output)
    answer = {"laps": written, "file": options.output}
    return answer, lambda answer: f"{answer['laps']} laps written to {answer['file']}"


def _copy(options: Options) -> Answered:
    from analysis.store.moving import copy_store
    from analysis.store.store import open_store

    with (
        closing(open_store(options.store, create=False)) as source,
        closing(open_store(options.to)) as target,
    ):
        copied = [dataclasses.asdict(table) for table in copy_store(source, target, _counting)]
    lines = [f"{one['rows']:>9} rows  {one['checksum']}  {one['table']}" for one in copied]
    same = f"{source.place} is now in {target.place} too; read back and compared:"
    answer = {"from": source.place, "to": target.place, "tables": copied}
    return answer, lambda _: "\n".join([same, *lines])


def _counting(done: int, total: int) -> None:
    """Progress on one line, for somebody who watches."""
    if sys.stderr.isatty():
        end = "\n" if done == total else ""
        print(f"\r{done:,} of {total:,} rows", end=end, file=sys.stderr, flush=True)


def _backup(options: Options) -> Answered:
    from analysis.store.backup import back_up, backups

    store = _store_file(options.store)
    back_up(store, datetime.now().astimezone().date())
    kept = backups(store)
    found = [{"day": str(one.day), "file": str(one.path), "bytes": one.bytes} for one in kept]
    lines = [f"{one.day}  {one.bytes / 1e6:8.1f} MB  {one.path}" for one in kept]
    return {"store": str(store), "backups": found}, lambda _: "\n".join(lines)


def _restore(options: Options) -> Answered:
    from analysis.store.backup import backups, restore

    store = _store_file(options.store)
    found = {str(one.day): one for one in backups(store)}
    if not found:
        raise NotFound(f"There is no backup of {store} to bring back.")
    backup = found.get(options.day or max(found))
    if backup is None:
        raise NotFound(f"There is no backup of {options.day}; there is {', '.join(sorted(found))}.")
    aside = restore(store, backup, time.strftime("%Y-%m-%d %H%M%S"))
    answer = {"store": str(store), "backup": str(backup.path), "put_aside": aside and str(aside)}
    kept = f"; what was there is now {aside}" if aside else ""
    return answer, lambda _: f"{store} is as it was on {backup.day}{kept}."


def _store_file(url: str | None) -> Path:
    from analysis.store.connection import store_file

    file = store_file(url)
    if file is None:
        raise NotFound("Backups are made of a store in a file; a server's keeper backs up its own.")
    return file


if __name__ == "__main__":
    sys.exit(main())
