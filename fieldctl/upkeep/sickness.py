"""Is a battery sick? Two signs, each measured against the battery's own earlier days rather than against a table alone.

    loses      volts at rest fall faster, for the charge that was counted, than they did before: it goes somewhere else
    resists    the drop under load grows day by day beside what cold and use explain

Neither is looked for near empty, where healthy cells do the same, nor where the curve is too flat to tell.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from fieldctl.upkeep.curves import CELLS, Array, cold_ohm, rest_v
from fieldctl.upkeep.energy import Use
from fieldctl.upkeep.estimate import BEND, Belief, resistance_over_table
from fieldctl.upkeep.readings import Daily
from fieldctl.upkeep.slopes import Slope, theil_sen

Sign = Literal["loses", "resists"]

RECENT_DAYS = 10
LEAST_DAYS = 6
NEAR_EMPTY, NEAR_FULL = 0.2, 0.95  # by volts: outside, curves bend of themselves
RESISTS_LEAST = 0.40  # charge left, below which resistance grows by use as well
RESISTS_LEAST_V = 0.01  # of drop by resistance alone: less, and what the cold does hides it
RESISTS_A_DAY = 0.02
RESISTS_SINCE_BEGIN = 1.3
LOSES_TIMES = 1.25  # of what is counted, and of what it did before
USUAL_MOST = 1.1  # times that a curve may fall faster than the table's: more was a bend at its top
LOSES_A_DAY = 0.0015  # share of a full charge at least, beside that
BENT = ("lithium-fr6", "lithium-thionyl", "lifepo4")  # curves that fall from their top first and lie flat then
BENT_FULL = 0.65
FLAT_SHARE = 0.25  # charge that the curve leaves open at this point: more, and volts prove nothing


class Sick(NamedTuple):
    """A sign, its measure a day (share of a full charge, or of the resistance), and by how much of what is usual."""

    sign: Sign
    a_day: float
    times: float


def signs(belief: Belief, days: Daily, use: Use) -> tuple[Sick, ...]:
    """What can be seen of a sick battery on the last of these days."""
    found = (_loses(belief, days, use), _resists(belief, days))
    return tuple(sign for sign in found if sign is not None)


def _slope(day: Array, value: Array) -> Slope | None:
    return theil_sen(day, value) if day.size >= LEAST_DAYS and day[-1] > day[0] else None


def _loses(belief: Belief, days: Daily, use: Use) -> Sick | None:
    kind, cells = belief.battery.chemistry, belief.battery.cells
    grid = np.linspace(0.0, 1.0, 201)
    curve = rest_v(kind, grid)
    share = np.interp(days.rest_v / cells, curve, grid)
    top = BENT_FULL if kind in BENT else NEAR_FULL
    with np.errstate(invalid="ignore"):
        told = (share > NEAR_EMPTY) & (share < top)  # NaN is neither
    recent = told & (days.day > days.day[-1] - RECENT_DAYS)
    now = _slope(days.day[recent], share[recent])
    if now is None or not use.counted:
        return None
    middle = float(np.median(share[recent]))
    steep = float(np.interp(middle, grid, np.gradient(curve, grid)))
    if BEND * CELLS[kind].spread_v / max(steep, 1e-6) > FLAT_SHARE:
        return None
    counted = _counted(days, recent) / belief.battery.capacity_ah
    earlier = told & (days.day <= days.day[-1] - RECENT_DAYS) & (days.day > days.day[0] + 2)
    before = _slope(days.day[earlier], share[earlier])
    if counted <= 0:
        return None
    usual = USUAL_MOST
    if before is not None:
        usual = -before.slope * belief.battery.capacity_ah / max(_counted(days, earlier), 1e-9)
        usual = min(max(usual, 1.0), USUAL_MOST)
    most = LOSES_TIMES * counted * usual + LOSES_A_DAY
    if -now.high <= most:
        return None
    return Sick("loses", -now.slope - counted, -now.slope / (counted * usual))


def _counted(days: Daily, at: np.ndarray) -> float:
    """Ampere-hours a day that were counted over these days."""
    day, used = days.day[at], days.used_ah[at]
    return float((used[-1] - used[0]) / (day[-1] - day[0]))


def _resists(belief: Belief, days: Daily) -> Sick | None:
    share = float(np.average(belief.share, weights=belief.weight))
    if share < RESISTS_LEAST or not belief.age > RESISTS_SINCE_BEGIN:
        return None
    if _by_resistance_v(belief) < RESISTS_LEAST_V:
        return None
    recent = days.part(int(np.searchsorted(days.day, days.day[-1] - RECENT_DAYS * 1.5)), days.size)
    known = ~np.isnan(recent.ohm)
    ratio = resistance_over_table(belief.battery, recent.ohm[known], recent.celsius[known], min(share, 1.0))
    found = _slope(recent.day[known], np.log(np.maximum(ratio, 1e-3)))
    if found is None or found.low <= RESISTS_A_DAY:
        return None
    return Sick("resists", found.slope, belief.age)


def _by_resistance_v(belief: Belief) -> float:
    """The part of the drop under load that is the battery's own resistance, by the table and its own beginning."""
    battery, cell = belief.battery, CELLS[belief.battery.chemistry]
    ohm = cell.ohm_ah / battery.capacity_ah * belief.run
    return battery.cells * battery.load_a * ohm * float(cold_ohm(battery.chemistry, np.array(belief.celsius)))
