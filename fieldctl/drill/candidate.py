"""A target as the picker sees it, the wishes of one burial, what a pick comes to: values of `fieldctl.drill.pick`."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fieldctl.drill.plan import Burial, Orientation
from fieldctl.units import TargetId

LYING_FROM_DEG = 60.0  # tilt of the axis from upright; between the two bounds a target is neither
UPRIGHT_TO_DEG = 30.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """A target that may play a burial; `tilt_deg` is its axis from upright, None where nobody noted it."""

    target: TargetId
    zone: str
    x_m: float
    y_m: float
    depth_m: float
    tilt_deg: float | None = None
    struck_since_renewed: int = 0
    usable: bool = True
    why_not: str = ""  # why it is not usable
    name: str = ""  # what people call it

    @property
    def label(self) -> str:
        """What a sentence calls it: its name, else its id."""
        return self.name or str(self.target)


@dataclass(frozen=True, slots=True)
class Unmet:
    """A wish that could not be met: of which burial (None: of the drill), what is wrong, and what nearest would do.

    `wish` is one of target, usable, zone, depth, orientation, apart, disturbance, together, bound.
    """

    burial: str | None
    wish: str
    wrong: str
    nearest: str


@dataclass(frozen=True, slots=True)
class Picks:
    """The targets by burial in the drill's order, empty when something is unmet; `notes` are for people."""

    targets: Mapping[str, TargetId]
    seed: int
    unmet: tuple[Unmet, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def staffed(self) -> bool:
        """Whether every burial has its target."""
        return not self.unmet


Pairing = Callable[[Candidate, Candidate], float]
"""A number about two candidates: a distance in metres, or a disturbance."""


def plane_distance_m(a: Candidate, b: Candidate) -> float:
    """Distance along the surface: products and a square root only, which every machine rounds alike."""
    dx, dy = a.x_m - b.x_m, a.y_m - b.y_m
    return math.sqrt(dx * dx + dy * dy)


def no_disturbance(_a: Candidate, _b: Candidate) -> float:
    """Nothing disturbs anything: what stands in where no physics is given."""
    return 0.0


def fits_orientation(wish: Orientation, tilt_deg: float | None) -> bool:
    """Whether a tilt is what the drill wishes; an axis that nobody noted fits "any" only."""
    if wish == "any":
        return True
    if tilt_deg is None:
        return False
    return tilt_deg >= LYING_FROM_DEG if wish == "lying" else tilt_deg <= UPRIGHT_TO_DEG


def wishes(burial: Burial, candidate: Candidate) -> dict[str, bool]:
    """Each wish of a burial by itself, and whether a candidate meets it; a target named outright is the only wish."""
    if burial.target is not None:
        return {"target": candidate.target == burial.target, "usable": candidate.usable}
    depth = burial.depth_m
    return {
        "usable": candidate.usable,
        "zone": burial.zone is None or candidate.zone == burial.zone,
        "depth": depth is None or depth[0] <= candidate.depth_m <= depth[1],
        "orientation": fits_orientation(burial.orientation, candidate.tilt_deg),
    }
