"""What the log holds of one target beside its battery, as plain columns; made by `read_health`, looked at by the signs.

A `Turn` is one exercise in which the target was buried: whether its pad was touched, and whether somebody called it
(None where nobody tapped calls in that exercise, or a call was not given to a burial). A `Start` is a boot that it
greeted with for the first time. All days are day numbers (`readings.day_number`) with their fraction.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from fieldctl.units import TargetId
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.told import MORE, Told


class Turn(NamedTuple):
    """One exercise in which the target was buried."""

    day: float
    touched: bool
    called: bool | None


class Start(NamedTuple):
    """One boot of the target, and why it began."""

    day: float
    boot: int
    why: str


class Joined(NamedTuple):
    """The target was added on a link."""

    day: float
    link: str


@dataclass(frozen=True, slots=True)
class Strikes:
    """A target's strikes in order of time; `peak` in tenths of the noise of then, `sharp` as a blow is."""

    day: Array
    peak: Array
    sharp: Array  # 1: up and over as quickly as a probe's, however weak
    probe: Array  # 1: taken for a probe
    unsure: Array  # 1: taken for nothing
    repeats: Array  # others in the 3 s before


def no_strikes() -> Strikes:
    """None at all."""
    return Strikes(*(np.empty(0) for _ in range(6)))


def nothing_told() -> Told:
    """No row at all."""
    return Told(*(np.empty(0) for _ in range(5 + len(MORE))))


@dataclass(frozen=True, slots=True)
class Past:
    """One target's past; `named_link` is where the survey looks for it ("" where it names none)."""

    target: TargetId
    told: Told = field(default_factory=nothing_told)
    strikes: Strikes = field(default_factory=no_strikes)
    turns: tuple[Turn, ...] = ()
    touched: tuple[float, ...] = ()  # openings at which its plate was proved by touch
    starts: tuple[Start, ...] = ()
    joined: tuple[Joined, ...] = ()
    named_link: str = ""
    surveyed: float | None = None

    @property
    def line(self) -> str:
        """The link on which it is asked now; "" where nobody knows."""
        return self.joined[-1].link if self.joined else ""
