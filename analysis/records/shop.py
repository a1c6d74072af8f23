"""The shop: its hours, people, products and money, read from TOML where every key may be left out.

| key | default | meaning |
|---|---|---|
| shop.name | "Workshop" | printed on pages |
| shop.timezone | "UTC" | an IANA name; times without an offset are in it |
| shop.currency | "EUR" | three letters, printed beside money |
| shop.weeks_closed_per_year | 0 | weeks in which nobody is at the bench |
| week.Mon … Sun | Mon to Fri "08:00-12:00, 13:00-17:00" | with [week], a day left out is closed |
| allowance.personal, fatigue, contingency | 5, 4, 5 | percent; `_percent` may be added |
| allowance.convention | "of normal time" | or "of working day" |
| workers.NAME.cost_per_hour | none: an owner without a wage | money per paid hour |
| workers.NAME.hours_per_week | none: the shop's hours | hours at the bench |
| products.NAME.demand_per_week | the variants' sum, else not known | pieces asked for in a week |
| products.NAME.batch_size | 25 | pieces started together |
| products.NAME.price, material_cost | none: not known | money per piece |
| products.NAME.stock | the variants' sum, else not counted | good pieces on the shelf |
| products.NAME.variants.VARIANT.… | price, material_cost, batch_size of the product | same keys |
| overhead.per_week | none: not known | rent, power, insurance in a week |

The allowance defaults are common practice, no source; the personal 5 % and basic fatigue 4 %
are the constant allowances of ILO, Introduction to Work Study.
"""

import re
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from analysis.problems import BadInput
from analysis.records.source import Source, read_source
from analysis.records.toml import Path, Reader, parsed

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
CONVENTIONS = ("of normal time", "of working day")
DAY_SECONDS = 86400
LARGEST_BATCH = 1_000_000
MOST_WEEKS_CLOSED = 51  # a shop that never opens has no hours to plan with
WEEKS_PER_YEAR = 52
ORDINARY_DAY = ((8 * 3600, 12 * 3600), (13 * 3600, 17 * 3600))

Hours = tuple[tuple[int, int], ...]


def ordinary_week() -> dict[str, Hours]:
    """Monday to Friday, 08:00-12:00 and 13:00-17:00; the weekend closed."""
    return {day: ORDINARY_DAY if day in DAYS[:5] else () for day in DAYS}


@dataclass(frozen=True)
class Allowance:
    """Time-study allowances in percent, and what they are percent of."""

    personal_percent: float = 5.0
    fatigue_percent: float = 4.0
    contingency_percent: float = 5.0
    convention: str = "of normal time"


@dataclass(frozen=True)
class Worker:
    """One person at the bench; no cost is an owner without a wage, no hours the shop's own."""

    name: str
    cost_per_hour: float | None = None
    hours_per_week: float | None = None


@dataclass(frozen=True)
class Product:
    """A product, or one variant of it; money per piece, None where it is not known.

    line: of its table in the shop's file, 0 where it is not from a file.
    """

    name: str
    variant: str = ""
    demand_per_week: float | None = None
    batch_size: int = 25
    price: float | None = None
    material_cost: float | None = None
    stock: float | None = None
    line: int = field(default=0, compare=False, repr=False)


@dataclass(frozen=True)
class Shop:
    """What the shop is and costs; `Shop()` is what an empty file says.

    `week` maps Mon … Sun to (start, end) pairs in seconds of the day. Each product has a row with
    variant "" and one for each variant named; a variant's row already holds what it takes from
    its product (price, material_cost, batch_size).
    """

    name: str = "Workshop"
    timezone: str = "UTC"
    currency: str = "EUR"
    week: dict[str, Hours] = field(default_factory=ordinary_week)
    allowance: Allowance = Allowance()
    workers: tuple[Worker, ...] = ()
    products: tuple[Product, ...] = ()
    overhead_per_week: float | None = None
    weeks_closed_per_year: int = 0

    @property
    def week_seconds(self) -> int:
        """Working time of an ordinary week in seconds, breaks off."""
        return sum(end - start for hours in self.week.values() for start, end in hours)

    @property
    def open_share(self) -> float:
        """Of the year's weeks, those in which the shop is open."""
        return 1 - self.weeks_closed_per_year / WEEKS_PER_YEAR

    @property
    def mean_week_seconds(self) -> float:
        """Working time of a week in seconds, breaks off, closed weeks spread over the year."""
        return self.week_seconds * self.open_share

    def mean_hours(self, worker: str = "") -> float:
        """Hours a week of somebody, closed weeks spread over the year; the shop's own for somebody
        it does not name or gives no hours."""
        own = {person.name: person.hours_per_week for person in self.workers}.get(worker)
        return (self.week_seconds / 3600 if own is None else own) * self.open_share

    @property
    def capacity_hours(self) -> float:
        """Hours a week of all the people of the shop, closed weeks spread over the year; the shop's
        own where none is named."""
        return sum(self.mean_hours(worker.name) for worker in self.workers or [Worker("")])

    def product(self, name: str, variant: str = "") -> Product | None:
        """The row of a product or variant; the product's own where the variant is not named."""
        rows = {row.variant: row for row in self.products if row.name == name}
        return rows.get(variant, rows.get(""))

    def batch_size(self, name: str, variant: str = "") -> int:
        """Pieces started together of a product or variant; the default of one not on the list."""
        known = self.product(name, variant)
        return known.batch_size if known else Product.batch_size


def read_shop(source: Source, name: str = "") -> Shop:
    """The shop in a TOML file (path, bytes or open file); BadInput lists every fault by line."""
    text = read_source(source, name)
    tables = parsed(text.name, text.text, "shop file")
    reader = Reader(text.name, text.text, "shop file")
    shop = _shop(reader, tables)
    if reader.faults:
        raise BadInput(sorted(reader.faults, key=lambda fault: fault.row))
    return shop


def _shop(reader: Reader, tables: dict) -> Shop:
    reader.known((), tables, ("shop", "week", "allowance", "workers", "products", "overhead"))
    keys = ("name", "timezone", "currency", "weeks_closed_per_year")
    own = reader.table((), tables, "shop", keys)
    overhead = reader.table((), tables, "overhead", ("per_week",))
    return Shop(
        name=reader.text(("shop",), own, "name", Shop.name),
        timezone=_timezone(reader, own),
        currency=reader.text(("shop",), own, "currency", Shop.currency),
        week=_week(reader, tables),
        allowance=_allowance(reader, tables),
        workers=_workers(reader, tables),
        products=_products(reader, tables),
        overhead_per_week=reader.amount(("overhead",), overhead, "per_week"),
        weeks_closed_per_year=reader.whole(
            ("shop",), own, "weeks_closed_per_year", 0, MOST_WEEKS_CLOSED, 0,
            "give the weeks in which nobody is at the bench",
        ),
    )  # fmt: skip


def _timezone(reader: Reader, own: dict) -> str:
    zone = reader.text(("shop",), own, "timezone", Shop.timezone)
    try:
        ZoneInfo(zone)
    except Exception:  # unknown, empty, absolute, a directory: zoneinfo raises five kinds
        reader.fault(
            ("shop", "timezone"),
            "is no time zone",
            zone,
            'give an IANA name such as "Europe/Vienna"',
        )
        return Shop.timezone
    return zone


def _week(reader: Reader, tables: dict) -> dict[str, Hours]:
    if "week" not in tables:
        return ordinary_week()
    days = reader.table((), tables, "week", DAYS)
    return {day: _hours(reader, ("week", day), days.get(day, "")) for day in DAYS}


def _hours(reader: Reader, path: Path, value: object) -> Hours:
    remedy = 'write hours as "08:00-12:00, 13:00-17:00"'
    if not isinstance(value, str):
        reader.fault(path, "is not text", value, remedy)
        return ()
    spans = []
    for part in filter(None, (part.strip() for part in value.split(","))):
        match = re.fullmatch(r"(\d{1,2}):(\d\d)\s*[-–]\s*(\d{1,2}):(\d\d)", part)
        start, end = _span(match) if match else (0, 0)
        if match and DAY_SECONDS > start > end:
            reader.fault(path, "ends before it begins", part, _split(match))
            return ()
        if not 0 <= start < end <= DAY_SECONDS:
            reader.fault(path, "is not a span of hours", part, remedy)
            return ()
        spans.append((start, end))
    spans.sort()
    if any(before[1] > after[0] for before, after in zip(spans, spans[1:], strict=False)):
        reader.fault(path, "has hours that overlap", value, "end one before the next")
        return ()
    return tuple(spans)


def _split(match: re.Match) -> str:
    """What to do about hours over midnight."""
    hour, minute, end_hour, end_minute = match.groups()
    return (
        f'split at midnight: "{hour}:{minute}-24:00" on this day and '
        f'"00:00-{end_hour}:{end_minute}" on the next'
    )


def _span(match: re.Match) -> tuple[int, int]:
    hour, minute, end_hour, end_minute = map(int, match.groups())
    if minute > 59 or end_minute > 59:
        return (0, 0)
    return hour * 3600 + minute * 60, end_hour * 3600 + end_minute * 60


def _allowance(reader: Reader, tables: dict) -> Allowance:
    keys = ("personal_percent", "fatigue_percent", "contingency_percent")
    table = reader.table(
        (), tables, "allowance", (*keys, "personal", "fatigue", "contingency", "convention")
    )
    path = ("allowance",)
    percents = {}
    for key in keys:
        given = key if key in table else key.removesuffix("_percent")
        usual: float = getattr(Allowance, key)
        value = reader.amount(path, table, given, usual)
        percents[key] = reader.below(path + (given,), value, 100, usual)
    convention = reader.text(path, table, "convention", Allowance.convention)
    if convention not in CONVENTIONS:
        reader.fault(
            path + ("convention",),
            "is no convention",
            convention,
            'say "of normal time" or "of working day"',
        )
    if convention == "of working day" and sum(percents.values()) >= 100:
        reader.fault(
            path,
            "leaves no time to work",
            sum(percents.values()),
            "allowances of a working day together stay below 100",
        )
    return Allowance(**percents, convention=convention)


def _workers(reader: Reader, tables: dict) -> tuple[Worker, ...]:
    keys = ("cost_per_hour", "hours_per_week")
    people = reader.table((), tables, "workers", None)
    workers = []
    for name in people:
        table = reader.table(("workers",), people, name, keys)
        path = ("workers", name)
        hours = reader.amount(path, table, "hours_per_week")
        hours = reader.below(path + ("hours_per_week",), hours, 168, None)
        workers.append(Worker(name.strip(), reader.amount(path, table, "cost_per_hour"), hours))
    return tuple(workers)


PRODUCT_KEYS = ("demand_per_week", "batch_size", "price", "material_cost", "stock")


def _products(reader: Reader, tables: dict) -> tuple[Product, ...]:
    goods = reader.table((), tables, "products", None)
    rows = []
    for name in goods:
        table = reader.table(("products",), goods, name, (*PRODUCT_KEYS, "variants"))
        path = ("products", name)
        whole = _product(reader, path, table, Product(name.strip()))
        kinds = reader.table(path, table, "variants", None)
        variants = []
        for kind in kinds:
            own = reader.table(path + ("variants",), kinds, kind, PRODUCT_KEYS)
            base = Product(
                name.strip(), kind.strip(), None, whole.batch_size, whole.price, whole.material_cost
            )
            variants.append(_product(reader, path + ("variants", kind), own, base))
        rows += [_with_sums(whole, variants), *variants]
    return tuple(rows)


def _product(reader: Reader, path: Path, table: dict, base: Product) -> Product:
    size = reader.whole(
        path, table, "batch_size", 1, LARGEST_BATCH, base.batch_size,
        "give the pieces started together",
    )  # fmt: skip
    return Product(
        base.name,
        base.variant,
        reader.amount(path, table, "demand_per_week", base.demand_per_week),
        size,
        reader.amount(path, table, "price", base.price),
        reader.amount(path, table, "material_cost", base.material_cost),
        reader.amount(path, table, "stock", base.stock),
        reader.lines.get(path, 0),
    )


def _with_sums(whole: Product, variants: list[Product]) -> Product:
    """The product with demand and stock of its variants together, where it names none itself."""

    def own_or_sum(key: str) -> float | None:
        parts = [getattr(row, key) for row in variants if getattr(row, key) is not None]
        return sum(parts) if getattr(whole, key) is None and parts else getattr(whole, key)

    return Product(
        whole.name,
        "",
        own_or_sum("demand_per_week"),
        whole.batch_size,
        whole.price,
        whole.material_cost,
        own_or_sum("stock"),
        whole.line,
    )


def shop_toml(shop: Shop) -> str:
    """The shop as TOML text that `read_shop` reads back to an equal shop."""
    keys: tuple[str, ...] = ("name", "timezone", "currency")
    if shop.weeks_closed_per_year:
        keys += ("weeks_closed_per_year",)
    lines = ["[shop]", *_pairs(shop, keys), "", "[week]"]
    lines += [f"{day} = {quoted(hours_text(shop.week.get(day, ())))}" for day in DAYS]
    keys = ("personal_percent", "fatigue_percent", "contingency_percent", "convention")
    lines += ["", "[allowance]", *_pairs(shop.allowance, keys)]
    for worker in shop.workers:
        lines += ["", f"[workers.{quoted(worker.name)}]"]
        lines += _pairs(worker, ("cost_per_hour", "hours_per_week"))
    for product in shop.products:
        place = f"products.{quoted(product.name)}"
        if product.variant:
            place += f".variants.{quoted(product.variant)}"
        lines += ["", f"[{place}]", *_pairs(product, _keys_to_write(shop, product))]
    if shop.overhead_per_week is not None:
        lines += ["", "[overhead]", f"per_week = {shop.overhead_per_week!r}"]
    return "\n".join(lines) + "\n"


def _keys_to_write(shop: Shop, product: Product) -> list[str]:
    """A product's keys less the sums of its variants; a variant's less what it takes over."""
    if product.variant:
        whole = shop.product(product.name)
        taken_over = ("batch_size", "price", "material_cost")
        return [
            key
            for key in PRODUCT_KEYS
            if key not in taken_over or getattr(product, key) != getattr(whole, key)
        ]
    variants = [row for row in shop.products if row.name == product.name and row.variant]
    sums = _with_sums(Product(product.name), variants)
    return [
        key
        for key in PRODUCT_KEYS
        if key == "batch_size" or getattr(product, key) != getattr(sums, key)
    ]


def _pairs(row: object, keys: tuple | list) -> list[str]:
    values = [(key, getattr(row, key)) for key in keys]
    return [
        f"{key} = {quoted(value) if isinstance(value, str) else repr(value)}"
        for key, value in values
        if value is not None
    ]


def hours_text(hours: Hours) -> str:
    """Hours as the shop file writes them: `08:00-12:00, 13:00-17:00`."""

    def clock(second: int) -> str:
        return f"{second // 3600:02d}:{second % 3600 // 60:02d}"

    return ", ".join(f"{clock(start)}-{clock(end)}" for start, end in hours)


def quoted(text: str) -> str:
    """A text as TOML writes it, in quotes."""
    escapes = {'"': '\\"', "\\": "\\\\"}
    return (
        '"'
        + "".join(escapes.get(c) or (c if c.isprintable() else f"\\U{ord(c):08x}") for c in text)
        + '"'
    )
