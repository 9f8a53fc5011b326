"""A drill on a site as arrays: what lies where, how it sends, and inside what outline it is searched for.

Whatever the site does not know is assumed, by rule and not by chance, and each assumption is kept in words, so that a
preview can name the targets it is about. The surface is taken as a level plane: places are (east, north, up), with
up = 0 at the surface. A site without an origin has x for east and y for north.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Burial, Drill
from fieldctl.errors import BadInput, NotFound
from fieldctl.physics.receiver import axis_of
from fieldctl.site.model import Place, Site
from fieldctl.site.sending import axis_from_survey, moment_of
from fieldctl.units import TargetId

Floats = NDArray[np.float64]
OutlineFrom = Literal["scene", "zone", "box"]
Depths = Mapping[TargetId, float]
"""How deep targets lie today, metres, of those of which that can be said; None where only their surveys are known."""

ASSUMED_DEPTH_M = 1.0  # near the published mean of 1.05 m (Falk et al. 1994)
BOX_ROUND_M = (
    20.0  # searchers keep within 20 m of the edge (Avalanche Canada), so a box leaves that much round a target
)
ROUND_OUTLINE_M = 15.0  # a target farther outside the outline than this is hard to meet from inside it
_TURN_STEP_RAD = 2.39996  # the golden angle: directions assumed for several targets fall far from each other


@dataclass(frozen=True, slots=True)
class Assumed:
    """One thing that the site or the drill does not say, and what was taken instead; `burial` None for all."""

    burial: str | None
    what: str
    taken: str

    def __str__(self) -> str:
        whose = f"Burial {self.burial}: " if self.burial is not None else ""
        return f"{whose}{self.what}; {self.taken}."


@dataclass(frozen=True, slots=True)
class Scene:
    """K burials as arrays, and the ground they are searched on.

    places (K, 3) m; axes (K, 3) unit; moments_Am2 (K,), 0 for a no-signal burial; period_s, on_s (K,);
    starts_s (K,), inf where another find or nothing starts it; after (K,) index of that find or -1, and after_s (K,)
    how long after it; lasts_s (K,);
    drop_on_s, drop_off_s (K,); falls_quiet, by_call (K,) bool; outline (V, 2) m; entry (2,) m; limit_s.
    """

    names: tuple[str, ...]
    targets: tuple[str, ...]
    places: Floats
    axes: Floats
    moments_Am2: Floats
    period_s: Floats
    on_s: Floats
    starts_s: Floats
    after: NDArray[np.intp]
    after_s: Floats
    lasts_s: Floats
    drop_on_s: Floats
    drop_off_s: Floats
    falls_quiet: NDArray[np.bool_]
    by_call: NDArray[np.bool_]
    outline: Floats
    outline_from: OutlineFrom
    entry: Floats
    limit_s: float
    assumed: tuple[Assumed, ...]

    @property
    def sends(self) -> NDArray[np.bool_]:
        """Which burials ever send, (K,)."""
        return self.moments_Am2 > 0.0

    @property
    def depths_m(self) -> Floats:
        """Depth below the surface, (K,)."""
        return -self.places[:, 2]


def scene_of(site: Site, drill: Drill, picks: Picks, depths_m: Depths | None = None) -> Scene:
    """What is rehearsed; NotFound for a burial without a target, BadInput for an unstaffed or empty drill."""
    if not picks.staffed:
        missing = "; ".join(f"burial {u.burial or 'of the drill'}: {u.wrong} ({u.nearest})" for u in picks.unmet)
        raise BadInput(
            f"this field cannot play {drill.name}: {missing}.",
            expected="a target for each burial",
            remedy="Take the nearest that can be had, or change the wish.",
        )
    if not drill.burials:
        raise BadInput("a drill without burials has nothing to rehearse.", remedy="Add a [[burial]] table.")
    for burial in drill.burials:
        if burial.name not in picks.targets:
            raise NotFound(f"no target was picked for burial {burial.name}.", remedy="Pick targets for this drill.")
    assumed: list[Assumed] = []
    surveyed = {place.target: place for place in site.places}
    found = [surveyed.get(picks.targets[burial.name]) for burial in drill.burials]
    outline, where = _outline(site, drill, found, assumed)
    centre = outline.mean(axis=0)
    places, axes = np.empty((len(found), 3)), np.empty((len(found), 3))
    for i, (burial, place) in enumerate(zip(drill.burials, found, strict=True)):
        places[i] = _place(burial, place, picks.targets[burial.name], centre, depths_m, assumed)
        axes[i] = _axis(i, burial, place, picks.targets[burial.name], assumed)
    return Scene(
        names=tuple(b.name for b in drill.burials),
        targets=tuple(picks.targets[b.name] for b in drill.burials),
        places=places,
        axes=axes,
        outline=outline,
        outline_from=where,
        entry=_entry(outline, drill, assumed),
        limit_s=drill.limit_s,
        assumed=tuple(assumed),
        **_sending(drill),
    )


def _sending(drill: Drill) -> dict[str, Any]:
    """How and when each burial sends; names are those of Scene."""
    index = {burial.name: i for i, burial in enumerate(drill.burials)}
    rows = drill.burials
    started = {"start": 0.0, "after-find": np.inf, "never": np.inf}
    return {
        "moments_Am2": np.array([moment_of(b) for b in rows]),
        "period_s": np.array([b.keying.period_ms / 1000 for b in rows]),
        "on_s": np.array([b.keying.on_ms / 1000 for b in rows]),
        "starts_s": np.array([started.get(b.signal.kind, b.signal.delay_s) for b in rows]),
        "after": np.array([index.get(b.signal.after or "", -1) for b in rows], dtype=np.intp),
        "after_s": np.array([b.signal.delay_s if b.signal.kind == "after-find" else 0.0 for b in rows]),
        "lasts_s": np.array([np.inf if b.sends_at_most_s is None else b.sends_at_most_s for b in rows]),
        "drop_on_s": np.array([b.drop_on_s for b in rows]),
        "drop_off_s": np.array([b.drop_off_s for b in rows]),
        "falls_quiet": np.array([b.after_find == "falls-quiet" for b in rows]),
        "by_call": np.array([b.find == "call" for b in rows]),
    }


def _place(
    burial: Burial,
    place: Place | None,
    target: TargetId,
    centre: Floats,
    depths_m: Depths | None,
    assumed: list[Assumed],
) -> Floats:
    if place is None:
        depth = sum(burial.depth_m) / 2 if burial.depth_m else ASSUMED_DEPTH_M
        taken = f"taken in the middle of the outline, {depth:.1f} m deep"
        assumed.append(Assumed(burial.name, f"target {target} has no surveyed place", taken))
        return np.array([centre[0], centre[1], -depth])
    if depths_m is not None and target in depths_m:
        return np.array([place.x_m, place.y_m, -depths_m[target]])
    if place.surveyed_on is None:
        taken = f"{place.depth_m:.1f} m is taken as it stands in {place.source or 'the site file'}"
        assumed.append(Assumed(burial.name, f"nobody noted when the depth of {place.name} was surveyed", taken))
    elif depths_m is not None:
        taken = f"the {place.depth_m:.1f} m of the survey are taken"
        assumed.append(Assumed(burial.name, f"how deep {place.name} lies today cannot be said", taken))
    return np.array([place.x_m, place.y_m, -place.depth_m])


def _axis(i: int, burial: Burial, place: Place | None, target: str, assumed: list[Assumed]) -> Floats:
    if place is not None and place.axis is not None:
        return axis_from_survey(place.axis.azimuth_deg, place.axis.tilt_deg)
    tilt = 0.0 if burial.orientation == "upright" else pi / 2
    if burial.signal.kind != "never":  # the axis of what never sends makes no difference
        taken = "taken as upright, as the drill wishes" if tilt == 0.0 else "taken as lying, in a direction of our own"
        name = place.name if place is not None else target
        assumed.append(Assumed(burial.name, f"nobody noted which way the coil of {name} points", taken))
    return axis_of(tilt, i * _TURN_STEP_RAD)


def _outline(site: Site, drill: Drill, found: list[Place | None], assumed: list[Assumed]) -> tuple[Floats, OutlineFrom]:
    """The debris: what the drill draws, else the zone of all targets where it has an outline, else a box."""
    if len(drill.scene.outline_m) >= 3:
        return np.array(drill.scene.outline_m, dtype=np.float64), "scene"
    zones = {place.zone for place in found if place is not None} or {b.zone for b in drill.burials if b.zone}
    drawn = [zone for zone in site.zones if zone.name in zones and len(zone.outline_m) >= 3]
    what = "the drill draws no outline of the debris"
    if len(zones) == 1 and drawn:
        assumed.append(Assumed(None, what, f"the outline of zone {drawn[0].title} is taken"))
        return np.array(drawn[0].outline_m, dtype=np.float64), "zone"
    points = [(place.x_m, place.y_m) for place in found if place is not None]
    points = points or [corner for zone in drawn for corner in zone.outline_m] or [(0.0, 0.0)]
    low, high = np.min(points, axis=0) - BOX_ROUND_M, np.max(points, axis=0) + BOX_ROUND_M
    assumed.append(Assumed(None, what, f"a box that leaves {BOX_ROUND_M:.0f} m round the targets is taken"))
    return np.array([low, [high[0], low[1]], high, [low[0], high[1]]]), "box"


def _entry(outline: Floats, drill: Drill, assumed: list[Assumed]) -> Floats:
    """Where searchers set out: the corner of the outline nearest to the last-seen point, else the lowest by y."""
    if drill.scene.last_seen_m is not None:
        seen = np.array(drill.scene.last_seen_m)
        corner = outline[np.argmin(np.sum((outline - seen) ** 2, axis=1))]
        taken = "they set out at the corner of the outline nearest to the last-seen point"
    else:
        corner = outline[np.lexsort((outline[:, 0], outline[:, 1]))[0]]
        taken = "they set out at the corner of the outline with the least y"
    assumed.append(Assumed(None, "the drill does not say where the searchers come from", taken))
    return np.array(corner)
