"""The tables as they are now; `migrations/` leads here from every earlier version, and a test compares the two.

`entries` is the ledger proper: two triggers refuse every change and removal. `strikes` makes a strike unique on
(target, boot, number) and is written in the same transaction. People, telemetry, states, settings and summaries are
not ledger: they may change, be thinned, be forgotten, and (summaries) be thrown away and made again.
"""

from __future__ import annotations

from functools import cache

from sqlalchemy import Column, Float, Index, Integer, MetaData, Table, Text
from sqlalchemy.dialects import sqlite
from sqlalchemy.schema import CreateIndex, CreateTable

HEAD = "0003"
"""The revision that these tables are: the newest file under migrations/versions."""

metadata = MetaData()

entries = Table(
    "entries",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("exercise", Text),
    Column("target", Text),
    Column("host_boot", Text, nullable=False),
    Column("at_us", Integer, nullable=False),
    Column("wall", Text),
    Column("body", Text, nullable=False),
    Column("prev", Text, nullable=False),
    Column("hash", Text, nullable=False),
    Index("entries_by_exercise", "exercise", "seq"),
    Index("entries_by_target", "target", "seq"),
    sqlite_autoincrement=True,  # SQLite then remembers the highest number: a cut-off tail shows
)

strikes = Table(
    "strikes",
    metadata,
    Column("target", Text, primary_key=True),
    Column("boot", Integer, primary_key=True, autoincrement=False),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, nullable=False),
    sqlite_with_rowid=False,
)

people = Table(
    "people",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    sqlite_with_rowid=False,
)

people_seen = Table(
    "people_seen",
    metadata,
    Column("id", Text, primary_key=True),
    Column("day", Text, nullable=False),  # the last day on which somebody named this person
    sqlite_with_rowid=False,
)

forgotten = Table(
    "forgotten",
    metadata,
    Column("id", Text, primary_key=True),
    Column("day", Text),  # None where no wall clock was set
    sqlite_with_rowid=False,
)

summaries = Table(
    "summaries",
    metadata,
    Column("exercise", Text, primary_key=True),
    Column("version", Text, primary_key=True),  # of the program that made it: an old one tells what was said then
    Column("covers", Integer, nullable=False),  # the last entry of the exercise that it knows
    Column("body", Text, nullable=False),
)

telemetry = Table(
    "telemetry",
    metadata,
    Column("target", Text, primary_key=True),
    Column("host_boot", Text, primary_key=True),
    Column("minute", Integer, primary_key=True, autoincrement=False),  # of host time: one row a minute at most
    Column("at_us", Integer, nullable=False),
    Column("wall", Text),
    Column("volts_rest", Float),
    Column("volts_load", Float),
    Column("temperature_c", Float),
    Column("noise", Float),
    Column("extra", Text, nullable=False),
    sqlite_with_rowid=False,
)

states = Table(
    "states",
    metadata,
    Column("target", Text, primary_key=True),
    Column("state", Text, primary_key=True),
    Column("host_boot", Text, nullable=False),  # of the moment it began
    Column("at_us", Integer, nullable=False),
    Column("wall", Text),
    sqlite_with_rowid=False,
)

settings = Table(
    "settings",
    metadata,
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
    sqlite_with_rowid=False,
)

TRIGGERS = tuple(
    f"CREATE TRIGGER entries_refuse_{change.lower()} BEFORE {change} ON entries "
    "BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END"
    for change in ("UPDATE", "DELETE")
)
"""What makes `entries` append-only for every program that opens the file, not for this one alone."""


@cache
def statements() -> tuple[str, ...]:
    """All statements that make a new, empty database of the current version."""
    dialect = sqlite.dialect()
    made = []
    for table in metadata.sorted_tables:
        made.append(str(CreateTable(table).compile(dialect=dialect)).strip())
        made += [
            str(CreateIndex(i).compile(dialect=dialect)).strip()
            for i in sorted(table.indexes, key=lambda i: str(i.name))
        ]
    made += TRIGGERS
    made.append(
        "CREATE TABLE alembic_version (\n\tversion_num VARCHAR(32) NOT NULL, \n\t"
        "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)\n)"
    )
    made.append(f"INSERT INTO alembic_version (version_num) VALUES ('{HEAD}')")
    return tuple(made)
