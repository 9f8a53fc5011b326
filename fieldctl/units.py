"""The three clocks, the stamp, and the names by which things are called: used by every package.

Host time is microseconds of CLOCK_MONOTONIC_RAW, named by the host's boot id. A target counts
microsecond ticks of its own, named by its boot id (a persisted counter). Wall time is a label that
can be corrected; nothing is computed from it. Only `fieldctl.clock` converts ticks to host time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NewType

HostUs = NewType("HostUs", int)
"""Microseconds of CLOCK_MONOTONIC_RAW since the host booted; comparable within one host boot."""

NodeTicks = NewType("NodeTicks", int)
"""Microsecond ticks of one target since it booted; comparable within one boot id of that target."""

BootId = NewType("BootId", int)
"""Persisted boot counter of a target: names the life in which its ticks count."""

TargetId = NewType("TargetId", str)
"""Eight lowercase hexadecimal digits: the target's 32-bit address on the wire."""

PersonId = NewType("PersonId", str)
"""Stable id of a person; names live apart from it, so that a person can be forgotten."""

US_PER_S = 1_000_000
US_PER_MS = 1_000

_TARGET_ID = re.compile(r"[0-9a-f]{8}\Z")
NOBODY = 0x0000_0000  # never a target: an address that was not set
EVERYBODY = 0xFFFF_FFFF  # the bus address that all targets hear; only all off is ever sent to it


def target_id(text: str) -> TargetId:
    """Read a target id; ValueError says what was expected."""
    low = text.strip().lower()
    if not _TARGET_ID.match(low) or int(low, 16) in (NOBODY, EVERYBODY):
        raise ValueError(f"a target id is eight hexadecimal digits such as 0a1b2c3d, not {text!r}")
    return TargetId(low)


def target_address(target: TargetId) -> int:
    """The 32-bit address of a target id."""
    return int(target, 16)


def target_from_address(address: int) -> TargetId:
    """The target id of a 32-bit address; ValueError for the two addresses that are no target."""
    return target_id(f"{address:08x}")


def seconds(us: int) -> float:
    """Microseconds as seconds, for people and JSON."""
    return us / US_PER_S


def micros(s: float) -> int:
    """Seconds as whole microseconds, rounded to the nearest."""
    return round(s * US_PER_S)


@dataclass(frozen=True, slots=True, order=True)
class HostTime:
    """A moment of the host: which boot, and microseconds of its raw monotonic clock."""

    boot: str
    us: int

    def __sub__(self, other: HostTime) -> int:
        """Microseconds from `other` to this; ValueError across boots, which have no common clock."""
        if self.boot != other.boot:
            raise ValueError("moments of two host boots have no difference: the clock began anew")
        return self.us - other.us

    def plus(self, us: int) -> HostTime:
        """The moment `us` microseconds later."""
        return HostTime(self.boot, self.us + us)


@dataclass(frozen=True, slots=True)
class Stamp:
    """A moment with its honest bound: the truth lies within `plus_minus_us` of `at`."""

    at: HostTime
    plus_minus_us: int

    def holds(self, truth: HostTime) -> bool:
        """Whether `truth` lies inside the ±."""
        return abs(self.at - truth) <= self.plus_minus_us

    def surely_before(self, other: Stamp) -> bool:
        """Whether this came before `other` whatever the truth inside both ±."""
        return (other.at - self.at) > self.plus_minus_us + other.plus_minus_us


TAP_PLUS_MINUS_US = 1 * US_PER_S  # a thumb on a screen: reaction and travel (design, section 4)
