"""How well people search: novice, trained, practised.

Every number here is our own assumption. None is fitted to a published result; the speeds of following a line were
raised once, after novices got stuck and a test on the moment failed. No published source gives speeds, errors or lapses
by skill in a form that could be used. What the previews of two skills have in common is worth more than either by
itself, and a site's own recorded times are worth more than both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

from fieldctl.errors import BadInput

SkillName = Literal["novice", "trained", "practised"]

SAID = "speeds, errors and lapses of the simulated searchers are our own assumptions, fitted to no trial"


@dataclass(frozen=True, slots=True)
class Skill:
    """One level of practice; speeds are medians, from which each person differs by a lognormal factor of `spread`."""

    name: SkillName
    walk_m_per_s: float  # signal search, on the debris
    follow_m_per_s: float  # along the flux line, until 10 m are shown: a little slower than the strips
    fine_m_per_s: float  # the cross at the surface
    spread: float
    direction_error_deg: float  # standard deviation of the way gone from the line shown, at each reading
    level_error: float  # share by which a distance reading is off, as the receiver is not held level and low
    pinpoint_error_m: float  # each way, between the best place found and the first hole
    hole_error_m: float  # each way, between the hole meant and the hole made
    hesitates: float  # chance of standing still for a second, at any second of a search
    notices_signal: float  # chance to take note of a reading, in the signal search
    gets_ready_s: float  # from the start until the receiver searches
    tools_s: float  # between the cross and the first hole: probe out and together
    hole_s: float  # one hole to one metre; deeper ones take longer
    misses_hit: float  # chance of not noticing that the probe struck
    marks_s: float  # to mark a find, or to walk past it where that fails
    leaves_marked: float  # chance, at each attempt, of getting away from a marked burial to the next signal
    misses_overlapped: float  # chance of believing that nobody is left, when what is left is masked by overlap
    stops_early: float  # the same when nothing further is heard


SKILLS: Mapping[str, Skill] = MappingProxyType(
    {
        "novice": Skill(
            name="novice",
            walk_m_per_s=0.9,
            follow_m_per_s=0.75,
            fine_m_per_s=0.12,
            spread=0.25,
            direction_error_deg=25.0,
            level_error=0.06,
            pinpoint_error_m=0.20,
            hole_error_m=0.08,
            hesitates=0.25,
            notices_signal=0.6,
            gets_ready_s=30.0,
            tools_s=45.0,
            hole_s=6.0,
            misses_hit=0.15,
            marks_s=12.0,
            leaves_marked=0.5,
            misses_overlapped=0.25,
            stops_early=0.10,
        ),
        "trained": Skill(
            name="trained",
            walk_m_per_s=1.3,
            follow_m_per_s=1.15,
            fine_m_per_s=0.20,
            spread=0.18,
            direction_error_deg=12.0,
            level_error=0.03,
            pinpoint_error_m=0.12,
            hole_error_m=0.05,
            hesitates=0.10,
            notices_signal=0.85,
            gets_ready_s=20.0,
            tools_s=25.0,
            hole_s=4.5,
            misses_hit=0.05,
            marks_s=7.0,
            leaves_marked=0.75,
            misses_overlapped=0.10,
            stops_early=0.04,
        ),
        "practised": Skill(
            name="practised",
            walk_m_per_s=1.7,
            follow_m_per_s=1.55,
            fine_m_per_s=0.30,
            spread=0.12,
            direction_error_deg=6.0,
            level_error=0.015,
            pinpoint_error_m=0.08,
            hole_error_m=0.03,
            hesitates=0.04,
            notices_signal=0.95,
            gets_ready_s=12.0,
            tools_s=15.0,
            hole_s=3.5,
            misses_hit=0.02,
            marks_s=4.0,
            leaves_marked=0.9,
            misses_overlapped=0.03,
            stops_early=0.01,
        ),
    }
)


def skill_of(name: str) -> Skill:
    """The skill of that name; BadInput for another."""
    if name not in SKILLS:
        raise BadInput(
            f"no skill is called {name!r}.",
            expected=", ".join(get_args(SkillName)),
            remedy="Name one of those.",
        )
    return SKILLS[name]
