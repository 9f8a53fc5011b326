"""Would signals disturb each other: two exercises at once, or two burials of one drill.

    too_near(new, running)      the ready check: each running exercise whose signals would reach, and what would do
    disturbance_of(site)        the picker: a function for `fieldctl.drill.pick.pick(disturbance=...)`

A no-signal station beside a signal one is fine: nobody there follows a signal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, sqrt

import numpy as np

from fieldctl.drill.candidate import Candidate, Pairing, Picks
from fieldctl.drill.plan import Drill
from fieldctl.physics.reach import HEARD_LIMIT_A_PER_M, Ground
from fieldctl.physics.reach import apart as lie
from fieldctl.rehearsal.scene import Scene, scene_of
from fieldctl.site.model import Site
from fieldctl.site.sending import axis_from_survey

EITHER_WAY = sqrt(2.0)  # √(1 + 3 cos²θ) squared is 2 on average over all directions of an axis that nobody noted
SHALLOWEST_M = 0.1  # strength above a target on the surface is that above one a hand deep


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise as its neighbours meet it: places (K, 2) m and moments (K,) A·m² of its sending targets (none for
    a no-signal station), and where its searchers walk, (V, 2) m."""

    name: str
    places: tuple[tuple[float, float], ...]
    moments_Am2: tuple[float, ...]
    outline_m: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class TooNear:
    """Two exercises whose signals would reach each other's searchers."""

    with_name: str
    distance_m: float
    needed_m: float

    @property
    def text(self) -> str:
        """What is wrong, with the distance that would do; rounded so that it never flatters."""
        return (
            f"{self.with_name}: their signals would reach each other: {floor(self.distance_m)} m apart, "
            f"{ceil(self.needed_m)} m would do."
        )

    @property
    def remedy(self) -> str:
        """What to do about it."""
        return (
            f"Pick targets {ceil(self.needed_m - self.distance_m)} m farther away, wait until {self.with_name} has "
            "ended, or make one of the two a no-signal station."
        )


def exercise_of(site: Site, drill: Drill, picks: Picks) -> Exercise:
    """A staffed drill as its neighbours meet it; raises as `scene_of` does."""
    return exercise_of_scene(scene_of(site, drill, picks), drill.title)


def exercise_of_scene(scene: Scene, name: str) -> Exercise:
    """The same of a scene."""
    sends = scene.sends
    return Exercise(
        name,
        tuple((float(x), float(y)) for x, y in scene.places[sends, :2]),
        tuple(float(m) for m in scene.moments_Am2[sends]),
        tuple((float(x), float(y)) for x, y in scene.outline),
    )


def too_near(
    new: Exercise, running: Sequence[Exercise], limit_A_per_m: float = HEARD_LIMIT_A_PER_M
) -> tuple[TooNear, ...]:
    """Which running exercises the new one would disturb, or be disturbed by, the worst first; empty when clear."""
    ground = _ground(new)
    found = []
    for other in running:
        if not (_sends(new) and _sends(other)):
            continue
        how = lie(ground, _ground(other), limit_A_per_m)
        if not how.clear:
            found.append(TooNear(other.name, how.distance_m, how.needed_m))
    return tuple(sorted(found, key=lambda row: row.distance_m - row.needed_m))


def _sends(of: Exercise) -> bool:
    return any(moment > 0.0 for moment in of.moments_Am2)


def _ground(of: Exercise) -> Ground:
    places = np.array(of.places, dtype=np.float64).reshape(-1, 2)
    outline = np.array(of.outline_m or of.places, dtype=np.float64)
    return Ground(places, np.array(of.moments_Am2, dtype=np.float64), outline)


def disturbance_of(site: Site) -> Pairing:
    """How much two targets of a site disturb each other when both send at full level: 0 far apart, 1 or more where one
    is as strong above the other as that one itself, so that nobody could pinpoint it by its signal.

    Knows the axes that were surveyed; one that nobody noted counts as strong as the average over all directions.
    """
    axes = {
        place.target: tuple(axis_from_survey(place.axis.azimuth_deg, place.axis.tilt_deg).tolist())
        for place in site.places
        if place.axis is not None
    }

    def strength(of: Candidate, at: Candidate) -> float:
        """Of one target on the surface above another, in units of m/4π: plain sums, since a big site has many pairs."""
        x, y, z = at.x_m - of.x_m, at.y_m - of.y_m, max(of.depth_m, SHALLOWEST_M)
        r2 = x * x + y * y + z * z
        axis = axes.get(of.target)
        if axis is None:
            return EITHER_WAY / (r2 * sqrt(r2))
        along = axis[0] * x + axis[1] * y + axis[2] * z
        return sqrt(1.0 + 3.0 * along * along / r2) / (r2 * sqrt(r2))

    def disturbance(a: Candidate, b: Candidate) -> float:
        return max(strength(b, a) / strength(a, a), strength(a, b) / strength(b, b))

    return disturbance
