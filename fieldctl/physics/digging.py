"""Digging: how much snow lies in the way, and how long it takes.

Two schools of where to start are taught and disputed; both are worked out and neither is prescribed. A wedge from
1.5 depths downslope is widely taught (second-hand); beginning there cost 2 min 30 s on average in trials (Rogora &
Perelli Ercolini, ISSW 2023). One person moves 1.50 to 1.79 kg of snow a second by blade and mode (Schindelwig et al.,
Sports 5(2):31, 2017). The geometry here does not give the difference that the trials saw, so that it is shown beside
the estimates, not put into them. How people add up was measured nowhere that we read: our assumption, and its span,
are named.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, tan

import numpy as np

RATE_KG_PER_S = (1.50, 1.65, 1.79)
"""Low, middle, high for one person: Schindelwig et al. 2017 (low and high seen; the middle is their mean)."""
DENSITY_KG_PER_M3 = (350.0, 400.0, 450.0)
"""Low, middle, high of settled debris (memory)."""
WIDTH_M = 1.2
PIT_LENGTH_M = 1.0  # a person's torso and head, with room to kneel
DOWNSLOPE_RUN = 1.5
DOWNSLOPE_COST_S = 150.0
"""What beginning 1.5 depths downslope cost on average in trials: Rogora & Perelli Ercolini, ISSW 2023 (seen)."""
PERSON_EVERY_M = 0.8  # one more digger for each such length of the cut (common practice: about a shovel's length)
ADDS = (0.4, 0.7, 1.0)
"""Share of a whole person's rate that each further digger adds, low, middle, high: our assumption."""


@dataclass(frozen=True, slots=True)
class School:
    """Where to start: a name in plain words, the source, and its run downslope in depths (0: beside the probe)."""

    name: str
    source: str
    run_depths: float


DOWNSLOPE = School("start 1.5 depths downslope of the probe", "widely taught; second-hand", DOWNSLOPE_RUN)
AT_PROBE = School(
    "start beside the probe", "2 min 30 s quicker on average in trials; Rogora & Perelli Ercolini, ISSW 2023", 0.0
)
SCHOOLS = (DOWNSLOPE, AT_PROBE)


@dataclass(frozen=True, slots=True)
class Digging:
    """Estimate for one school: snow to move (m³), how many can dig at once, and seconds: quickest, middle, slowest."""

    school: School
    volume_m3: float
    diggers: int
    quickest_s: float
    middle_s: float
    slowest_s: float


def volume_m3(school: School, depth_m: float, slope_rad: float = 0.0) -> float:
    """Snow in the way (m³), depth at right angles to the slope. A wedge for a start downslope, an upright pit beside
    the probe. On a slope steep enough, a level floor comes out into the open sooner than 1.5 depths, and the wedge is
    shorter for it."""
    run = _run_m(school, depth_m, slope_rad)
    return WIDTH_M * PIT_LENGTH_M * depth_m if school.run_depths == 0.0 else 0.5 * run * depth_m * WIDTH_M


def _run_m(school: School, depth_m: float, slope_rad: float) -> float:
    """Length (m) of the cut: of the pit, or of the wedge until it comes out into the open."""
    if depth_m < 0.0 or not 0.0 <= slope_rad < np.pi / 2:
        raise ValueError("a depth is 0 or more, and a slope from level to under upright")
    if school.run_depths == 0.0:
        return PIT_LENGTH_M
    return min(school.run_depths * depth_m, depth_m / tan(slope_rad) if slope_rad > 0.0 else inf)


def diggers_at_once(school: School, depth_m: float, people: int, slope_rad: float = 0.0) -> int:
    """How many of the people can dig at once: one, and one more for each PERSON_EVERY_M of the cut's length."""
    if people < 1:
        raise ValueError("digging needs at least one person")
    return min(people, 1 + int(_run_m(school, depth_m, slope_rad) / PERSON_EVERY_M))


def digging(school: School, depth_m: float, people: int = 1, slope_rad: float = 0.0) -> Digging:
    """Snow and time to reach somebody at a depth, by one school: an estimate with its span, not a measurement."""
    volume = volume_m3(school, depth_m, slope_rad)
    diggers = diggers_at_once(school, depth_m, people, slope_rad)
    quickest, middle, slowest = (
        volume * density / (rate * (1.0 + adds * (diggers - 1)))
        for density, rate, adds in zip(DENSITY_KG_PER_M3, RATE_KG_PER_S[::-1], ADDS[::-1], strict=True)
    )
    return Digging(school, volume, diggers, quickest, middle, slowest)


def both_schools(depth_m: float, people: int = 1, slope_rad: float = 0.0) -> tuple[Digging, ...]:
    """The estimate for each school, in no order of preference."""
    return tuple(digging(school, depth_m, people, slope_rad) for school in SCHOOLS)
