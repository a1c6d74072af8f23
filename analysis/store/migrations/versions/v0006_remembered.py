"""Version 6: what a screen remembers over a restart, such as the scenarios of What if."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    op.create_table(
        "remembered",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("text", sa.Text, nullable=False),
    )
