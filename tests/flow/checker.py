"""An independent checker of an order of work, written from the contract of `order` alone.

It shares no code with `analysis/`: it reads the routing's rows as plain dictionaries of text and
the answer as the JSON that the command line prints, and lists everything that breaks the contract.
Times are whole hundredths of a second.
"""

from math import ceil, inf

NUMBERS = {
    "seconds": 0, "setup_seconds": 0, "wait_seconds": 0, "setup_wait_seconds": 0,
    "pieces_at_once": 1, "rack_places": inf, "max_wait_seconds": inf,
}  # fmt: skip


def route_of(rows, product, variant=""):
    """operation -> row of numbers and texts, `after` as {operation: wait}."""
    own = [row for row in rows if row["product"] == product]
    own = [row for row in own if row.get("variant", "") in ("", variant)]
    route = {}
    for row in sorted(own, key=lambda row: row.get("variant", "") != ""):
        texts = {key: row.get(key, "") for key in ("station", "skill", "rack", "after")}
        numbers = {key: float(row.get(key) or least) for key, least in NUMBERS.items()}
        holds = row.get("wait_holds_station", "").lower() in ("true", "yes", "1")
        route[row["operation"]] = {**texts, **numbers, "holds": holds}
    for step in route.values():
        step["before"] = {}
        for part in filter(None, (part.strip() for part in step["after"].split("|"))):
            name, _, wait = part.partition(":")
            if name in route:
                step["before"][name] = float(wait) if wait else route[name]["wait_seconds"]
    return route


def hundredths(seconds):
    return round(seconds * 100)


def faults(rows, product, units, workers, change_seconds, answer, variant=""):
    """Everything about an answer that breaks the contract, as sentences; none where it is kept."""
    route = route_of(rows, product, variant)
    steps = [
        {**s, "start": hundredths(s["start_seconds"]), "end": hundredths(s["end_seconds"])}
        for s in answer["steps"]
    ]
    found = []
    if any(step["start"] < 0 or step["end"] < step["start"] for step in steps):
        found.append("a step ends before it starts")
    found += _amounts(route, steps, units)
    found += _people(route, steps, workers, hundredths(change_seconds))
    found += _setups(route, steps)
    found += _stations(route, steps)
    pieces = {name: _pieces(route[name], _of(steps, name), units) for name in route}
    found += _precedence(route, pieces)
    found += _racks(route, pieces)
    found += _figures(steps, workers, answer)
    return found


def _of(steps, operation, activity="operation"):
    own = [s for s in steps if s["operation"] == operation and s["activity"] == activity]
    return sorted(own, key=lambda s: (s["start"], s["end"]))


def _goes(operation, pieces):
    return ceil(pieces / operation["pieces_at_once"])


def _amounts(route, steps, units):
    for name, operation in route.items():
        own = _of(steps, name)
        if sum(step["units"] for step in own) != units:
            yield f"{name}: {sum(step['units'] for step in own)} pieces of {units}"
        for step in own:
            asked = hundredths(operation["seconds"]) * _goes(operation, step["units"])
            if step["end"] - step["start"] != asked:
                yield f"{name}: {step['end'] - step['start']} for a step of {asked}"
    for step in steps:
        if step["operation"] not in route:
            yield f"{step['operation']} is not on the route"


def _people(route, steps, workers, change):
    names = sorted({step["worker"] for step in steps})
    if len(names) > workers:
        yield f"{len(names)} people where {workers} are there"
    for step in steps:
        skill = [s.strip() for s in route[step["operation"]]["skill"].split("|") if s.strip()]
        if skill and step["worker"] not in skill:
            yield f"{step['worker']} cannot do {step['operation']}"
    for name in names:
        own = sorted(
            (s for s in steps if s["worker"] == name),
            key=lambda s: (s["start"], s["end"], s["activity"] != "change"),
        )
        for one, other in zip(own, own[1:], strict=False):
            if other["start"] < one["end"]:
                yield f"{name} is at two things at once at {other['start']}"
        work = [s for s in own if s["activity"] != "change"]
        spent = sum(s["end"] - s["start"] for s in own if s["activity"] == "change")
        asked = 0
        for one, other in zip(work, work[1:], strict=False):
            if one["operation"] != other["operation"]:
                asked += change
                if other["start"] - one["end"] < change:
                    yield f"{name} changes to {other['operation']} in no time"
        if asked != spent:
            yield f"{name} spends {spent} on changes that cost {asked}"


def _setups(route, steps):
    for name, operation in route.items():
        own = _of(steps, name, "setup")
        attended = hundredths(operation["setup_seconds"])
        wait = hundredths(operation["setup_wait_seconds"])
        if not attended and not wait:
            if own:
                yield f"{name} needs no setup"
            continue
        if len(own) != 1:
            yield f"{name} is set up {len(own)} times"
            continue
        if own[0]["end"] - own[0]["start"] != attended:
            yield f"the setup of {name} takes {own[0]['end'] - own[0]['start']}, not {attended}"
        if _of(steps, name) and _of(steps, name)[0]["start"] < own[0]["end"] + wait:
            yield f"{name} begins before it is set up"


def _stations(route, steps):
    """A station holds one worker at a time, and what waits in it keeps others out."""
    for station in {operation["station"] for operation in route.values()} - {""}:
        taken = []
        for step in steps:
            operation = route[step["operation"]]
            if operation["station"] != station or step["activity"] == "change":
                continue
            wait = _longest_wait(route, step["operation"]) if operation["holds"] else 0
            held = step["activity"] == "operation" and wait > 0
            end = step["end"] + (wait if held else 0)
            taken.append((step["start"], end, step["operation"]))
            if held and step["units"] > _fits(operation):
                yield f"{step['units']} pieces lie in {station}"
        taken.sort()
        for one, other in zip(taken, taken[1:], strict=False):
            if other[0] < one[1]:
                yield f"{one[2]} and {other[2]} are both at {station} at {other[0]}"


def _fits(operation):
    """How many pieces lie in a station that holds them: its places, else one go."""
    places = operation["rack_places"]
    return operation["pieces_at_once"] if places == inf else places


def _longest_wait(route, name):
    waits = [hundredths(o["before"][name]) for o in route.values() if name in o["before"]]
    return max(waits) if waits else hundredths(route[name]["wait_seconds"])


def _pieces(operation, own, units):
    """(taken up, leaves) of each piece in turn: one by one, or load by load."""
    once, go = int(operation["pieces_at_once"]), hundredths(operation["seconds"])
    times = [
        (step["start"] + k // once * go, step["start"] + (k // once + 1) * go)
        for step in own
        for k in range(step["units"])
    ]
    return sorted(times)


def _precedence(route, pieces):
    for name, operation in route.items():
        for before, wait in operation["before"].items():
            most = route[before]["max_wait_seconds"]
            for k, ((_, left), (taken, _)) in enumerate(
                zip(pieces[before], pieces[name], strict=False), 1
            ):
                if taken < left + hundredths(wait):
                    yield f"{name} begins on piece {k} {left + hundredths(wait) - taken} too soon"
                if most != inf and taken > left + hundredths(most):
                    yield f"piece {k} waits too long for {name}"


def _racks(route, pieces):
    racks = {}
    for name, operation in route.items():
        if operation["holds"] or not (operation["rack"] or operation["rack_places"] != inf):
            continue
        places, lying = racks.setdefault(operation["rack"] or name, ([], []))
        places.append(operation["rack_places"])
        wait = _longest_wait(route, name)
        lying += [(left, left + wait) for _, left in pieces[name] if wait]
    for rack, (places, lying) in racks.items():
        for moment, _ in lying:
            there = sum(begin <= moment < end for begin, end in lying)
            if there > min(places):
                yield f"{there} pieces lie in {rack} at {moment}"


def _figures(steps, workers, answer):
    work = [step for step in steps if step["activity"] != "change"]
    last = max((step["end"] for step in work), default=0)
    attended = sum(step["end"] - step["start"] for step in steps)
    told = {key: hundredths(answer[key + "_seconds"]) for key in
            ("makespan", "ready", "lower_bound", "as_listed", "attended", "idle")}  # fmt: skip
    if told["makespan"] != last:
        yield f"the last work ends at {last}, not {told['makespan']}"
    if told["attended"] != attended:
        yield f"attended {attended}, not {told['attended']}"
    if told["idle"] != workers * last - attended:
        yield f"idle {workers * last - attended}, not {told['idle']}"
    if told["lower_bound"] > told["makespan"] or told["ready"] < told["makespan"]:
        yield "bound, makespan and ready are out of turn"
    if answer["optimal"] != (told["lower_bound"] == told["makespan"]):
        yield "optimal, and bound and makespan differ, or the other way round"
