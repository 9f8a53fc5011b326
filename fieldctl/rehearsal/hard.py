"""What makes a burial hard, in words: from where it lies, how it sends, and what befell the simulated searchers."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos
from typing import Literal

import numpy as np

from fieldctl.physics.reach import distance_to_outline
from fieldctl.physics.receiver import above
from fieldctl.rehearsal.close_in import PROBE_M, REACH_M
from fieldctl.rehearsal.scene import ROUND_OUTLINE_M, Scene
from fieldctl.rehearsal.tally import Tally
from fieldctl.site.sending import MOMENT_FULL_AM2

Kind = Literal[
    "depth", "tilt", "distance", "overlap", "order", "weak", "drops", "no-signal", "outside", "ends", "limit"
]

DEEP_M = 1.5
BESIDE_M = 0.15  # the strongest place so far off the target is half a pad: worth a word
OVERLAP_SHARE = 0.05
LONG_S = 60.0  # until a signal is taken note of, and at least half of the time to the find
FAR_M = 40.0  # beyond what a usual signal is met at from the edge (Schweizer & Krüsi 2003: from 25 m)
LATER = 0.8  # burials found before it, on average
WEAK_SHARE = 0.8
OUTSIDE_M = 1.0  # nearer than this the outline as drawn may be off
FEW_SHARE = 0.5  # found by fewer, and nothing else says why: then it is the limit


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that makes a burial hard."""

    kind: Kind
    text: str


def reasons_for(scene: Scene, tally: Tally, k: int) -> tuple[Reason, ...]:
    """What makes burial k hard, in the order of a search; empty where nothing stands out."""
    found = _order(scene, tally, k)
    outside = _outside(scene, tally, k)
    if not scene.sends[k]:
        found.insert(0, Reason("no-signal", "It sends no signal: only a probe finds it."))
        return (*found, *outside, *_depth(scene, k, signal=False))
    found += [*outside, *_signal(scene, tally, k), *_depth(scene, k, signal=True), *_ends(scene, tally, k)]
    if not found and tally.share()[k] < FEW_SHARE:
        found.append(Reason("limit", f"The limit of {minutes(scene.limit_s)} comes before most have found it."))
    return tuple(found)


def _outside(scene: Scene, tally: Tally, k: int) -> list[Reason]:
    """Far outside the outline nobody walks; a little outside only matters where it was not found."""
    away = float(distance_to_outline(scene.places[k, :2], scene.outline)[0])
    least = ROUND_OUTLINE_M if scene.sends[k] and tally.share()[k] >= FEW_SHARE else OUTSIDE_M
    if away < least:
        return []
    return [Reason("outside", f"It lies {away:.0f} m outside the outline of the debris, inside which people search.")]


def _ends(scene: Scene, tally: Tally, k: int) -> list[Reason]:
    """A signal that ends, or would begin, when the time is up."""
    starts = float(scene.starts_s[k]) if scene.after[k] < 0 else float(scene.after_s[k])
    if starts >= scene.limit_s:
        return [Reason("limit", f"The limit of {minutes(scene.limit_s)} comes before its signal.")]
    if starts + scene.lasts_s[k] < scene.limit_s and tally.share()[k] < 1.0:
        return [Reason("ends", f"Its signal ends {minutes(scene.lasts_s[k])} after it began.")]
    return []


def _order(scene: Scene, tally: Tally, k: int) -> list[Reason]:
    out = []
    if scene.after[k] >= 0:
        first = scene.names[scene.after[k]]
        later_s = float(scene.after_s[k])
        if later_s > 0.0:
            out.append(Reason("order", f"Its signal comes only {minutes(later_s)} after {first} is found."))
        else:
            out.append(Reason("order", f"Its signal comes only when {first} is found."))
    elif np.isfinite(scene.starts_s[k]) and scene.starts_s[k] > 0.0:
        out.append(Reason("order", f"Its signal comes {minutes(scene.starts_s[k])} after the start."))
    finds = int(tally.by_search[k] + tally.by_line[k])
    before = tally.before[k] / finds if finds else 0.0
    if before >= LATER:
        out.append(Reason("order", f"It is mostly found after others: {before:.1f} burials on average come before it."))
    return out


def _signal(scene: Scene, tally: Tally, k: int) -> list[Reason]:
    out = []
    level = scene.moments_Am2[k] / MOMENT_FULL_AM2
    if level < WEAK_SHARE:
        out.append(Reason("weak", f"Its signal is weak: {100 * level:.0f} % of the full one, so it is met later."))
    if scene.drop_off_s[k] > 0.0:
        rhythm = f"there for {scene.drop_on_s[k]:g} s, away for {scene.drop_off_s[k]:g} s"
        out.append(Reason("drops", f"Its signal drops out: {rhythm}."))
    finds = int(tally.by_search[k])
    if finds:
        wait = tally.waits[k] / finds
        whole = wait + (tally.follows[k] + tally.pins[k]) / finds
        away = float(np.hypot(*(scene.places[k, :2] - scene.entry)))
        first = tally.before[k] / finds < LATER and scene.starts_s[k] == 0.0
        if first and wait >= LONG_S and wait >= whole / 2:
            text = f"It lies {away:.0f} m from where they set out: {minutes(wait)} on average until its signal is met."
            out.append(Reason("distance", text))
        elif not first and away >= FAR_M:
            out.append(Reason("distance", f"It lies {away:.0f} m from where they set out."))
    spoiled = tally.spoiled[k] / max(1, int(tally.loud[k]))
    if spoiled >= OVERLAP_SHARE:
        out.append(Reason("overlap", f"Pulses overlap: {100 * spoiled:.0f} % of its pulses could not be told apart."))
    return out


def _depth(scene: Scene, k: int, *, signal: bool) -> list[Reason]:
    depth = float(scene.depths_m[k])
    out = []
    if depth > REACH_M:
        out.append(
            Reason(
                "depth", f"It lies {depth:.1f} m deep: a probe of {PROBE_M} m reaches {REACH_M:.1f} m and misses it."
            )
        )
    elif depth >= DEEP_M:
        wide = ", and the least distance is shown over a wide stretch" if signal else ""
        out.append(Reason("depth", f"It lies {depth:.1f} m deep: holes take longer{wide}."))
    if signal:
        beside = float(above(3, depth, acos(min(1.0, abs(float(scene.axes[k, 2]))))).offset_m)
        if beside >= BESIDE_M:
            text = f"Its coil is tilted: the strongest place on the surface lies {beside:.1f} m beside the target."
            out.append(Reason("tilt", text))
    return out


def minutes(s: float) -> str:
    """A time for people: 1 min 05 s."""
    whole = round(s)
    return f"{whole // 60} min {whole % 60:02d} s" if whole >= 60 else f"{whole} s"
