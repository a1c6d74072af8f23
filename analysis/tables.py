"""The command line's readable tables: the same answer as --json, laid out for eyes.

Column names carry their units (`observed_seconds`), so a figure never stands without one.
"""

import re
from collections.abc import Iterable, Mapping

from analysis.decisions.week import WeekRow
from analysis.records.figures import figure

NOTHING = "-"
A_NUMBER = re.compile(r"-|-?[\d,.]+( to -?[\d,.]+)?")
TITLES = {
    "operations": "Time per piece, by operation (seconds)",
    "learning": "Getting faster: the curve of each worker's practice",
    "quality": "Right first time, by operation",
    "rolled_throughput_yield": "Pieces that pass every operation first time, by product",
    "takt": "Keeping pace: time the week allows per piece against time it takes",
    "cost": "Cost of a good piece, in the shop's currency",
    "weeks": "Week by week (weeks start on Monday)",
}


def study_tables(answer: dict) -> str:
    """The `study` answer as titled tables, with what was set aside first."""
    laps = answer["laps"]
    parts = [f"{laps['read']} laps read, {laps['used']} used."]
    if laps["set_aside"]:
        parts.append(
            _titled(
                "Set aside as unusual (still counted in pieces and hours)", table(laps["set_aside"])
            )
        )
    for key, title in TITLES.items():
        rows = answer.get(key)
        if isinstance(rows, dict):
            rows = [{"product": name, "share": value} for name, value in rows.items()]
        if rows:
            parts.append(_titled(title, table(rows)))
    return "\n\n".join(parts)


def order_tables(answer: dict) -> str:
    """The `order` answer: how long, how sure, and the steps."""
    sure = (
        "proven shortest"
        if answer["optimal"]
        else (f"no order is shorter than {clock(answer['lower_bound_seconds'])}")
    )
    head = (
        f"The last work ends after {clock(answer['makespan_seconds'])} ({sure}); ready after "
        f"{clock(answer['ready_seconds'])}. As listed, alone: "
        f"{clock(answer['as_listed_seconds'])}. Idle: {clock(answer['idle_seconds'])}."
    )
    rows = [
        {
            "from": clock(step["start_seconds"]), "to": clock(step["end_seconds"]),
            "worker": step["worker"], "activity": step["activity"],
            "operation": step["operation"], "units": step["units"] or None,
        }
        for step in answer["steps"]
    ]  # fmt: skip
    title = "Order of work (hours:minutes:seconds from the start)"
    return f"{head}\n\n{_titled(title, table(rows))}"


def balance_tables(answer: dict) -> str:
    """The `balance` answer: people, cycle, and who does what."""
    sure = "proven best" if answer["optimal"] else f"lower bound {_cell(answer['lower_bound'])}"
    head = (
        f"{answer['workers']} people, a piece every {answer['cycle_seconds']:g} s ({sure}); "
        f"{100 * answer['balance_loss']:.1f} % of the line's time is spent waiting."
    )
    rows = [
        {**place, "operations": ", ".join(place["operations"])} for place in answer["assignment"]
    ]
    return f"{head}\n\n{_titled('Who does what, in the order in which work passes', table(rows))}"


def whatif_tables(answer: dict, weeks: Mapping[str, WeekRow]) -> str:
    """The `whatif` answer: the sentence, before and after, what moves it, what it rests on.

    weeks: the figures of an average week as they are shown, by their names in the answer.
    """
    parts = [answer["headline"], "\n".join(answer["sentences"])]
    if answer["stopped"]:
        parts.append(f"Stopped early: this rests on {answer['runs']} runs only.")
    if answer["settle"]:
        parts.append(answer["settle"])
    week = [
        {"an average week": name.replace("_per_week", "").replace("_", " "), **_week(row)}
        for name, row in weeks.items()
    ]
    parts.append(_titled(f"An average week of {answer['horizon_weeks']}", table(week)))
    if answer["bill"]:
        parts.append(_titled(f"The money of it ({answer['currency']})", table(_bill(answer))))
    if answer["movers"]:
        rows = [
            {"assumption": mover["name"], "from": mover["low"], "to": mover["high"],
             "worth": [mover["value_at_low"], mover["value_at_high"]],
             "known": "given, a tenth either way tried" if mover["tried"] else mover["source"]}
            for mover in answer["movers"]
        ]  # fmt: skip
        title = f"What moves it most: worth over the horizon ({answer['currency']}) at either end"
        parts.append(_titled(title, table(rows)))
    if answer["unmoving"]:
        parts.append(f"Hardly moves it: {', '.join(answer['unmoving'])}.")
    if answer["must_be_true"]:
        parts.append(_titled("What would have to be true", "\n".join(answer["must_be_true"])))
    rows = answer["assumptions"]
    parts.append(_titled("What it rests on", table(rows)))
    parts.append("\n".join(answer["cautions"]))
    return "\n\n".join(parts)


def _week(row: WeekRow) -> dict[str, str]:
    """A figure of the week, each part with as many places as the others."""
    before, after, apart, low, high = (
        NOTHING if value is None else f"{value:,.{row.places}f}"
        for value in (row.before, row.after, row.difference, row.low, row.high)
    )
    ends = NOTHING if row.low is None else f"{low} to {high}"
    return {"before": before, "after": after, "difference": apart, "in nine of ten runs": ends}


def _bill(answer: dict) -> list[dict]:
    return [
        {"what": line["what"], "when": line["when"], "in all": line["amount"]["mean"],
         "in nine of ten runs": _ends(line["amount"]), "worth today": line["worth"]}
        for line in answer["bill"]
    ]  # fmt: skip


def _ends(values: dict) -> list | None:
    return None if values["p5"] is None else [values["p5"], values["p95"]]


def clock(seconds: float) -> str:
    """Seconds as hours:minutes:seconds, to the second."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def table(rows: list[dict]) -> str:
    """Rows of one shape as aligned columns, numbers to the right, two lines of header at most."""
    names = list(rows[0])
    cells = [[_cell(row[name]) for name in names] for row in rows]
    heads = [name.replace("_", " ") for name in names]
    widths = [max(map(len, column)) for column in zip(heads, *cells, strict=True)]
    right = [all(map(A_NUMBER.fullmatch, column)) for column in zip(*cells, strict=True)]
    return "\n".join(
        _line(line, widths, right) for line in [heads, ["-" * width for width in widths], *cells]
    )


def _titled(title: str, text: str) -> str:
    return f"{title}\n{text}"


def _line(cells: Iterable[str], widths: list[int], right: list[bool]) -> str:
    padded = (
        cell.rjust(width) if to_right else cell.ljust(width)
        for cell, width, to_right in zip(cells, widths, right, strict=True)
    )
    return "  ".join(padded).rstrip()


def _cell(value: object) -> str:
    """One figure as text: four significant digits, an interval as `low to high`."""
    if value is None or value == "":
        return NOTHING
    if isinstance(value, list):
        return f"{_cell(value[0])} to {_cell(value[1])}"
    if isinstance(value, float):
        return figure(value, 4) if abs(value) < 1000 else f"{value:,.0f}"
    return str(value)
