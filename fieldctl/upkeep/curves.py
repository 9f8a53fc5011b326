"""The one table of batteries: every curve and factor by chemistry, each row with its source and how far it is trusted.

Values are those of one cell. `share` is the charge left, 1 when full. Grades: seen, second-hand, memory (from general
knowledge, no text at hand), rule. Planning figures: what a field measures of its own batteries comes first, and the
spreads (`SPREAD`) say how far a make may lie beside its row.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CHEMISTRIES = ("alkaline", "lithium-fr6", "lithium-thionyl", "li-ion", "lifepo4", "lead-acid")
"""What people bury, by the words of site.toml; what they are called stands in `words`."""

TM = "US Army TM 10-6140-200-14; seen"
HAND = "second-hand"
MEMORY = "memory"


class Row(NamedTuple):
    """One row: what (rest: share -> V; cold: °C -> share of room capacity; ohm: °C -> factor; freezes: share -> °C)."""

    chemistry: str
    what: str
    at: float
    value: float
    source: str


def _rows(chemistry: str, what: str, source: str, *pairs: tuple[float, float]) -> tuple[Row, ...]:
    return tuple(Row(chemistry, what, at, value, source) for at, value in pairs)


TABLE: tuple[Row, ...] = (
    *_rows("alkaline", "rest", f"fresh 1.58 V {HAND}, weak", (1.0, 1.58)),
    *_rows("alkaline", "rest", MEMORY, (0.9, 1.49), (0.75, 1.41), (0.5, 1.32), (0.25, 1.23), (0.1, 1.13), (0.0, 0.9)),
    *_rows("alkaline", "cold", "AA at 250 mA, 2000/1000/200 to 300 mAh; memory", (21, 1.0), (0, 0.5), (-20, 0.125)),
    *_rows("alkaline", "ohm", MEMORY, (20, 1.0), (0, 2.0), (-20, 4.5)),
    *_rows("lithium-fr6", "rest", MEMORY, (1.0, 1.80), (0.95, 1.765), (0.8, 1.735), (0.5, 1.70), (0.2, 1.655)),
    *_rows("lithium-fr6", "rest", MEMORY, (0.1, 1.60), (0.05, 1.50), (0.0, 1.15)),
    *_rows("lithium-fr6", "cold", "85 to 90 % at -20; memory", (20, 1.0), (0, 0.96), (-20, 0.87), (-40, 0.5)),
    *_rows("lithium-fr6", "ohm", MEMORY, (20, 1.0), (0, 1.7), (-20, 3.2)),
    *_rows("lithium-thionyl", "rest", MEMORY, (1.0, 3.67), (0.9, 3.66), (0.5, 3.645), (0.2, 3.62), (0.1, 3.53)),
    *_rows("lithium-thionyl", "rest", MEMORY, (0.05, 3.3), (0.0, 2.5)),
    *_rows("lithium-thionyl", "cold", MEMORY, (20, 1.0), (0, 0.93), (-20, 0.8), (-40, 0.55)),
    *_rows("lithium-thionyl", "ohm", MEMORY, (20, 1.0), (0, 1.8), (-20, 3.6)),
    *_rows("li-ion", "rest", MEMORY, (1.0, 4.18), (0.9, 4.06), (0.8, 3.97), (0.7, 3.88), (0.6, 3.79), (0.5, 3.71)),
    *_rows("li-ion", "rest", MEMORY, (0.4, 3.65), (0.3, 3.59), (0.2, 3.52), (0.1, 3.40), (0.05, 3.28), (0.0, 2.9)),
    *_rows("li-ion", "cold", MEMORY, (25, 1.0), (0, 0.88), (-20, 0.65)),
    *_rows("li-ion", "ohm", MEMORY, (20, 1.0), (0, 2.0), (-20, 4.5)),
    *_rows("lifepo4", "rest", MEMORY, (1.0, 3.40), (0.95, 3.335), (0.9, 3.33), (0.7, 3.31), (0.5, 3.29), (0.3, 3.26)),
    *_rows("lifepo4", "rest", MEMORY, (0.2, 3.22), (0.1, 3.15), (0.05, 3.0), (0.0, 2.5)),
    *_rows("lifepo4", "cold", MEMORY, (25, 1.0), (0, 0.85), (-20, 0.55)),
    *_rows("lifepo4", "ohm", MEMORY, (20, 1.0), (0, 2.0), (-20, 5.0)),
    *_rows("lead-acid", "rest", f"12.66/12.45/12.30/12.15 V of six cells; {HAND}", (1.0, 2.11), (0.75, 2.075)),
    *_rows("lead-acid", "rest", f"12.66/12.45/12.30/12.15 V of six cells; {HAND}", (0.5, 2.05), (0.25, 2.025)),
    *_rows("lead-acid", "rest", MEMORY, (0.0, 1.985)),
    *_rows("lead-acid", "cold", f"{TM}, section 1-8", (27, 1.0), (0, 0.75), (-18, 0.40)),
    *_rows("lead-acid", "cold", MEMORY, (-30, 0.2)),
    *_rows("lead-acid", "ohm", MEMORY, (20, 1.0), (0, 1.4), (-20, 2.2)),
    *_rows("lead-acid", "freezes", f"{TM}, table 1-1", (1.0, -71), (0.75, -52), (0.5, -35), (0.25, -17)),
    *_rows("lead-acid", "freezes", MEMORY, (0.0, -8)),
)
"""Every point of every curve. `cold` is read at the load of the test: what the cold keeps back until it is warmer."""


class Cell(NamedTuple):
    """The single numbers of a chemistry; all from memory unless said otherwise.

    end_v: where a load has had enough (IEC 60086 names 0.8 to 1.05 V by use for LR6; memory). ohm_ah: resistance of a
    fresh cell at 20 °C times its capacity. use_ohm: how it grows with use, R (1 + use_ohm (1 - share)^4). spread_v:
    how far the rest voltage of a make lies beside the curve. fade: spread of true capacity over the printed one.
    loss_day: share of the charge that goes by itself in a day in the cold. hottest_v: more than any full cell has.
    """

    end_v: float
    ohm_ah: float
    use_ohm: float
    spread_v: float
    fade: float
    loss_day: float
    hottest_v: float


CELLS = {
    "alkaline": Cell(0.9, 0.45, 2.0, 0.030, 0.10, 0.00005, 1.70),
    "lithium-fr6": Cell(1.0, 0.40, 1.5, 0.030, 0.07, 0.00003, 1.95),
    "lithium-thionyl": Cell(2.6, 10.0, 1.5, 0.015, 0.09, 0.00003, 3.95),
    "li-ion": Cell(3.0, 0.16, 1.0, 0.045, 0.06, 0.0005, 4.40),
    "lifepo4": Cell(2.6, 0.14, 1.0, 0.018, 0.06, 0.0005, 3.80),
    "lead-acid": Cell(1.75, 0.035, 2.0, 0.015, 0.10, 0.0010, 2.55),
}


BREAKS_DOWN_V = 10.0  # for each full charge past empty: a twentieth costs half a volt; memory, of discharge curves


@cache
def curve(chemistry: str, what: str) -> tuple[Array, Array]:
    """One curve as two rising-x arrays; KeyError where the table has none."""
    rows = sorted((row.at, row.value) for row in TABLE if (row.chemistry, row.what) == (chemistry, what))
    if not rows:
        raise KeyError((chemistry, what))
    at, value = np.array(rows, dtype=np.float64).T
    return at, value


def rest_v(chemistry: str, share: Array) -> Array:
    """Volts of one cell at rest; past empty they break down, above full they stay."""
    at, volts = curve(chemistry, "rest")
    found: Array = np.interp(share, at, volts) + BREAKS_DOWN_V * np.minimum(share, 0.0)
    return found


def cold_keeps(chemistry: str, celsius: Array) -> Array:
    """Share of the full charge that cannot be had while it is so cold."""
    at, value = curve(chemistry, "cold")
    kept: Array = 1.0 - np.interp(celsius, at, value)
    return kept


def cold_ohm(chemistry: str, celsius: Array) -> Array:
    """How many times its resistance at 20 °C a cell has; between rows it grows by a constant factor a degree."""
    at, value = curve(chemistry, "ohm")
    times: Array = np.exp(np.interp(celsius, at, np.log(value)))
    return times


def ohm_shape(chemistry: str, share: Array, celsius: Array) -> Array:
    """Resistance over that of the same cell fresh at 20 °C."""
    used = np.clip(1.0 - share, 0.0, 1.0)
    return cold_ohm(chemistry, celsius) * (1.0 + CELLS[chemistry].use_ohm * used**4)


def freezes_c(share: float) -> float:
    """Where the acid of a lead battery freezes at this charge, in °C."""
    at, value = curve("lead-acid", "freezes")
    return float(np.interp(share, at, value))
