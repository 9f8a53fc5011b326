"""How deep a target lies today: its surveyed depth, and how much the snow has grown or shrunk since.

Between the two days a target that lies on the ground, or hangs on a stake, keeps its height above the ground; one that
rests on snow sinks as that snow settles. Which of the two holds is seldom known, so the answer is an interval: the
stake's depth and the settling depth bound it, each widened by the place's own ±.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldctl.site.model import Place


@dataclass(frozen=True, slots=True)
class Burial:
    """Depth today in metres below the surface, its least and most, and a word of caution where there is one."""

    depth_m: float
    least_m: float
    most_m: float
    caution: str = ""


def burial_today(place: Place, snow_m: float | None) -> Burial:
    """How deep a target lies under today's surface, where the snow is `snow_m` deep (None: not measured)."""
    then_m = place.snow_m
    if snow_m is None or then_m is None:
        missing = "today's snow depth" if snow_m is None else "the snow depth on the day of the survey"
        return _within(place, place.depth_m, place.depth_m, f"{missing} is not known: this is the surveyed depth")
    height_m = max(0.0, then_m - place.depth_m)  # above the ground; 0 for what is dug into the ground
    on_a_stake = place.depth_m + snow_m - then_m
    if snow_m >= then_m:
        settled = on_a_stake + height_m  # at most down to the ground, under the new snow
    else:
        settled = place.depth_m * snow_m / then_m  # all of the loss is settling: the share above it stays the same
    if max(on_a_stake, settled) <= 0:
        return Burial(0.0, 0.0, place.plus_minus_m, "it may lie open on the surface")
    caution = "it may lie open on the surface" if on_a_stake <= 0 else ""
    return _within(place, on_a_stake, settled, caution)


def _within(place: Place, on_a_stake: float, settled: float, caution: str) -> Burial:
    least_m = max(0.0, min(on_a_stake, settled) - place.plus_minus_m)
    most_m = max(on_a_stake, settled) + place.plus_minus_m
    return Burial(max(0.0, on_a_stake), least_m, most_m, caution)
