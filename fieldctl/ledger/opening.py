"""Opening the file: connections with their pragmas, fresh databases, older and newer ones.

SQLite's own transactions are used as they are (`isolation_level=None`): BEGIN IMMEDIATE, then `commit()`.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine
from sqlalchemy.pool import StaticPool

from fieldctl.errors import NotFound, Refused
from fieldctl.ledger.schema import HEAD, statements

MEMORY = ":memory:"
BUSY_MS = 5_000  # a reader that recovers the log after a crash holds the file for moments; longer is a fault


def writing_engine(path: str, *, durable: bool) -> Engine:
    """An engine with one connection, for whoever holds the writer's lock; any thread may use it, one at a time."""

    def connect() -> sqlite3.Connection:
        raw = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=BUSY_MS / 1000)
        if path != MEMORY:
            raw.execute(f"PRAGMA synchronous={'FULL' if durable else 'OFF'}")
            raw.execute("PRAGMA secure_delete=ON")  # a forgotten person's name is overwritten, not only unlinked
        return raw

    return create_engine("sqlite://", creator=connect, poolclass=StaticPool)


def reading_engine(path: Path) -> Engine:
    """An engine that cannot write; works beside a running writer, and on a copy in a read-only folder."""
    if not path.exists():
        raise NotFound(
            f"There is no ledger {path}.", remedy="Check the site's folder; `fieldctl serve` makes a ledger."
        )
    # Without a log beside it nobody writes; SQLite would yet want to make files in the folder to read it.
    writable = os.access(path.parent, os.W_OK, effective_ids=os.access in os.supports_effective_ids)
    still = not writable and not path.with_name(path.name + "-wal").exists()
    uri = f"file:{quote(str(path.absolute()))}?{'immutable=1' if still else 'mode=ro'}"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=BUSY_MS / 1000)

    return create_engine("sqlite://", creator=connect)


def revision(connection: Connection) -> str | None:
    """The schema revision on file, None for an empty file; Refused for a database that is not ours."""
    tables = {row[0] for row in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables:
        return None
    if not {"alembic_version", "entries"} <= tables:
        raise Refused(
            "This file is a database of another program.",
            expected="a ledger of fieldctl, or no file at all",
            remedy="Name another file; this one was not touched.",
        )
    return str(connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one())


def prepare(connection: Connection, where: str) -> None:
    """Bring a database to the current version: make a fresh one, migrate an older one, refuse a newer one."""
    found = revision(connection)
    if found is None:
        _in_one_transaction(connection, _create)
    elif found != HEAD:
        from fieldctl.ledger import migrations  # Alembic takes 150 ms to import and is hardly ever needed

        if found not in migrations.known():
            raise newer(where, found)
        _in_one_transaction(connection, migrations.upgrade)
    if where != MEMORY:
        connection.exec_driver_sql("PRAGMA journal_mode=WAL").all()  # readers and the writer do not wait for each other


def check_readable(connection: Connection, where: str) -> None:
    """Refused unless the database has the current version: a reader changes nothing, so it cannot migrate."""
    found = revision(connection)
    if found == HEAD:
        return
    from fieldctl.ledger.migrations import known

    if found is not None and found not in known():
        raise newer(where, found)
    raise Refused(
        f"The ledger {where} is of an older version ({found or 'empty'}).",
        expected=f"schema {HEAD}",
        remedy="Start `fieldctl serve` once: it brings the ledger up to date.",
    )


def newer(where: str, found: str) -> Refused:
    """What is said to a database that a newer program wrote."""
    return Refused(
        f"The ledger {where} was written by a newer fieldctl (schema {found}).",
        expected=f"schema {HEAD} or older",
        remedy="Install that newer version, or restore the copy made before it was installed. Nothing was changed.",
    )


def _create(connection: Connection) -> None:
    for statement in statements():
        connection.exec_driver_sql(statement)


def _in_one_transaction(connection: Connection, work: Callable[[Connection], None]) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")
    try:
        work(connection)
    except BaseException:
        connection.rollback()
        raise
    connection.commit()
