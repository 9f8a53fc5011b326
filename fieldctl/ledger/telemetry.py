"""What targets measure all the time: volts, temperature, noise. Not ledger: one row a minute, later one an hour.

Within a minute the latest value of each column stands. Rows of an earlier host boot have no common clock with this
one; they are at least as old as this boot, and as old as their wall label says where both have one.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection

from fieldctl.ledger.pieces import plain_rows
from fieldctl.units import US_PER_S, HostTime, TargetId

MINUTE_US = 60 * US_PER_S
MINUTES_KEPT_DAYS = 7  # a week of cold nights shows how a battery behaves; the trend is seen in hours as well
HOURS_KEPT_DAYS = 800  # this winter and the last, to compare a battery with
DAY_US = 86_400 * US_PER_S

Key = tuple[TargetId, str, int]

_UPSERT = """
INSERT INTO telemetry (target, host_boot, minute, at_us, wall, volts_rest, volts_load, temperature_c, noise, extra)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (target, host_boot, minute) DO UPDATE SET
  at_us = excluded.at_us, wall = coalesce(excluded.wall, wall),
  volts_rest = coalesce(excluded.volts_rest, volts_rest), volts_load = coalesce(excluded.volts_load, volts_load),
  temperature_c = coalesce(excluded.temperature_c, temperature_c), noise = coalesce(excluded.noise, noise),
  extra = json_patch(extra, excluded.extra)
"""
_OLD = """
  ((host_boot = :boot AND at_us < :now_us - :age_us)
   OR (host_boot <> :boot AND (:now_us > :age_us OR (wall IS NOT NULL AND :before IS NOT NULL AND wall < :before))))
"""
_THIN = f"""
DELETE FROM telemetry WHERE {_OLD} AND EXISTS (
  SELECT 1 FROM telemetry AS first WHERE first.target = telemetry.target AND first.host_boot = telemetry.host_boot
  AND first.minute >= (telemetry.minute / 60) * 60 AND first.minute < telemetry.minute)
"""
_DROP = f"DELETE FROM telemetry WHERE {_OLD}"
_HOURS = """
SELECT target, host_boot, at_us, wall, volts_rest, volts_load, temperature_c, noise, extra
FROM telemetry AS row WHERE minute % 60 = 0 OR NOT EXISTS (
  SELECT 1 FROM telemetry AS first WHERE first.target = row.target AND first.host_boot = row.host_boot
  AND first.minute >= (row.minute / 60) * 60 AND first.minute < row.minute)
"""  # an hour's minute 0 has none before it, so most rows are not looked for

HourRow = tuple[str, str, int, str | None, float | None, float | None, float | None, float | None, str]
"""Target, host boot, microseconds of it, wall label, volts at rest and under load, °C, the pad's noise, and what else
was said as JSON text (`extra`)."""


@dataclass(frozen=True, slots=True)
class Telemetry:
    """What one target measured; None where it did not say."""

    target: TargetId
    at: HostTime
    wall: str | None = None
    volts_rest: float | None = None
    volts_load: float | None = None
    temperature_c: float | None = None
    noise: float | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        """Target, host boot and minute: what has one row."""
        return (self.target, self.at.boot, self.at.us // MINUTE_US)

    def over(self, earlier: Telemetry) -> Telemetry:
        """This, with what only the earlier sample of the same minute said."""
        kept = {
            name: getattr(earlier, name)
            for name in ("wall", "volts_rest", "volts_load", "temperature_c", "noise")
            if getattr(self, name) is None
        }
        return replace(self, extra={**earlier.extra, **self.extra}, **kept)


def write(connection: Connection, rows: list[Telemetry]) -> None:
    """Add rows to what their minutes already hold."""
    values = [
        (
            *row.key,
            row.at.us,
            row.wall,
            row.volts_rest,
            row.volts_load,
            row.temperature_c,
            row.noise,
            json.dumps(dict(row.extra)),
        )
        for row in rows
    ]
    connection.exec_driver_sql(_UPSERT, values)


def thin(connection: Connection, now: HostTime, wall: str | None) -> int:
    """Leave one row an hour of what is older than a week, none of what is older than two winters; rows taken away."""
    return sum(
        connection.exec_driver_sql(
            statement, {"boot": now.boot, "now_us": now.us, "age_us": days * DAY_US, "before": _days_before(wall, days)}
        ).rowcount
        for statement, days in ((_DROP, HOURS_KEPT_DAYS), (_THIN, MINUTES_KEPT_DAYS))
    )


def hours(connection: Connection) -> list[HourRow]:
    """The first row of every hour: what thinning keeps, so that it changes nothing that is made of these."""
    return plain_rows(connection, _HOURS)


def _days_before(wall: str | None, days: int) -> str | None:
    if wall is None:
        return None
    return (datetime.fromisoformat(wall) - timedelta(days=days)).isoformat().replace("+00:00", "Z")
