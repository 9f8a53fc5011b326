"""The last metres: a cross at the surface where the distance shown is least, then a spiral of holes.

The cross goes on along the line until the distance clearly grows, back over the best place until it grows on the other
side, to the middle of where it was least; then the same square to it. So depth makes a fine search harder through the
field itself: the deeper, the wider the stretch where the distance shown stays the same, and a tilted coil has its
strongest place beside the target.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.probe_patterns import SPIRAL_SPACING_M, spiral
from fieldctl.physics.probing import footprint, pad_disc, probe_reach_m
from fieldctl.rehearsal.chance import For, normal, uniform
from fieldctl.rehearsal.crew import NOBODY, Crew, Doing, Field, How
from fieldctl.rehearsal.hearing import SECOND_S, Heard
from fieldctl.rehearsal.probe_line import hole_s
from fieldctl.rehearsal.scene import Scene
from fieldctl.rehearsal.skill import Skill

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

PAD_M = 0.40
"""Width of the round, level pad to be struck: our own assumption, a little over what a 25 cm grid cannot miss."""
PROBE_M = 2.4  # "2 to 2.5 m handy" (common practice)
REACH_M = probe_reach_m(PROBE_M)
LOW_M = 0.05  # height of the receiver above the surface in a fine search
SPIRAL_M = 1.0  # out to here, about fifty holes; then the cross is walked again
HOLES = spiral(SPIRAL_SPACING_M, SPIRAL_M)
SHOWN_STEP_M = 0.1  # of a display
CLEARLY_M = 0.2  # farther by this, or by an eighth, counts as growing …
IN_A_ROW = 2  # … when so many readings say so
LEG_M = 4.0  # nobody goes farther from the middle of the cross
LOST_S = 30.0  # nothing read for so long: back to the signal search
_LAST_LEG = 3


def start_cross(crew: Crew, who: Bools) -> None:
    """Begin the cross where one stands."""
    crew.doing[who] = Doing.CROSS
    crew.leg[who] = 0
    crew.going_back[who] = False
    _new_leg(crew, who)


def _new_leg(crew: Crew, who: Bools) -> None:
    crew.best_m[who] = np.inf
    crew.best_from[who] = crew.at[who]
    crew.best_to[who] = crew.at[who]
    crew.leg_from[who] = crew.at[who]
    crew.grew[who] = 0


def shown_rounded(shown_m: Floats) -> Floats:
    """As a display shows it."""
    return np.round(shown_m / SHOWN_STEP_M) * SHOWN_STEP_M


def step_cross(crew: Crew, heard: Heard, skill: Skill, still: Bools, moment: int) -> None:
    """One second of the cross for all who are at it."""
    who = crew.doing == Doing.CROSS
    if not who.any():
        return
    rows = np.arange(len(who))
    k = np.maximum(crew.follow, 0)
    fresh = who & heard.read[rows, k] & ~crew.going_back
    noise = np.exp(skill.level_error * normal(crew.key, For.LEVEL, moment))
    shown = shown_rounded(heard.shown_m[rows, k] * noise)
    better = fresh & (shown < crew.best_m - 1e-6)
    same = fresh & ~better & (shown <= crew.best_m + 1e-6)
    crew.best_m[better] = shown[better]
    crew.best_from[better] = crew.at[better]
    crew.best_to[better | same] = crew.at[better | same]
    margin = np.maximum(CLEARLY_M, np.where(np.isfinite(crew.best_m), crew.best_m, 0.0) / 8.0)
    gone = np.hypot(*(crew.at - crew.leg_from).T)
    longest = np.where(crew.leg % 2 == 1, 2.0 * LEG_M, LEG_M)
    crew.grew = np.where(fresh, np.where(shown > crew.best_m + margin, crew.grew + 1, 0), crew.grew)
    ended = (fresh & (crew.grew >= IN_A_ROW)) | (who & ~crew.going_back & (gone > longest))
    turn = ended & (crew.leg % 2 == 0)
    crew.heading[turn] = -crew.heading[turn]
    crew.leg[turn] += 1
    _new_leg(crew, turn)
    crew.going_back |= ended & ~turn
    step = skill.fine_m_per_s * crew.pace * SECOND_S
    back = who & crew.going_back
    middle = 0.5 * (crew.best_from + crew.best_to)
    way = middle - crew.at
    left = np.hypot(*way.T)
    share = np.minimum(1.0, step / np.maximum(left, 1e-9))
    crew.at[back] += (share[:, None] * way)[back]
    there = back & (left <= step)
    square = there & (crew.leg < _LAST_LEG)
    crew.heading[square] = np.stack([-crew.heading[square, 1], crew.heading[square, 0]], axis=1)
    crew.leg[square] += 1
    crew.going_back[there] = False
    _new_leg(crew, square)
    _start_probing(crew, there & ~square, skill, moment)
    on = who & ~back & ~still & ~ended & (crew.silent_s <= 3.0)
    crew.at[on] += (crew.heading * step[:, None])[on]


def _start_probing(crew: Crew, who: Bools, skill: Skill, moment: int) -> None:
    error = np.stack([normal(crew.key, w, moment) for w in (For.PINPOINT_EAST, For.PINPOINT_NORTH)], axis=1)
    crew.doing[who] = Doing.PROBING
    crew.first_hole[who] = (crew.at + skill.pinpoint_error_m * error)[who]
    crew.hole[who] = 0
    crew.hole_done[who] = 0.0
    tools = skill.tools_s * np.where(crew.probed_before, 0.4, 1.0) / crew.pace  # the probe is together already
    crew.busy_until_s[who] = moment * SECOND_S + tools[who]
    crew.probed_before |= who


def step_probing(crew: Crew, field: Field, scene: Scene, skill: Skill, helpers: Floats, moment: int, each: int) -> None:
    """One second of spiral probing; `helpers` (A,) more probes share the holes of a searcher's spiral."""
    now = moment * SECOND_S
    who = (crew.doing == Doing.PROBING) & (crew.busy_until_s <= now)
    if not who.any():
        return
    k = np.maximum(crew.follow, 0)
    deep = np.minimum(REACH_M, np.where(np.isfinite(crew.best_m), crew.best_m, REACH_M))
    crew.hole_done[who] += (SECOND_S * crew.pace * (1.0 + helpers) / hole_s(skill, deep))[who]
    made = who & (crew.hole_done >= 1.0)
    crew.hole_done[made] -= 1.0
    error = np.stack([normal(crew.key, w, moment) for w in (For.HOLE_EAST, For.HOLE_NORTH)], axis=1)
    hole = crew.first_hole + HOLES[np.minimum(crew.hole, len(HOLES) - 1)] + skill.hole_error_m * error
    length, width = footprint(pad_disc(PAD_M), 0.0)
    off = hole - scene.places[k, :2]
    inside = (2.0 * off[:, 0] / length) ** 2 + (2.0 * off[:, 1] / width) ** 2 <= 1.0
    struck = made & inside & (scene.depths_m[k] <= REACH_M)
    crew.hole[made] += 1
    noticed = struck & (uniform(crew.key, For.FEEL, moment) >= skill.misses_hit)
    noticed |= struck & scene.falls_quiet[k] & ~scene.by_call[k]  # the signal goes: that is noticed
    row = np.arange(len(who)) // each
    count_find(field, scene, row[struck], k[struck], noticed[struck], now + SECOND_S, How.SEARCH)
    crew.doing[noticed] = Doing.MARKING
    crew.busy_until_s[noticed] = (now + SECOND_S + skill.marks_s / crew.pace)[noticed]
    crew.follow[noticed] = NOBODY
    through = made & ~noticed & (crew.hole >= len(HOLES))
    crew.silent_s[through] = 0.0
    start_cross(crew, through)


def count_find(field: Field, scene: Scene, row: Ints, k: Ints, noticed: Bools, at_s: float, how: How) -> None:
    """Pads struck, burials (row, k) of the field: found by the hit, or by the call that follows when it is noticed."""
    ends = noticed | ~scene.by_call[k]
    fresh = ends & ~np.isfinite(field.found_s[row, k])
    r, b = row[fresh], k[fresh]
    field.found_s[r, b] = at_s
    field.how[r, b] = how
    quiet = scene.falls_quiet[b]
    field.stops_s[r[quiet], b[quiet]] = at_s
    field.marked[row[noticed], k[noticed]] = True
    for later in np.flatnonzero(scene.after >= 0):
        woken = r[(b == scene.after[later])]
        field.starts_s[woken, later] = at_s + scene.after_s[later]
        field.stops_s[woken, later] = at_s + scene.after_s[later] + scene.lasts_s[later]
