"""Version 5: what the clock showed of laps written without an offset, to place them anew.

Laps taken in before stay where they are: nothing tells which of them were written so.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.add_column("lap", sa.Column("clock_at", sa.BigInteger))
