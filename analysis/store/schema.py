"""The version of the store's tables, and bringing an older store up to it."""

from pathlib import Path

import sqlalchemy as sa

from analysis.problems import StoreProblem
from analysis.store.connection import place, reading, shop_schema, writing

VERSION = "0007"
MIGRATIONS = Path(__file__).parent / "migrations"


def version_of(engine: sa.Engine) -> str | None:
    """The version of the tables in a store, None where there are none yet."""
    with reading(engine) as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        return connection.scalar(sa.text("SELECT version_num FROM alembic_version"))


def bring_up_to_date(engine: sa.Engine, version: str = VERSION) -> None:
    """Make the tables, or migrate older ones, in one transaction; refuse newer ones."""
    found = version_of(engine)
    if found == version:
        return
    if found is not None and found > version:
        raise StoreProblem(
            f"The store {place(engine)} was written by a newer version of "
            "this program; install that version, or name another store."
        )
    _migrate(engine, version)


def _migrate(engine: sa.Engine, version: str) -> None:
    from alembic import command  # slow to import, and needed only when tables change
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with writing(engine) as connection:
        if schema := shop_schema(engine):
            connection.execute(sa.schema.CreateSchema(schema, if_not_exists=True))
        config.attributes["connection"] = connection
        command.upgrade(config, version)
