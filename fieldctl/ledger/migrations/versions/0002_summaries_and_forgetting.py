"""Summaries of exercises, when people were named last, and who was forgotten."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make people_seen, forgotten and summaries."""
    op.create_table(
        "people_seen",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("day", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forgotten",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("day", sa.Text),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "summaries",
        sa.Column("exercise", sa.Text, primary_key=True),
        sa.Column("version", sa.Text, primary_key=True),
        sa.Column("covers", sa.Integer, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
