"""Raw traces of strikes that were read out of a target."""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.events.fact import Fact
from fieldctl.units import BootId, HostTime, PersonId, TargetId


@dataclass(frozen=True, slots=True)
class TraceRead(Fact):
    """The raw trace of the strike of that target, boot and number; of several the one with the fewest missing parts.

    samples: distance from the baseline, in steps of the converter, one every `every_us`, `before` of them before the
    begin, which had to exceed `begins`; each was rounded down to a multiple of 2^scale. They came in `parts` of `size`
    samples (the last may have fewer), of which the `missing` ones hold zeros.
    """

    target: TargetId
    boot: BootId
    number: int
    every_us: int
    before: int
    begins: int
    scale: int
    samples: tuple[int, ...]
    parts: int
    size: int
    missing: tuple[int, ...]
    by: PersonId
    at: HostTime
