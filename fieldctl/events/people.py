"""People: forgotten. No name is ever here."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId


@dataclass(frozen=True, slots=True)
class PersonForgotten(Fact):
    """A person's name was taken away for good; `why` is "asked", or how long names are kept."""

    person: PersonId
    by: PersonId
    why: str
    at: HostTime
