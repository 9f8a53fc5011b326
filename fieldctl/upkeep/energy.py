"""What a target uses: a table of currents by what it does, and the calendar of the field.

The counter of the target itself comes first; this table stands in where it has not counted for long enough, and shows
whether what was counted is what the calendar explains.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.readings import Daily
from fieldctl.upkeep.slopes import theil_sen

COUNTED_DAYS = 28  # that the use of the coming days is taken from
COUNTED_LEAST = 5
RATE_SPREAD = 0.07  # at least: no two weeks of a field are alike
MODEL_SPREAD = 0.6  # of the table's figures, which are plans
SECONDS_SENDING = 480.0  # of one target in one exercise that it takes part in


class Current(NamedTuple):
    """Mean current in one state, and where the figure comes from."""

    state: str
    ma: float
    source: str


TABLE = (
    Current("asleep", 0.5, "0.15 mA, facts on listening, and awake for a quarter of a second in two; memory"),
    Current("awake", 3.0, "busy bus 2 to 5 mA, facts on listening; memory"),
    Current("armed", 1.0, "1.2 Ah over 1 200 open hours, facts on listening; memory"),
    Current("sending", 12.0, "mean over the pulses, on top of awake; invented, as the simulated targets have it"),
)
"""Currents by state: planning figures, none measured here."""

MA = {row.state: row.ma for row in TABLE}


@dataclass(frozen=True, slots=True)
class Calendar:
    """A usual day of the field: hours open, exercises that one target sends in, whether it sleeps while closed."""

    open_hours: float
    sends_in: float
    sleeps: bool
    from_log: bool = False  # as carried out, not as site.toml plans it

    @property
    def ah_a_day(self) -> float:
        """Charge that the table says a day takes."""
        closed = 24.0 - self.open_hours
        ma_h = self.open_hours * (MA["awake"] + MA["armed"]) + closed * (MA["asleep"] if self.sleeps else MA["awake"])
        return (ma_h + self.sends_in * SECONDS_SENDING / 3600.0 * MA["sending"]) / 1000.0


class Use(NamedTuple):
    """Charge that a coming day takes, its spread as a share, and whether it was counted or is the table's."""

    ah_a_day: float
    spread: float
    counted: bool


def use_of(days: Daily, calendar: Calendar) -> Use:
    """What a day takes: counted where there are days enough, robust against wild ones; otherwise the table's."""
    recent = days.part(int(np.searchsorted(days.day, days.day[-1] - COUNTED_DAYS)), days.size) if days.size else days
    if recent.size < COUNTED_LEAST or recent.used_ah[-1] <= recent.used_ah[0]:
        return Use(calendar.ah_a_day, MODEL_SPREAD, False)
    found = theil_sen(recent.day, recent.used_ah)
    if found.slope <= 0:
        return Use(calendar.ah_a_day, MODEL_SPREAD, False)
    by_bounds = (found.high - found.low) / 2.0 / 1.6449 / found.slope
    return Use(found.slope, float(np.hypot(RATE_SPREAD, min(by_bounds + _weeks(recent), 0.5))), True)


def _weeks(days: Daily) -> float:
    """How much stretches of about a week differ from each other, as a share of their mean, halved for regression."""
    if days.day[-1] - days.day[0] < 14:
        return 0.05
    edges = np.linspace(days.day[0], days.day[-1], int((days.day[-1] - days.day[0]) // 7) + 1)
    taken: Array = np.diff(np.interp(edges, days.day, days.used_ah))
    return float(np.std(taken) / max(float(np.mean(taken)), 1e-9)) / 2.0
