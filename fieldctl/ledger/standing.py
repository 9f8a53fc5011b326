"""In which states each target is, and since when: one row for each state that holds, written only when one changes.

Not ledger: a state is worked out from what a target says. Only the moment at which it began could not be found again
after a restart, so it is kept. A state that comes and goes takes the place of its own row.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection

from fieldctl.units import HostTime, TargetId

Key = tuple[TargetId, str]

_BEGIN = """
INSERT INTO states (target, state, host_boot, at_us, wall) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (target, state) DO UPDATE SET host_boot = excluded.host_boot, at_us = excluded.at_us, wall = excluded.wall
"""
_END = "DELETE FROM states WHERE target = ? AND state = ?"
_ALL = "SELECT target, state, host_boot, at_us, wall FROM states ORDER BY target, state"


@dataclass(frozen=True, slots=True)
class Standing:
    """A state of a target and the moment it began; the wall's label where there was one."""

    target: TargetId
    state: str
    since: HostTime
    wall: str | None = None

    @property
    def key(self) -> Key:
        """What has one row."""
        return self.target, self.state


def write(connection: Connection, begun: Collection[Standing], ended: Collection[Key]) -> None:
    """Take away what ended, then write what began."""
    if ended:
        connection.exec_driver_sql(_END, list(ended))
    if begun:
        rows = [(row.target, row.state, row.since.boot, row.since.us, row.wall) for row in begun]
        connection.exec_driver_sql(_BEGIN, rows)


def read(connection: Connection) -> list[Standing]:
    """Every state that holds as far as anybody wrote."""
    return [
        Standing(TargetId(target), state, HostTime(boot, us), wall)
        for target, state, boot, us, wall in connection.exec_driver_sql(_ALL)
    ]
