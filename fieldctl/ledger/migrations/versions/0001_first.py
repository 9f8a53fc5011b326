"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make entries, people, settings, strikes and telemetry."""
    op.create_table(
        "entries",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("exercise", sa.Text),
        sa.Column("target", sa.Text),
        sa.Column("host_boot", sa.Text, nullable=False),
        sa.Column("at_us", sa.Integer, nullable=False),
        sa.Column("wall", sa.Text),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("prev", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("entries_by_exercise", "entries", ["exercise", "seq"])
    op.create_index("entries_by_target", "entries", ["target", "seq"])
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER entries_refuse_{change.lower()} BEFORE {change} ON entries "
            "BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END"
        )
    op.create_table(
        "strikes",
        sa.Column("target", sa.Text, primary_key=True),
        sa.Column("boot", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "telemetry",
        sa.Column("target", sa.Text, primary_key=True),
        sa.Column("host_boot", sa.Text, primary_key=True),
        sa.Column("minute", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at_us", sa.Integer, nullable=False),
        sa.Column("wall", sa.Text),
        sa.Column("volts_rest", sa.Float),
        sa.Column("volts_load", sa.Float),
        sa.Column("temperature_c", sa.Float),
        sa.Column("noise", sa.Float),
        sa.Column("extra", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
