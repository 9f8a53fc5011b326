"""Snow and place: how deep the snow was on a day, and a target that lies elsewhere than it was surveyed."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class SnowMeasured(Fact):
    """The snow was so deep on a day (YEAR-MONTH-DAY) in a zone, on the whole site when None; of one day and zone the
    later entry counts. `source` is where the figure comes from: a file's name, or "" for somebody at a stake."""

    zone: str | None
    day: str
    snow_m: float
    by: PersonId
    at: HostTime
    source: str = ""


@dataclass(frozen=True, slots=True)
class TargetMoved(Fact):
    """A target was put elsewhere on a day without a survey; the place that it had then holds no longer."""

    target: TargetId
    day: str
    by: PersonId
    at: HostTime
    notes: str = ""
    was_x_m: float | None = None
    was_y_m: float | None = None
    was_surveyed_on: str = ""
