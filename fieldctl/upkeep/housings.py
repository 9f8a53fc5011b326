"""What is wrong with a housing? Its temperature against its own past and what the others say, and moisture where told.

follows-weather    it swings through the day as nothing under snow does, nor did before: bare, or open to the air
apart-from-others  it says another temperature than all the others, by far more than it did before
wet                moisture inside, where a target has a sensor for it
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldctl.upkeep.account import Finding
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.past import Past
from fieldctl.upkeep.series import Season

RECENT, BEFORE = 5, 10  # days on which it said something
SWING_C, SWING_TIMES = 5.0, 2.5  # from the coldest to the warmest reading of a day, and times what is usual
APART_C, APART_MORE_C = 10.0, 8.0  # from the middle of all targets; and by how much more than before
TARGETS_LEAST = 4  # that there is a middle of
WET_PERCENT = 80.0  # relative: contacts corrode from there on; from memory
WET_DAYS = 2


def housing_findings(pasts: Sequence[Past], season: Season) -> list[list[Finding]]:
    """Of each target what its housing shows on the last day."""
    known = (~np.isnan(season.celsius)).sum(axis=0)
    with np.errstate(invalid="ignore"):
        field = np.where(known >= TARGETS_LEAST, _middle(season.celsius), np.nan)
    return [
        [*(_follows(season, n) or _apart(season, n, field)), *_wet(season, n)] for n in range(len(pasts))
    ]  # fmt: skip


def _middle(values: Array) -> Array:
    """The median of each column without NaN; NaN where it has none."""
    ranked = np.sort(values, axis=0)  # NaN sorts last
    count = (~np.isnan(values)).sum(axis=0)
    at = np.arange(values.shape[1])
    low, high = ranked[np.maximum(count - 1, 0) // 2, at], ranked[np.minimum(count // 2, values.shape[0] - 1), at]
    out: Array = (low + high) / 2.0
    return out


def _split(row: Array) -> tuple[np.ndarray, np.ndarray] | None:
    said = np.flatnonzero(~np.isnan(row))
    return None if said.size < RECENT + BEFORE else (said[-RECENT:], said[:-RECENT])


def _follows(season: Season, n: int) -> list[Finding]:
    parts = _split(season.swing_c[n])
    if parts is None:
        return []
    late, early = parts
    now = float(np.median(season.swing_c[n, late]))
    others = np.delete(season.swing_c, n, axis=0)[:, late]
    told = others[~np.isnan(others)]
    usual = max(float(np.median(season.swing_c[n, early])), float(np.median(told)) if told.size else 0.0)
    if now <= max(SWING_C, SWING_TIMES * usual):
        return []
    values = {"swing": now, "usual": usual}
    return [Finding("follows-weather", "likely", float(season.day[late[0]]), values, about="housing")]


def _apart(season: Season, n: int, field: Array) -> list[Finding]:
    away = season.celsius[n] - field
    parts = _split(away)
    if parts is None:
        return []
    late, early = parts
    now, before = float(np.median(away[late])), float(np.median(away[early]))
    if abs(now) <= APART_C or abs(now - before) <= APART_MORE_C:
        return []
    values = {"celsius": float(np.median(season.celsius[n, late])), "others": float(np.median(field[late]))}
    return [Finding("apart-from-others", "perhaps", float(season.day[late[0]]), values, about="housing")]


def _wet(season: Season, n: int) -> list[Finding]:
    said = np.flatnonzero(~np.isnan(season.moisture[n]))[-WET_DAYS:]
    if said.size < WET_DAYS or np.any(season.moisture[n, said] < WET_PERCENT):
        return []
    percent = round(float(season.moisture[n, said[-1]]))
    return [Finding("wet", "likely", float(season.day[said[0]]), {"percent": percent}, about="housing")]
