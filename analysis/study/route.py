"""The route of each product and variant: which operations, in which order, planned or as logged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd

from analysis.records.routing import pairs_of
from analysis.records.routing import route as rows_on_route
from analysis.study.rates import cell_codes, clusters, is_activity, is_regular

COLUMNS = (
    "product",
    "variant",
    "operation",
    "position",
    "planned_seconds",
    "setup_seconds",
    "setup_wait_seconds",
    "wait_seconds",
    "wait_holds_station",
    "station",
    "source",
    "follows",
)
_UNPLANNED = {
    "setup_seconds": 0.0,
    "setup_wait_seconds": 0.0,
    "wait_seconds": 0.0,
    "wait_holds_station": False,
    "station": "",
    "source": "laps",
}
_AS_IS = (
    "setup_seconds", "setup_wait_seconds", "wait_seconds", "wait_holds_station", "station"
)  # fmt: skip
_KINDS = {
    "planned_seconds": float,
    "setup_seconds": float,
    "setup_wait_seconds": float,
    "wait_seconds": float,
    "wait_holds_station": bool,
}


def with_variants(laps: pd.DataFrame) -> pd.DataFrame:
    """The laps, each that names no variant with that of its product's batch, where the batch has
    laps of one variant only."""
    keys = ["product", "batch"]
    blank = (laps["variant"] == "").to_numpy()
    pairs = laps.loc[~blank & (laps["batch"] != "").to_numpy(), [*keys, "variant"]]
    only = pairs.drop_duplicates().drop_duplicates(keys, keep=False).astype(str)
    if only.empty:
        return laps
    at = cell_codes(laps.loc[blank, keys], keys, only)
    if not (at >= 0).any():
        return laps
    column = laps["variant"].array
    code = np.array(column.codes)
    code[np.flatnonzero(blank)[at >= 0]] = column.categories.get_indexer(only["variant"])[
        at[at >= 0]
    ]
    return laps.assign(variant=pd.Categorical.from_codes(code, dtype=column.dtype))


def routes(laps: pd.DataFrame, routing: pd.DataFrame | None, timezone: str) -> pd.DataFrame:
    """One row per product, variant and operation of its route, in order (COLUMNS).

    With a routing, its rows for the variant (blank = every variant) in a stable topological
    order; operations that only the laps know are put in where they usually come, never last.
    Without one, the operations of the variant's laps in their usual order; those that only laps
    naming no variant have, and none of whose laps shares one with a variant's, are every variant's.
    Variants are those of the routing and of the laps; a product none of whose laps and rows names
    one has "" only.
    follows: a tuple of the operations right before it by the routing; () where none has it.
    """
    usual = usual_order(laps, timezone)
    logged = _shared_out(_logged_operations(laps), routing)
    pairs = _variants(logged, routing)
    score = {
        product: dict(zip(rows["operation"], rows["score"], strict=True))
        for product, rows in usual.groupby("product")
    }
    rows = [
        row
        for product, variant in pairs
        for row in _route(product, variant, logged, score.get(product, {}), routing)
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS), dtype=object)
    return table.fillna(_UNPLANNED).astype(_KINDS)


def last_operations(routes: pd.DataFrame) -> pd.DataFrame:
    """product, variant, operation: the last of each route."""
    last = routes.groupby(["product", "variant"], sort=False).tail(1)
    return last[["product", "variant", "operation"]].reset_index(drop=True)


def passed_operations(routes: pd.DataFrame) -> dict[tuple[str, str, str], set[str]]:
    """By product, variant and operation: what a piece that comes to it has been through.

    By the routing, what must come before it, however indirectly: a cover spoiled under the press
    takes no sewn block with it. For an operation that no routing has, all before it on its route.
    """
    passed = {}
    for (product, variant), rows in routes.groupby(["product", "variant"], sort=False):
        follows = dict(zip(rows["operation"], rows["follows"], strict=True))
        before: set[str] = set()
        for operation, source in zip(rows["operation"], rows["source"], strict=True):
            planned = source == "routing"
            through = _all_before(operation, follows) if planned else set(before)
            passed[product, variant, operation] = through
            before.add(operation)
    return passed


def _all_before(operation: str, follows: dict[str, tuple[str, ...]]) -> set[str]:
    found: set[str] = set()
    ahead = list(follows[operation])
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += follows[name]
    return found


def good_units(laps: pd.DataFrame, routes: pd.DataFrame) -> np.ndarray:
    """Per lap, the good pieces it finished: units - scrap_units on the route's last operation.

    Operation and inspection laps count; mending adds no piece, but may lose one. Laps that name no
    variant, of a product without a route for these, finish pieces where a variant's route ends.
    """
    last = last_operations(routes)
    blank = set(last.loc[last["variant"] == "", "product"])
    any_variant = last[~last["product"].isin(blank)].assign(variant="")
    ends = set(map(tuple, pd.concat([last, any_variant]).to_numpy()))
    kinds = laps[["product", "variant", "operation"]].drop_duplicates().astype(str)
    kinds["ends"] = [kind in ends for kind in map(tuple, kinds.to_numpy())]
    code = _combined(laps)
    ends_route = kinds["ends"].set_axis(_combined(laps.loc[kinds.index]))
    ends = ends_route.reindex(code).to_numpy(bool)
    made = np.where(ends & is_regular(laps), laps["units"], 0)
    return made - np.where(ends & _may_lose(laps), laps["scrap_units"], 0)


def counted_twice(laps: pd.DataFrame, routes: pd.DataFrame) -> pd.DataFrame:
    """product, variant, operation, units: good pieces that the last operation counts twice.

    By the contract every operation and inspection lap of a route's last operation finishes its
    pieces. Where an inspection is logged under that operation's own name, besides the work, the
    same pieces are finished again. Told batch by batch, where the two together exceed the pieces
    of every other operation of the batch: units = the lesser of (work + inspection - most of any
    other operation) and of the inspected ones. Laps that name no batch count as one batch.
    """
    keys = ["product", "variant", "operation"]
    regular = laps[is_regular(laps)]
    inspected = is_activity(regular, "inspection")
    table = (
        regular[[*keys, "batch"]]
        .astype(str)
        .assign(
            units=regular["units"].to_numpy(), inspected=np.where(inspected, regular["units"], 0)
        )
    )
    table = table.groupby([*keys, "batch"], as_index=False)[["units", "inspected"]].sum()
    table = table.merge(last_operations(routes).assign(last=True), on=keys, how="left")
    table["last"] = table["last"].eq(True)
    others = table[~table["last"]].groupby(["product", "variant", "batch"])["units"].max()
    ends = table[table["last"]].set_index(["product", "variant", "batch"])
    ends["units"] = np.minimum(ends["units"] - others.reindex(ends.index), ends["inspected"])
    twice = ends[ends["units"] > 0].reset_index()
    return twice.groupby(keys, as_index=False)["units"].sum().astype({"units": "int64"})


def _may_lose(laps: pd.DataFrame) -> np.ndarray:
    return is_regular(laps) | is_activity(laps, "rework")


def usual_order(laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """product, operation, score: the share of the product's other operations it comes after.

    For operations a and b of a product, in the batches that had both, the share in which a's
    pieces were (on average) done after b's; the score of a is the mean over b. Sorted by it.
    The first laps of each variant that name no batch stand for a batch together.
    """
    regular = laps[is_regular(laps)]
    begun = regular["started_at"].dt.as_unit("us").astype("int64").to_numpy() / 1e6
    named = (regular["batch"] != "").to_numpy()
    frame = pd.DataFrame({
        "product": regular["product"].astype(str), "operation": regular["operation"].astype(str),
        "cluster": np.where(named, clusters(regular, timezone),
                            -1 - regular["variant"].cat.codes.to_numpy().astype("int64")),
        "at": begun - begun.min() if len(begun) else begun,
        "units": regular["units"].to_numpy(float),
    })  # fmt: skip
    keys = ["product", "cluster", "operation"]
    first = frame[~named].groupby(keys)["at"].min()
    frame["at"] *= frame["units"]
    sums = frame[named].groupby(keys)[["at", "units"]].sum()
    middle = pd.concat([first, sums["at"] / sums["units"]]).rename("at").reset_index()
    tables = [_scores(product, rows) for product, rows in middle.groupby("product")]
    empty = pd.DataFrame({"product": [], "operation": [], "score": []})
    return pd.concat(tables, ignore_index=True) if tables else empty


def _scores(product: str, middle: pd.DataFrame) -> pd.DataFrame:
    at = middle.pivot(index="cluster", columns="operation", values="at")
    times = at.to_numpy()
    count = times.shape[1]
    share = np.full((count, count), np.nan)
    for own in range(count):  # over a product's operations, a dozen or two
        both = ~np.isnan(times[:, own, None]) & ~np.isnan(times)
        after = ((times[:, own, None] > times) & both).sum(axis=0)
        share[own] = after / np.where(both.sum(axis=0), both.sum(axis=0), np.nan)
    np.fill_diagonal(share, np.nan)
    known = ~np.isnan(share)
    score = np.where(known, share, 0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    table = pd.DataFrame({"product": product, "operation": at.columns, "score": score})
    return table.sort_values("score", kind="stable")


def _logged_operations(laps: pd.DataFrame) -> pd.DataFrame:
    """product, variant, operation that any lap but an interruption names, in file order."""
    worked = laps[~is_activity(laps, "delay")]
    return worked[["product", "variant", "operation"]].drop_duplicates().astype(str)


def _shared_out(logged: pd.DataFrame, routing: pd.DataFrame | None) -> pd.DataFrame:
    """`logged`, work done before pieces have a variant given to all of them: of a product without
    a routing, the operations of laps that name no variant, where no variant's laps have any."""
    planned = set() if routing is None else set(routing["product"].astype(str))
    blank = logged["variant"] == ""
    tables = [logged]
    for product, rows in logged[blank & ~logged["product"].isin(planned)].groupby("product"):
        own = logged[~blank & (logged["product"] == product)]
        if len(own) and not own["operation"].isin(rows["operation"]).any():
            shared = rows[["product", "operation"]].merge(own["variant"].drop_duplicates(), "cross")
            tables.append(shared[logged.columns])
            tables[0] = tables[0].drop(rows.index)
    return pd.concat(tables, ignore_index=True)


def _variants(logged: pd.DataFrame, routing: pd.DataFrame | None) -> list[tuple[str, str]]:
    named = [logged[["product", "variant"]]]
    if routing is not None:
        named.append(routing[["product", "variant"]].astype(str))
    pairs = pd.concat(named).drop_duplicates().sort_values(["product", "variant"])
    in_laps = set(map(tuple, logged[["product", "variant"]].to_numpy()))
    several = set(pairs.loc[pairs["variant"] != "", "product"])
    # A blank variant of a product with variants is a route of its own only where laps say so.
    return [
        (product, variant)
        for product, variant in pairs.itertuples(index=False)
        if variant or product not in several or (product, "") in in_laps
    ]


def _route(
    product: str,
    variant: str,
    logged: pd.DataFrame,
    score: dict[str, float],
    routing: pd.DataFrame | None,
) -> Iterator[dict[str, object]]:
    """The rows of one route, in order; score: `usual_order` of the product's operations."""
    own = logged[(logged["product"] == product) & (logged["variant"] == variant)]["operation"]
    seen = sorted(own[own != ""], key=lambda name: score.get(name, -1.0))
    rows = _routing_rows(product, variant, routing)
    pairs = pairs_of(rows) if len(rows) else []
    planned = topological(list(rows["operation"].astype(str)), pairs) if len(rows) else []
    order = _put_in(planned, [name for name in seen if name not in planned], score)
    columns = _planned_columns(rows) if len(rows) else {}
    for position, name in enumerate(order):
        yield {
            "product": product, "variant": variant, "operation": name, "position": position,
            **columns.get(name, {}),
            "follows": tuple(a for a, then, _ in pairs if then == name),
        }  # fmt: skip


def _routing_rows(product: str, variant: str, routing: pd.DataFrame | None) -> pd.DataFrame:
    """The rows on the variant's route; for laps that name no variant, one row per operation."""
    if routing is None:
        return pd.DataFrame()
    if variant:
        return rows_on_route(routing, product, variant)
    own = routing[routing["product"].astype(str) == product]
    return own.sort_values("variant", kind="stable").drop_duplicates("operation").sort_index()


def topological(names: list[str], pairs: Iterable[tuple[str, str, float]]) -> list[str]:
    """Names in an order in which `before` of each (before, after, …) pair comes first.

    Stable: whatever is free to come next comes in the order given. Of a circle, which the reader
    of routings refuses, the first stands where it stood.
    """
    before: dict[str, set[str]] = {name: set() for name in names}
    for first, then, *_ in pairs:
        before[then].add(first)
    order: dict[str, None] = {}
    while len(order) < len(before):
        left = [name for name in before if name not in order]
        order[next((name for name in left if before[name] <= order.keys()), left[0])] = None
    return list(order)


def usual_routing(routes: pd.DataFrame, operations: pd.DataFrame) -> pd.DataFrame:
    """The routes of the laps as rows of a routing to check: product, operation, variant, after,
    seconds (the present normal time, whole; 0 where none is known). `operations` as in Study.

    An operation that every variant of a product has in its route is one row; one that only some
    have is a row for each of these. Each comes after the one before it on its route: the order
    that was used is one that works, not the only one.
    """
    keys = ["product", "operation"]
    normal = operations.set_index(keys)["normal_seconds"]
    steps = routes[["product", "variant", "operation", "position"]].copy()
    steps["before"] = steps.groupby(["product", "variant"])["operation"].shift().fillna("")
    variants = steps.groupby("product")["variant"].nunique()
    by_operation = steps.groupby(keys, sort=False)
    everywhere = by_operation["variant"].transform("nunique") == steps["product"].map(variants)
    same = by_operation["before"].transform("nunique") == 1
    steps["variant"] = steps["variant"].where(~(everywhere & same), "")
    steps = steps.sort_values(["product", "position"], kind="stable")
    rows = steps.drop_duplicates([*keys, "variant"]).rename(columns={"before": "after"})
    found = pd.MultiIndex.from_frame(rows[keys].astype(str))
    rows["seconds"] = normal.reindex(found).round().fillna(0.0).to_numpy()
    columns = ["product", "operation", "variant", "after", "seconds"]
    return rows[columns].reset_index(drop=True)


def _put_in(planned: list[str], extra: list[str], score: dict[str, float]) -> list[str]:
    """`planned`, with each extra operation before the first that usually comes after it."""
    if not planned:
        return extra
    order = list(planned)
    for name in extra:
        later = [i for i, other in enumerate(order) if score.get(other, -1.0) > score.get(name, -1)]
        order.insert(min(later[0] if later else len(order) - 1, len(order) - 1), name)
    return order


def _planned_columns(rows: pd.DataFrame) -> dict[str, dict[str, object]]:
    """What the routing says, by operation; of several rows of one, the first."""
    found: dict[str, dict[str, object]] = {}
    columns = (rows[name].tolist() for name in ("operation", "seconds", "pieces_at_once", *_AS_IS))
    for name, seconds, at_once, *as_is in zip(*columns, strict=True):
        # One go of a press or a tray takes `seconds` and carries pieces_at_once pieces.
        own = {"planned_seconds": seconds / at_once, "source": "routing"}
        found.setdefault(str(name), own | dict(zip(_AS_IS, as_is, strict=True)))
    return found


def _combined(laps: pd.DataFrame) -> np.ndarray:
    """One number per (product, variant, operation) of laps that share their categories."""
    code = np.zeros(len(laps), "int64")
    for name in ("product", "variant", "operation"):
        code = code * (len(laps[name].cat.categories) + 1) + laps[name].cat.codes.to_numpy()
    return code
