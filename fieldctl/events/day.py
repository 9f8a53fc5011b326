"""The day of the field: opened, closed, renewed; hand-buried units."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class DayOpened(Fact):
    """A named person in charge opened the field, with what was decided and seen."""

    by: PersonId
    at: HostTime
    hazard: str
    snow_m: float
    heard: tuple[TargetId, ...]
    not_heard: tuple[TargetId, ...]
    touched: tuple[TargetId, ...]
    stray_sweep: str
    notes: str = ""


@dataclass(frozen=True, slots=True)
class DayClosed(Fact):
    """A named person closed the field; exceptions are named one by one and signed for."""

    by: PersonId
    at: HostTime
    own_units_back: bool
    listening_walk: str
    heard_sending: tuple[TargetId, ...]
    exceptions: tuple[str, ...]
    signed: str


@dataclass(frozen=True, slots=True)
class SurfaceRenewed(Fact):
    """The surface was tilled or snowed over: the targets of a zone (all when None) are fresh again."""

    zone: str | None
    how: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ManualOut(Fact):
    """A transmitter was buried by hand: it cannot be switched off from here."""

    unit: str
    zone: str
    place: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class ManualIn(Fact):
    """A hand-buried transmitter came back; `seen_off` tells whether somebody saw that it is off."""

    unit: str
    seen_off: bool
    by: PersonId
    at: HostTime
