"""Targets: added, named, taken out, barred, greeted, odd; fresh cells put in."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import BootId, HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class TargetAdded(Fact):
    """A target was added with keys of this site (their version counts rotations); the keys are not in the ledger."""

    target: TargetId
    hardware: str
    link: str
    key_version: int
    by: PersonId
    name: str = ""


@dataclass(frozen=True, slots=True)
class TargetNamed(Fact):
    """A target was given a name for people."""

    target: TargetId
    name: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class KeysRotated(Fact):
    """A target confirmed keys of a new version."""

    target: TargetId
    key_version: int
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetTakenOut(Fact):
    """A target left the field; `how` is "taken-out", or "lost" for lost or stolen."""

    target: TargetId
    how: str
    last_place: str
    by: PersonId
    reason: str


@dataclass(frozen=True, slots=True)
class TargetBarred(Fact):
    """A target may not be used until it is dug out: it was heard though it says quiet, or it lies."""

    target: TargetId
    reason: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetCleared(Fact):
    """A barred target was dug out and seen to be quiet."""

    target: TargetId
    reason: str
    by: PersonId


@dataclass(frozen=True, slots=True)
class TargetGreeted(Fact):
    """A target told who it is after it booted: what it can do and why it rebooted."""

    target: TargetId
    boot: BootId
    why: str
    hardware: str
    firmware: str
    contract: int
    abilities: tuple[str, ...]
    at: HostTime


@dataclass(frozen=True, slots=True)
class BatterySwapped(Fact):
    """Fresh cells were put into a target on a day (YEAR-MONTH-DAY), as a person says; of the kind that the site named
    then ("" and 0 where it named none)."""

    target: TargetId
    day: str
    chemistry: str
    cells: int
    capacity_ah: float
    by: PersonId
    at: HostTime
    notes: str = ""


@dataclass(frozen=True, slots=True)
class TargetTuned(Fact):
    """A person set how far a target's pad must leave its noise for a strike to begin, in tenths of the noise; 0: as far
    as the target's own firmware says."""

    target: TargetId
    threshold: int
    by: PersonId
    at: HostTime
    reason: str = ""


@dataclass(frozen=True, slots=True)
class TargetOdd(Fact):
    """Something about a target is not as it should be: `what` is a stable word, `detail` a sentence with a remedy."""

    target: TargetId
    what: str
    detail: str
    at: HostTime
