"""How strongly a burial sends and which way its coil points: for whoever rehearses an exercise or draws one."""

from __future__ import annotations

from math import pi, radians, sqrt

import numpy as np
from numpy.typing import NDArray

from fieldctl.drill.plan import LEVEL_FULL, Burial
from fieldctl.physics.dipole import (
    AXIAL,
    BROADSIDE,
    FIELD_LIMIT_AT_M,
    FIELD_LIMIT_HIGH_A_PER_M,
    FIELD_LIMIT_LOW_A_PER_M,
    moment_for_field,
)
from fieldctl.physics.receiver import axis_of

Floats = NDArray[np.float64]

MOMENT_FULL_AM2 = sqrt(
    float(moment_for_field(FIELD_LIMIT_LOW_A_PER_M, FIELD_LIMIT_AT_M, BROADSIDE))
    * float(moment_for_field(FIELD_LIMIT_HIGH_A_PER_M, FIELD_LIMIT_AT_M, AXIAL))
)
"""9.2e-3 A·m² at level 100: the middle, by ratio, of the moments that are lawful on either reading of the field limits
(0.5 to 2.16 µA/m at 10 m, on the axis or broadside). Targets that were measured differ: our own assumption."""

HELD_M = 1.0  # height of the receiver above the surface until the fine search


def moment_of(burial: Burial) -> float:
    """Moment (A·m²) with which a burial sends: the full one scaled by its level, 0 for a no-signal burial."""
    return 0.0 if burial.signal.kind == "never" else MOMENT_FULL_AM2 * burial.level / LEVEL_FULL


def axis_from_survey(azimuth_deg: float, tilt_deg: float) -> Floats:
    """Unit axis (3,) of a surveyed coil: azimuth clockwise from +y, tilt from upright."""
    return axis_of(radians(tilt_deg), pi / 2 - radians(azimuth_deg))
