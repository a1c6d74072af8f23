"""Run by Alembic: migrates on the connection that `analysis.store.schema` hands over."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    transaction_per_migration=False,
)
context.run_migrations()
