"""Survival under the snow against time, as published: named studies, their points, no more.

A curve runs from a study's first published point to its last and nowhere else; between points it is a straight line,
with bounds that hold for any curve which never rises: not above the earlier point, not below the later one. These are
statistics of past accidents, no promise for anybody. They count to a free airway, not to the probe's strike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Point:
    """Share found alive at a time of burial, with its published interval; `low` = `high` = `alive` where none was
    at hand."""

    minutes: float
    alive: float
    low: float
    high: float


def _plain(minutes: float, alive: float) -> Point:
    return Point(minutes, alive, alive, alive)


@dataclass(frozen=True, slots=True)
class Study:
    """One published study: how it is cited, how many burials, its points in order of time, how it was read (`grade`),
    and what else it says."""

    key: str
    cite: str
    burials: int
    points: tuple[Point, ...]
    grade: str
    notes: str = ""

    @property
    def span_min(self) -> tuple[float, float]:
        """First and last minute for which anything is said."""
        return self.points[0].minutes, self.points[-1].minutes

    @property
    def interval_known(self) -> bool:
        """Whether an interval was at hand for every point."""
        return all(p.low < p.high for p in self.points)


STUDIES: tuple[Study, ...] = (
    Study(
        "falk-1994",
        "Falk, Brugger, Adler-Kastner, Nature 368:21 (1994), Switzerland",
        422,
        (_plain(15, 0.92), _plain(35, 0.30)),
        "seen",
        "Burial depth 105 ± 85 cm.",
    ),
    Study(
        "brugger-2001",
        "Brugger et al., Resuscitation (2001)",
        638,
        (_plain(18, 0.91), _plain(35, 0.34)),
        "second-hand",
        "Speaks of a latent phase from 35 to 90 minutes.",
    ),
    Study(
        "haegeli-2011-canada",
        "Haegeli et al., CMAJ 183:789-795 (2011), Canada",
        301,
        (_plain(10, 0.77), _plain(35, 0.07)),
        "points second-hand; counts seen",
        "Alive 46.2 %; median burial 18 minutes. Switzerland in the same study (946 burials): alive 46.9 %, median 35.",
    ),
    Study(
        "procter-2016",
        "Procter et al., Resuscitation 105:173 (2016); Strapazzon et al., ISSW 2018",
        633,
        (Point(35, 0.265, 0.25, 0.28),),
        "seen",
        "Two publications give 25 and 28 % at 35 minutes: the bounds are those two. Alive 56 %.",
    ),
    Study(
        "rauch-2024",
        "Rauch et al., JAMA Network Open 7(9):e2435253 (2024), Switzerland 1981-2020",
        1643,
        (Point(10, 0.91, 0.80, 1.00), Point(30, 0.31, 0.11, 0.51), Point(130, 0.073, 0.048, 0.107)),
        "seen / second-hand",
        "The last point is the share among those buried for more than 130 minutes. Alive 53.4 %; companions' rescue"
        " went from a median of 15 to 10 minutes.",
    ),
)

CAUTION = (
    "Published statistics of past accidents, not a promise. They count to a free airway, not to the probe, "
    "and can be switched off."
)


def study(key: str) -> Study:
    """The study of a key; KeyError names those that there are."""
    for found in STUDIES:
        if found.key == key:
            return found
    raise KeyError(f"no study {key!r}; there are {', '.join(s.key for s in STUDIES)}")


@dataclass(frozen=True, slots=True)
class Curve:
    """Share alive at each minute asked, with bounds: (…) each, nan outside the study's data."""

    alive: Floats
    low: Floats
    high: Floats


def curve(of: Study, minutes: ArrayLike) -> Curve:
    """What a study says at times of burial, minutes (…): straight between its points, nan before and after them.

    At a point the bounds are its published interval; between two they run from the later point's lower end to the
    earlier one's upper end. None of the three ever rises with time.
    """
    t = np.asarray(minutes, dtype=np.float64)
    at, alive, low, high = (np.array([getattr(p, name) for p in of.points]) for name in Point.__slots__)
    inside = (t >= at[0]) & (t <= at[-1])
    later = np.clip(np.searchsorted(at, t, side="left"), 0, len(at) - 1)
    earlier = np.clip(np.searchsorted(at, t, side="right") - 1, 0, len(at) - 1)
    line = np.interp(t, at, alive)
    return Curve(*(np.where(inside, x, np.nan) for x in (line, low[later], high[earlier])))
