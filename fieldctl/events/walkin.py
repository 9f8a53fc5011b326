"""Walk-in: exercises that nobody leads, released for set hours and zones; posts at the field's edge; plates by touch.

No fact of these names anybody but the person in charge: who walks in stays unknown.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import BootId, HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class WalkInReleased(Fact):
    """A person in charge lets anybody start a drill in these zones between two moments, one party a zone at a time.

    The moments are host time: after a reboot of the host nobody can say when they are, and the release has ended.
    `until` is the wall's label of the second one, empty where nobody knew the wall's time.
    """

    release: str
    drill: str
    title: str  # the drill's, in plain words
    zones: tuple[str, ...]
    by: PersonId
    at: HostTime
    begins_at: HostTime
    ends_at: HostTime
    pause_s: float
    limit_s: float
    until: str = ""


@dataclass(frozen=True, slots=True)
class WalkInEnded(Fact):
    """A release is over: `why` is ended (by a person), time, closed, all-off or host-rebooted."""

    release: str
    why: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class PostPressed(Fact):
    """A post's button was pressed; the counts since its boot after it, its age when it was heard, and what it did."""

    post: TargetId
    boot: BootId
    presses: int
    holds: int
    age_s: float | None  # None where its clock was not known
    did: str  # all-off, started; or closed, too-late, goes-on, pause, refused: nothing was started
    at: HostTime
    why: str = ""  # what was in the way where it was refused


@dataclass(frozen=True, slots=True)
class TouchAsked(Fact):
    """Somebody is about to prove the plates by touch: strikes from now on count, until the field opens."""

    by: PersonId
    at: HostTime
    until: HostTime
