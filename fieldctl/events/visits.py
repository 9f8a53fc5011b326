"""Visits to the field: what was taken up and ticked, the self-test before the season, the retrieval in spring.

What a phone ticked without the field carries when it was made by that phone, with its ± (`made`; None where the host
was rebooted since, which ends its clock); `at` is when the field heard of it. A tick names the ticks of the same item
that its phone knew: two that did not know of each other and say different things are a conflict, which a later tick
that knew both settles. A `day` is YEAR-MONTH-DAY by the wall's label, "" where nobody knew the wall's time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId, Stamp, TargetId


@dataclass(frozen=True, slots=True)
class VisitBegun(Fact):
    """Somebody goes up with a list: what is to be done, as "target:key", and everything that was found by then."""

    visit: str
    items: tuple[str, ...]
    found: tuple[str, ...]
    by: PersonId
    at: HostTime
    day: str
    request: str = ""


@dataclass(frozen=True, slots=True)
class VisitTicked(Fact):
    """One item of a visit was done, or was not and why."""

    visit: str
    tick: str
    item: str
    done: bool
    why: str
    knew: tuple[str, ...]
    made: Stamp | None
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class VisitUnticked(Fact):
    """A tick is taken back."""

    visit: str
    tick: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class VisitClosed(Fact):
    """A visit is over and signed for; `why` tells what kept the items in `left` from being done."""

    visit: str
    left: tuple[str, ...]
    why: str
    signed: PersonId
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class SwapTakenBack(Fact):
    """The change of battery of that day, once said, was none."""

    target: TargetId
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class SelfTested(Fact):
    """What a target's self-test showed: each check's key and "good", "bad" or "open". Rounds count up: one a season."""

    target: TargetId
    round: int
    checks: Mapping[str, str]
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class SendingHeard(Fact):
    """A person heard a target with a receiver while it sent under a grant to find it."""

    target: TargetId
    round: int
    grant: int
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class RetrievalBegun(Fact):
    """The targets that lie in the field are to be brought in, one by one."""

    retrieval: str
    targets: tuple[TargetId, ...]
    day: str
    by: PersonId
    at: HostTime
    request: str = ""


@dataclass(frozen=True, slots=True)
class TargetRetrieved(Fact):
    """A target was dug out and brought in; it stays added until somebody takes it out."""

    retrieval: str
    target: TargetId
    tick: str
    note: str
    knew: tuple[str, ...]
    made: Stamp | None
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class TargetGivenUp(Fact):
    """A target was not found and is given up by name: it may still lie there, and may still be heard one day."""

    retrieval: str
    target: TargetId
    tick: str
    last_place: str
    last_heard: str  # the wall's label, "" where nobody knows
    told: PersonId
    reason: str
    knew: tuple[str, ...]
    made: Stamp | None
    day: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class RetrievalUnticked(Fact):
    """What was said last of a target in a retrieval is taken back."""

    retrieval: str
    target: TargetId
    tick: str
    by: PersonId
    at: HostTime


@dataclass(frozen=True, slots=True)
class RetrievalClosed(Fact):
    """Every target was retrieved or given up by name, and somebody signed for it."""

    retrieval: str
    retrieved: tuple[TargetId, ...]
    given_up: tuple[TargetId, ...]
    signed: PersonId
    day: str
    by: PersonId
    at: HostTime
