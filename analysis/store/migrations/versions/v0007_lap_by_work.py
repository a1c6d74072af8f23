"""Version 7: an index by product and operation, so that a phone's lists need not read all laps."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    counts = sa.text("ended_by IS NULL")
    columns = ["product", "operation", "started_at"]
    op.create_index("lap_by_work", "lap", columns, sqlite_where=counts, postgresql_where=counts)
