"""What lies beside the entries and can be thrown away: a summary of each exercise, with the last entry that it covers.

A summary is made from entries alone (`fieldctl.debrief.summary`), so it is no record: when it is missing, or older than
the exercise's last entry, it is made again. One is kept for each version of the program, so that an old exercise can
tell what was said of it at the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

_LAST = """
WITH RECURSIVE each(exercise) AS (
  SELECT min(exercise) FROM entries
  UNION ALL
  SELECT (SELECT min(exercise) FROM entries WHERE exercise > each.exercise) FROM each WHERE each.exercise IS NOT NULL
)
SELECT exercise, (SELECT max(seq) FROM entries WHERE entries.exercise = each.exercise) FROM each
WHERE exercise IS NOT NULL
"""  # from one exercise to the next along the index, without touching the entries between
_PUT = """
INSERT INTO summaries (exercise, version, covers, body) VALUES (?, ?, ?, ?)
ON CONFLICT (exercise, version) DO UPDATE SET covers = excluded.covers, body = excluded.body
WHERE excluded.covers >= summaries.covers
"""


@dataclass(frozen=True, slots=True)
class Kept:
    """A summary as it is on file: whose, made by which version, up to which entry, and its JSON text."""

    exercise: str
    version: str
    covers: int
    body: str


def last_entries(connection: Connection) -> dict[str, int]:
    """The number of the last entry of every exercise."""
    return {row[0]: row[1] for row in connection.exec_driver_sql(_LAST)}


def of_version(connection: Connection, version: str) -> list[Kept]:
    """Every summary that this version made."""
    rows = connection.exec_driver_sql(
        "SELECT exercise, version, covers, body FROM summaries WHERE version = ?", (version,)
    )
    return [Kept(*row) for row in rows]


def of_exercise(connection: Connection, exercise: str) -> list[Kept]:
    """What each version said of one exercise, in the order of what they cover."""
    rows = connection.exec_driver_sql(
        "SELECT exercise, version, covers, body FROM summaries WHERE exercise = ? ORDER BY covers, version", (exercise,)
    )
    return [Kept(*row) for row in rows]


def put(connection: Connection, rows: Sequence[Kept]) -> None:
    """Keep summaries; one that covers less than what is on file changes nothing."""
    connection.exec_driver_sql(_PUT, [(row.exercise, row.version, row.covers, row.body) for row in rows])


def throw_away(connection: Connection) -> int:
    """Forget every summary; how many there were."""
    return connection.exec_driver_sql("DELETE FROM summaries").rowcount
