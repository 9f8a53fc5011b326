"""In which states each target is, and since when."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make states."""
    op.create_table(
        "states",
        sa.Column("target", sa.Text, primary_key=True),
        sa.Column("state", sa.Text, primary_key=True),
        sa.Column("host_boot", sa.Text, nullable=False),
        sa.Column("at_us", sa.Integer, nullable=False),
        sa.Column("wall", sa.Text),
        sqlite_with_rowid=False,
    )
