"""Alarms: something needs a person, and stays on the list until a good reading of the same kind comes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldctl.events.fact import Fact
from fieldctl.units import HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class AlarmRaised(Fact):
    """Something about a target, or (where there is none) a link, needs a person.

    `what` is a stable word, one alarm of a word at a time; `values` are those of its sentence, for other languages.
    `fault` says that the target itself is sick, not its battery, its place or its link.
    """

    target: TargetId | None
    link: str
    what: str
    sentence: str
    remedy: str
    at: HostTime
    values: Mapping[str, Any] = field(default_factory=dict)
    fault: bool = False


@dataclass(frozen=True, slots=True)
class AlarmCleared(Fact):
    """A good reading of the same kind came (`by` is the field), or a person says, with a reason, that it was mended."""

    target: TargetId | None
    link: str
    what: str
    by: PersonId
    reason: str
    at: HostTime
