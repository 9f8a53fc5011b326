"""What targets told, hour by hour, on one axis of days: rows as they are on file become columns of each target.

    told_of(rows) -> Log      from `Reader.telemetry_hours`; each target's `Told` in order of time

Days are counted from 1970-01-01 by the wall label. Within one host boot the label's distance from the host's clock is
one number (its median), so that a wall clock that was set late or wrongly for a while moves nothing; boots that never
had a label cannot be placed and are counted.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fieldctl.ledger.telemetry import HourRow
from fieldctl.units import TargetId
from fieldctl.upkeep.curves import Array

DAY_S = 86_400.0
LABELS_MOST = 2_000  # of a host boot, whose median is its distance from the wall
MORE = ("charge_mas", "asked", "answered", "resent", "orders_lost", "plus_minus_us", "moisture")
"""What telemetry says beside volts, °C and noise: charge, counts since the controller started, the clock's ±; and
relative moisture in percent where a target has a sensor for it."""


@dataclass(frozen=True, slots=True)
class Told:
    """One row an hour of one target, in order of time; NaN where it did not say."""

    day: Array
    rest_v: Array
    load_v: Array
    celsius: Array
    noise: Array
    charge_mas: Array
    asked: Array
    answered: Array
    resent: Array
    orders_lost: Array
    plus_minus_us: Array
    moisture: Array


@dataclass(frozen=True, slots=True)
class Log:
    """Every target's rows; seconds from each host boot's clock to the wall's; how many rows have no place in time."""

    targets: Mapping[TargetId, Told]
    ahead: Mapping[str, float]
    lost: int

    def upto(self, today: datetime.date) -> Log:
        """What was told by the end of a day."""
        until = float((today - datetime.date(1970, 1, 1)).days + 1)
        found = {}
        for target, told in self.targets.items():
            rows = int(np.searchsorted(told.day, until))
            if rows:
                found[target] = Told(*(getattr(told, name)[:rows] for name in Told.__slots__))
        return Log(found, self.ahead, self.lost)


def told_of(rows: Sequence[HourRow]) -> Log:
    """Each target's rows in order of time."""
    ahead = _anchors(rows)
    placed = [row for row in rows if row[1] in ahead]
    if not placed:
        return Log({}, ahead, len(rows))
    target, boot, at_us, _, rest, load, celsius, noise, extra = zip(*placed, strict=True)
    day = (np.array(at_us, dtype=np.float64) / 1e6 + np.array([ahead[each] for each in boot])) / DAY_S
    said = json.loads(f"[{','.join(extra)}]")
    columns = np.array(
        [rest, load, celsius, noise, *([each.get(name) for each in said] for name in MORE)], dtype=np.float64
    )
    names = {name: number for number, name in enumerate(dict.fromkeys(target))}
    which = np.array([names[each] for each in target])
    order = np.lexsort((day, which))
    day, columns = day[order], columns[:, order]
    ends = np.searchsorted(which[order], np.arange(len(names) + 1))
    found = {
        TargetId(name): Told(day[begin:end], *columns[:, begin:end])
        for name, begin, end in zip(names, ends[:-1], ends[1:], strict=True)
    }
    return Log(found, ahead, len(rows) - len(placed))


def _anchors(rows: Sequence[HourRow]) -> dict[str, float]:
    """Seconds from a host boot's clock to the wall's, by boot."""
    apart: dict[str, list[float]] = {}
    for row in rows:
        known = apart.setdefault(row[1], [])
        if row[3] is not None and len(known) < LABELS_MOST:
            known.append(datetime.datetime.fromisoformat(row[3]).timestamp() - row[2] / 1e6)
    return {boot: float(np.median(values)) for boot, values in apart.items() if values}
