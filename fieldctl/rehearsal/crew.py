"""The state of many rehearsals at once: N repetitions of a drill, each with S searchers, as arrays.

Searchers are (A,) with A = N × S, those of one repetition side by side; burials of a repetition are (N, K). Repetitions
that are through are taken out, their outcome having been counted before.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.dipole import RECEIVER_LIMIT_A_PER_M, Floats
from fieldctl.rehearsal.chance import For, Words, keys, normal
from fieldctl.rehearsal.hearing import Trains, trains_of
from fieldctl.rehearsal.scene import Scene
from fieldctl.rehearsal.skill import Skill
from fieldctl.rehearsal.strips import RANGE_SPREAD

Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

NOBODY = -1


class Doing(IntEnum):
    """What a searcher is doing."""

    GETTING_READY = 0
    SIGNAL = 1  # walking strips
    FOLLOWING = 2  # along the flux line
    CROSS = 3  # slow, at the surface
    PROBING = 4
    MARKING = 5  # a find is marked; what next?
    LINE = 6  # in a probe line
    DONE = 7  # believes that nobody is left


class How(IntEnum):
    """How a burial was found."""

    NOT = 0
    SEARCH = 1
    LINE = 2


@dataclass(slots=True)
class Crew:
    """Searchers, each (A,) or (A, 2) or (A, K)."""

    key: Words
    pace: Floats
    limit_A_per_m: Floats
    doing: Ints
    busy_until_s: Floats
    at: Floats
    heading: Floats
    walked_m: Floats
    follow: Ints
    best_m: Floats  # the least distance shown: on this leg
    best_from: Floats  # … and where it was shown first and last
    best_to: Floats
    leg_from: Floats
    leg: Ints  # of the cross, or turns made along the flux line
    grew: Ints  # readings in a row that were clearly farther than the best
    going_back: Bools
    silent_s: Floats  # since the burial that is followed was read
    read_at_s: Floats  # when each burial was last read
    first_hole: Floats
    hole: Ints
    hole_done: Floats
    probed_before: Bools


@dataclass(slots=True)
class Field:
    """Burials of N repetitions, each (N, K); `index` (N,) says which repetition, `line_m2` what its line has probed."""

    index: Ints
    trains: Trains
    starts_s: Floats
    stops_s: Floats
    found_s: Floats
    how: Ints
    marked: Bools
    claimed: Ints
    heard_s: Floats
    near_s: Floats
    spoiled: Ints
    loud: Ints
    line_key: Words
    line_m2: Floats


def begin(scene: Scene, skill: Skill, searchers: int, seed: int, repetitions: Ints) -> tuple[Crew, Field]:
    """Everybody at the entry, nothing found."""
    n, k = len(repetitions), len(scene.names)
    key = np.stack([keys(seed, repetitions, who) for who in range(searchers)], axis=1).ravel()
    a = len(key)
    pace = np.exp(skill.spread * normal(key, For.PACE))
    # Ranges spread by a share, fields by three times that: they fall with the cube of the distance.
    limit = RECEIVER_LIMIT_A_PER_M * np.exp(3.0 * RANGE_SPREAD * normal(key, For.LIMIT))
    entry = np.tile(scene.entry, (a, 1))
    inward = scene.outline.mean(axis=0) - scene.entry
    length = float(np.hypot(*inward))
    ahead = inward / length if length > 0.0 else np.array([1.0, 0.0])
    crew = Crew(
        key=key,
        pace=pace,
        limit_A_per_m=limit,
        doing=np.full(a, int(Doing.GETTING_READY), dtype=np.intp),
        busy_until_s=skill.gets_ready_s / pace,
        at=entry,
        heading=np.tile(ahead, (a, 1)),
        walked_m=np.zeros(a),
        follow=np.full(a, NOBODY, dtype=np.intp),
        best_m=np.full(a, np.inf),
        best_from=entry.copy(),
        best_to=entry.copy(),
        leg_from=entry.copy(),
        leg=np.zeros(a, dtype=np.intp),
        grew=np.zeros(a, dtype=np.intp),
        going_back=np.zeros(a, dtype=bool),
        silent_s=np.zeros(a),
        read_at_s=np.full((a, k), -np.inf),
        first_hole=entry.copy(),
        hole=np.zeros(a, dtype=np.intp),
        hole_done=np.zeros(a),
        probed_before=np.zeros(a, dtype=bool),
    )
    starts = np.tile(scene.starts_s, (n, 1))
    field = Field(
        index=repetitions.copy(),
        trains=trains_of(scene, [keys(seed, repetitions, 1000 + i) for i in range(k)]),
        starts_s=starts,
        stops_s=starts + scene.lasts_s,
        found_s=np.full((n, k), np.inf),
        how=np.zeros((n, k), dtype=np.intp),
        marked=np.zeros((n, k), dtype=bool),
        claimed=np.full((n, k), NOBODY, dtype=np.intp),
        heard_s=np.full((n, k), np.inf),
        near_s=np.full((n, k), np.inf),
        spoiled=np.zeros((n, k), dtype=np.intp),
        loud=np.zeros((n, k), dtype=np.intp),
        line_key=keys(seed, repetitions, 2000),
        line_m2=np.zeros(n),
    )
    return crew, field


def kept(crew: Crew, field: Field, rows: Bools) -> tuple[Crew, Field]:
    """Only the repetitions of `rows` (N,)."""
    each = len(crew.key) // max(1, len(rows))
    who = np.repeat(rows, each)
    slim = Crew(**{f.name: getattr(crew, f.name)[who] for f in fields(Crew)})
    left: dict[str, Any] = {f.name: getattr(field, f.name) for f in fields(Field)}
    left = {name: value.kept(rows) if name == "trains" else value[rows] for name, value in left.items()}
    return slim, Field(**left)
