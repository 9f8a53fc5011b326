"""Facts of the trade: numbers that are said on every course, in one place, each with its source and grade.

Nothing is worked out here. "Common practice" means that it is said in the trade and no source was read for it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fact:
    """One number: its value, unit, what it is, and where it comes from."""

    value: float
    unit: str
    what: str
    source: str


COMMON_PRACTICE = "common practice"

ALL_FOUND_WITHIN = Fact(15.0, "min", "all victims found and their airways free", COMMON_PRACTICE)
ELECTRONICS_SENDING = Fact(
    0.20, "m", "distance of a sending transceiver from electronics", "UIAA note; second-hand, memory; common practice"
)
ELECTRONICS_SEARCHING = Fact(
    0.50, "m", "distance of a searching transceiver from electronics", "UIAA note; second-hand, memory"
)
PROBE_LENGTH = Fact(2.0, "m", "least length of a probe", COMMON_PRACTICE)
SEARCHERS_APART = Fact(40.0, "m", "between searchers side by side", "Avalanche Canada; seen")
FROM_EDGE = Fact(20.0, "m", "a searcher to the edge of the debris", "Avalanche Canada; seen; common practice")
FINE_SEARCH_FROM = Fact(
    3.0, "m", "distance shown from which the search is slow and at the surface", "Avalanche Canada; seen"
)
SPIRAL_SPACING = Fact(0.25, "m", "between the holes of a spiral, at most", "second-hand; 0.20 m: common practice")
CLOSE_BURIALS = Fact(15.0, "m", "burials nearer than this count as close", "second-hand")

FACTS = (
    ALL_FOUND_WITHIN,
    ELECTRONICS_SENDING,
    ELECTRONICS_SEARCHING,
    PROBE_LENGTH,
    SEARCHERS_APART,
    FROM_EDGE,
    FINE_SEARCH_FROM,
    SPIRAL_SPACING,
    CLOSE_BURIALS,
)
