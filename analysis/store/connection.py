"""Opening the database: where it is, how safely it writes, and its errors in plain words.

One workshop keeps its store in a SQLite file. A group of workshops may share a PostgreSQL server,
each with tables of its own in a schema: `postgresql+psycopg://me@host/workshops?shop=garage`.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

from analysis.problems import NotFound, StoreProblem
from analysis.store.glance import BUSY_SECONDS, default_url

REMEDIES = (  # what the driver says, what it means, what to do
    ("readonly", "can only be read", "give yourself the right to write this file and its folder"),
    ("read-only", "can only be read", "give yourself the right to write this file and its folder"),
    ("disk is full", "does not fit on the disk any more", "free some space and try again"),
    ("disk i/o", "cannot be read or written by the disk", "check the disk"),
    ("locked", "is in use by another program", "close the other program or try again in a moment"),
    (
        "malformed",
        "is damaged",
        "stop the program, then bring back the latest backup with: python -m analysis restore",
    ),
    ("not a database", "is not a store", "name another file, or put this one aside"),
    ("unable to open", "cannot be opened", "check that its folder exists and can be written"),
    ("permission denied", "is closed to this user", "have its keeper grant what is missing"),
    ("authentication failed", "refuses this user or password", "check both in its address"),
    ("does not exist", "is not there", "have it made on the server first, or check its address"),
    ("connection", "does not answer", "start the database server, or check the address"),
)
SHOP_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,40}")  # a schema's name that needs no quotes
WRITERS = 0x73686F70  # the advisory lock that PostgreSQL's writers of one shop take in turn


def open_engine(url: str | None, create: bool = True) -> sa.Engine:
    """An engine for a URL or a plain file path; the folder of a SQLite file is made if missing,
    or NotFound raised where nothing is to be created.

    SQLite writes through a write-ahead log with full sync: what is committed is on the disk.
    """
    url = url or default_url()
    try:
        parsed = _parsed(url)
        if parsed.get_backend_name() == "sqlite" and parsed.database:
            _prepare_place(parsed.database, create)
        engine = sa.create_engine(parsed, **_options(parsed))
    except OSError as error:
        raise StoreProblem(
            f"The folder of the store {masked(url)} cannot be made ({error.strerror}); "
            "choose another place with WORKSHOP_STORE."
        ) from None
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError, ValueError) as error:
        raise StoreProblem(
            f"The store's address {masked(url)!r} cannot be used ({masked(str(error))}); write it "
            "as sqlite:////folder/file.sqlite."
        ) from None
    if parsed.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", _set_up_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
    else:
        sa.event.listen(engine, "begin", _begin_on_server)
    return engine


def store_file(url: str | None) -> Path | None:
    """The file a store is in, None where it is in a database server or in memory."""
    parsed = _parsed(url or default_url())
    if parsed.get_backend_name() != "sqlite" or parsed.database in (None, "", ":memory:"):
        return None
    return None if parsed.database.startswith("file:") else Path(parsed.database)


def _parsed(url: str) -> sa.URL:
    """The address; a plain path is taken as it stands, since a ? in it begins no options."""
    if "://" not in url:
        return sa.URL.create("sqlite", database=url)
    parsed = sa.make_url(url)
    shop = parsed.query.get("shop")
    if shop is None or parsed.get_backend_name() == "sqlite":
        return parsed
    if not isinstance(shop, str) or not SHOP_NAME.fullmatch(shop):
        raise ValueError(f"shop={shop!r} is no name of letters, digits and _, 41 at most")
    # PostgreSQL then looks for tables in this schema only, so no statement can reach another's.
    options = {"options": f"-csearch_path={shop.lower()}"}
    return parsed.difference_update_query(["shop"]).update_query_dict(options)


def shop_schema(engine: sa.Engine) -> str | None:
    """The schema of this shop's tables on a server, None where the address names no shop."""
    options = engine.url.query.get("options", "")
    return options.partition("-csearch_path=")[2] or None if isinstance(options, str) else None


def masked(text: str) -> str:
    """The text with the password of any address in it replaced by stars."""
    return re.sub(r"(://[^\s/:@]*:).*@", r"\1***@", text)


def _prepare_place(database: str, create: bool) -> None:
    if database.startswith("file:"):
        return  # SQLite's own URI names its place and mode; it is no path to make folders for
    if create:
        Path(database).parent.mkdir(parents=True, exist_ok=True)
    elif not Path(database).exists():
        raise no_store(database)


def no_store(place: str) -> NotFound:
    """What is said where a store is only to be read and there is none."""
    return NotFound(f"There is no store {place}; check its name, or import laps into it first.")


def _options(url: sa.URL) -> dict:
    if url.get_backend_name() != "sqlite":
        return {}
    return {"connect_args": {"timeout": BUSY_SECONDS, "isolation_level": None}}


def _set_up_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON",
                   "cache_size=-65536"):  # fmt: skip
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: sa.Connection) -> None:
    """Take the write lock at the start, so that no reader has to be turned into a writer."""
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_on_server(connection: sa.Connection) -> None:
    """Writers of one shop take turns, as SQLite's do, so that what one has looked up still holds
    when it writes and changes are numbered in the order in which they are kept. Readers see the
    state at their first statement throughout.
    """
    if connection.get_execution_options().get("writes"):
        connection.exec_driver_sql(
            f"SELECT pg_advisory_xact_lock({WRITERS}, hashtext(current_schema()))"
        )
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


@contextmanager
def reading(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection that sees one state of the store, for as long as it is open."""
    with plain_errors(engine), engine.connect() as connection:
        yield connection


@contextmanager
def writing(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection whose changes are kept together at the end, or not at all."""
    with (
        plain_errors(engine),
        engine.connect().execution_options(writes=True) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def plain_errors(engine: sa.Engine) -> Iterator[None]:
    """Errors of the database as StoreProblem, naming the store and what to do."""
    driver = engine.dialect.loaded_dbapi
    try:
        yield
    except (sa.exc.DBAPIError, driver.Error) as error:
        cause = getattr(error, "orig", error)
        ours = isinstance(cause, driver.IntegrityError | driver.ProgrammingError)
        if ours and "permission denied" not in str(cause):
            raise  # a mistake of ours, not of the place
        raise problem(engine, cause) from error


def place(engine: sa.Engine) -> str:
    """Where a store is, for people: its file, or its address without the password."""
    url = engine.url
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    return url.render_as_string()


def problem(engine: sa.Engine, error: Exception) -> StoreProblem:
    """The driver's error as one sentence a user can act on."""
    said = str(error).lower()
    where = place(engine)
    for words, meaning, remedy in REMEDIES:
        if words in said:
            return StoreProblem(f"The store {where} {meaning}; {remedy}. Nothing was changed.")
    said = masked(str(error))
    return StoreProblem(f"The store {where} cannot be used ({said}). Nothing was changed.")
