"""An assessment: who is to be assessed, what an observer saw, what was decided, who signed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId


@dataclass(frozen=True, slots=True)
class AssessmentListed(Fact):
    """Who is to be assessed by a drill, in this order; a later list of the same drill replaces it."""

    drill: str
    candidates: tuple[PersonId, ...]
    by: PersonId
    at: HostTime
    nth: int = 0  # counts up in the ledger: moments of two host boots have no order of their own


@dataclass(frozen=True, slots=True)
class AssessmentTicked(Fact):
    """What an observer saw of one item, or entered by hand with a reason; the latest of an item counts."""

    exercise: str
    tick: str
    candidate: PersonId
    item: str
    value: str
    why: str
    by: PersonId
    at: HostTime
    by_hand: bool = False  # a value that the field would have measured
    nth: int = 0


@dataclass(frozen=True, slots=True)
class AssessmentDecided(Fact):
    """The verdict (passed, failed, repeat) with the whole sheet as it was then; `digest` is what is signed."""

    exercise: str
    candidate: PersonId
    verdict: str
    why: str
    sheet: Mapping[str, Any]
    digest: str
    by: PersonId
    at: HostTime
    nth: int = 0


@dataclass(frozen=True, slots=True)
class AssessmentSigned(Fact):
    """A signature under the sheet of that digest; `role` is assessor or second."""

    exercise: str
    candidate: PersonId
    role: str
    digest: str
    by: PersonId
    at: HostTime
