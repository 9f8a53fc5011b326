"""Counted charge that can be believed: a counter only goes on, as quickly as a target can take it, or begins anew.

    sound(day, counted, most_a) -> (counted, wild)     NaN where a count was wild; `wild` says which those were

A count that leaves the others and is followed by one that goes on from them was wild: it is kept out. One that the
later ones go on from was the counter's own leap (a unit that was given another's memory, a step that was not written
down before a power cut): charge goes on being counted from there, and the leap itself takes nothing.
"""

from __future__ import annotations

import numpy as np

from fieldctl.upkeep.curves import Array

AWAKE_A = 0.03  # twice what the table of use has of a target that is awake and sends: none takes more for long
HOUR = 1.0 / 24.0  # beside the time between two counts: a row is the first of its hour, a charge may be older
LOOK = 24  # rows within which a counter must come back from a wild value: a day of one hour each
MAS_A_DAY = 86_400_000.0  # of one ampere


def sound(day: Array, counted: Array, most_a: float) -> tuple[Array, np.ndarray]:
    """Counts as one counter would have gone on, in mAs; `most_a` is the largest load that the battery is known by."""
    wild = np.isfinite(counted) & (counted < 0)
    rows = np.flatnonzero(np.isfinite(counted) & ~wild)
    a_day = max(most_a, AWAKE_A) * MAS_A_DAY
    when, said = day[rows], counted[rows]
    step, room = np.diff(said), a_day * (np.diff(when) + HOUR)
    good = np.where(wild, np.nan, counted)
    if ((step >= 0) & (step <= room)).all():
        return good, wild
    kept, apart = _walk(when, said, a_day)
    good[rows] = kept
    wild[rows[apart]] = True
    return good, wild


def _walk(when: Array, said: Array, a_day: float) -> tuple[Array, list[int]]:
    """The same for counts of which some do not follow from the one before."""

    def room(before: int, at: int) -> float:
        return float(a_day * (when[at] - when[before] + HOUR))

    def follows(before: int, at: int) -> bool:
        return bool(0 <= said[at] - said[before] <= room(before, at))

    kept, apart, last = said.copy(), [], 0
    for at in range(1, said.size):
        if follows(last, at):
            kept[at] = kept[last] + (said[at] - said[last])
            last = at
            continue
        later = range(at + 1, min(at + 1 + LOOK, said.size))
        begins = said[at] < said[last] and said[at] <= room(last, at)
        if any(follows(last, n) and not follows(n - 1, n) for n in later):  # it comes back
            kept[at] = np.nan
            apart.append(at)
            continue
        if begins and not later:
            kept[at] = np.nan  # the next one will tell whether it began anew
            continue
        if not begins and at == 1:
            kept[0] = np.nan  # of the first two, the one that the others go on from is the good one
            apart.append(0)
        elif not begins:
            kept[at] = kept[last]
            apart.append(at)
        last = at
    return kept, apart
