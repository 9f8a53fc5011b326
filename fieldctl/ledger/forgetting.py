"""Forgetting a person: the name goes out of the file for good; the entries keep the id, which says nothing by itself.

Who was forgotten is kept twice, as ids alone: in the table `forgotten`, and in a text file beside the ledger,
`<ledger>.forgotten`, one id and the day a line. A backup made later holds no name. A backup made earlier does, and does
not know; restored beside that file it forgets again as soon as it is opened, and is never shown with the name even by
somebody who only reads. Restored without that file, on another machine, it cannot know: copy the file along.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path

from sqlalchemy import Connection

from fieldctl.ledger.failing import in_words
from fieldctl.units import PersonId

SUFFIX = ".forgotten"


def side_file(ledger: Path) -> Path:
    """Where the ids of forgotten people lie beside a ledger."""
    return ledger.with_name(ledger.name + SUFFIX)


def read_side_file(ledger: Path) -> dict[PersonId, str | None]:
    """Ids and days of the side file; what is no such line is passed over, as is a file that is not there."""
    with contextlib.suppress(OSError):
        text = side_file(ledger).read_text(encoding="utf-8", errors="replace")
        rows = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("#")]
        return {PersonId(row[0]): row[1] if len(row) > 1 else None for row in rows}
    return {}


def write_side_file(ledger: Path, people: Mapping[PersonId, str | None]) -> None:
    """Add ids to the side file, safe on the disk before this returns; LedgerFailed where it cannot be written."""
    if not people:
        return
    try:
        handle = os.open(side_file(ledger), os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            os.write(handle, "".join(f"{who} {day or ''}".rstrip() + "\n" for who, day in people.items()).encode())
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as bad:
        raise in_words(bad, str(ledger)) from bad


def forgotten(connection: Connection) -> dict[PersonId, str | None]:
    """Who was forgotten, and on which day, as the ledger's file knows it."""
    return {PersonId(row[0]): row[1] for row in connection.exec_driver_sql("SELECT id, day FROM forgotten")}


def forget(connection: Connection, people: Mapping[PersonId, str | None]) -> set[PersonId]:
    """Take names away and note that they were forgotten, inside the caller's transaction; who had a name."""
    had = set()
    for who, day in people.items():
        if connection.exec_driver_sql("DELETE FROM people WHERE id = ?", (who,)).rowcount:
            had.add(who)
        connection.exec_driver_sql("DELETE FROM people_seen WHERE id = ?", (who,))
        connection.exec_driver_sql(
            "INSERT INTO forgotten (id, day) VALUES (?, ?) ON CONFLICT (id) DO NOTHING", (who, day)
        )
    if had:
        _write_anew(connection)
    return had


def _write_anew(connection: Connection) -> None:
    """Write the table of people anew: a page that is freed is overwritten, a page that is kept may hold copies.

    `secure_delete` overwrites what is deleted; when rows move about inside a page, old copies may stay in its gaps.
    """
    rows = [tuple(row) for row in connection.exec_driver_sql("SELECT id, name FROM people")]
    connection.exec_driver_sql("DELETE FROM people")
    if rows:
        connection.exec_driver_sql("INSERT INTO people (id, name) VALUES (?, ?)", rows)


def see(connection: Connection, days: Mapping[PersonId, str]) -> None:
    """Note the last day on which people were named; an earlier day than the one on file changes nothing."""
    connection.exec_driver_sql(
        "INSERT INTO people_seen (id, day) VALUES (?, ?) "
        "ON CONFLICT (id) DO UPDATE SET day = excluded.day WHERE excluded.day > people_seen.day",
        list(days.items()),
    )


def seen(connection: Connection) -> dict[PersonId, str]:
    """The last day on which each person was named."""
    return {PersonId(row[0]): row[1] for row in connection.exec_driver_sql("SELECT id, day FROM people_seen")}
