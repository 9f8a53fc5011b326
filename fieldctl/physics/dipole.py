"""The magnetic dipole: what a 457 kHz transmitter sends into the snow around it.

H = (1/4π) [3 r (m·r)/r⁵ − m/r³]: any textbook of electromagnetism. At 457 kHz λ/2π is 104.4 m, so that the
static field holds to 0.5 % at 10 m and to about 7 % at 40 m; `wave=True` gives the whole field (near, middle and
far terms, time as e^(jωt)), whose magnitude is what a receiver meets. Soil and rock distort the field at long range
(Ayuso et al., Cold Reg. Sci. Technol. 111:80-94, 2015); no formula here knows the ground.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from math import pi
from typing import Literal, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.keying import CARRIER_HZ

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LIGHT_M_PER_S = 299_792_458.0
WAVENUMBER_PER_M = 2 * pi * CARRIER_HZ / LIGHT_M_PER_S
"""2π/λ at 457 kHz in air: 1/(104.4 m). Snow shortens λ by a quarter at most, which matters beyond 50 m only."""

FIELD_LIMIT_LOW_A_PER_M = 0.5e-6
FIELD_LIMIT_HIGH_A_PER_M = 2.16e-6
FIELD_LIMIT_AT_M = 10.0
"""A transmitter's field at 10 m lies between the two: ETS 300 718 (1997) and EN 282, second-hand; whether on the
axis or broadside was not said."""

RECEIVER_LIMIT_A_PER_M = 80e-9
"""Field that a receiver must hear at 6 dB: EN 282:1991, second-hand."""

AXIAL = 2.0
BROADSIDE = 1.0
"""Field of a dipole in units of m/4πr³, along its axis and square to it."""

NEAREST_M = 1e-6  # the formula has no value at the dipole itself: held there, so that nobody meets inf or nan
_BLOCK = 32_768  # points worked on at once: near enough to stay in cache, and threads seldom meet (measured)
_ROWS = 15


@overload
def dipole_field(moment: ArrayLike, offset: ArrayLike, *, wave: Literal[False] = False) -> Floats: ...
@overload
def dipole_field(moment: ArrayLike, offset: ArrayLike, *, wave: Literal[True]) -> Complexes: ...
def dipole_field(moment: ArrayLike, offset: ArrayLike, *, wave: bool = False) -> Floats | Complexes:
    """Field at `offset` from a dipole.

    moment: A·m², (3,) or (N, 3). offset: metres from the dipole to the point, (N, 3) or (3,).
    Returns A/m, (N, 3), or (3,) when both were: float and static, or with `wave` complex amplitudes at 457 kHz.
    Nearer than 1 µm the field is that at 1 µm. Source: textbook; checked against magpylib.
    """
    m, d = np.broadcast_arrays(np.asarray(moment, dtype=np.float64), np.asarray(offset, dtype=np.float64))
    if m.shape[-1:] != (3,):
        raise ValueError(f"moment and offset need three components in their last axis, not shape {m.shape}")
    r = np.maximum(np.sqrt(np.sum(d * d, axis=-1, keepdims=True)), NEAREST_M)
    along = d * (np.sum(m * d, axis=-1, keepdims=True) / (r * r))  # n (m·n)
    scale = 1.0 / (4 * pi * r * r * r)
    near: Floats = (3.0 * along - m) * scale
    if not wave:
        return near
    kr = WAVENUMBER_PER_M * r
    whole: Complexes = (near * (1 + 1j * kr) + (m - along) * (kr * kr * scale)) * np.exp(-1j * kr)
    return whole


def magnitude(field: Floats | Complexes) -> Floats:
    """Length of each field vector, (…, 3) -> (…); for complex amplitudes the root of the summed squares."""
    squares: Floats = np.sum(np.real(field) ** 2 + np.imag(field) ** 2, axis=-1)
    return np.sqrt(squares)


def _sum_block(moments: Floats, places: Floats, points: Floats, out: Floats, rows: Floats) -> None:
    """Sum of static fields of moments that are over 4π already, for one block, in place in scratch rows; moments and
    places come as columns, (K, 3, 1)."""
    n = len(points)
    p, d, t, h = (rows[i : i + 3, :n] for i in (0, 3, 6, 9))
    r2, along, scale = rows[12, :n], rows[13, :n], rows[14, :n]
    p[...] = points.T
    h.fill(0.0)
    for moment, three_moments, place in zip(moments, 3.0 * moments, places, strict=True):
        np.subtract(p, place, out=d)
        np.multiply(d, d, out=t)
        np.add(t[0], t[1], out=r2)
        r2 += t[2]
        np.maximum(r2, NEAREST_M * NEAREST_M, out=r2)
        np.multiply(d, three_moments, out=t)
        np.add(t[0], t[1], out=along)
        along += t[2]
        np.sqrt(r2, out=scale)
        scale *= r2
        np.divide(1.0, scale, out=scale)  # 1/r³: one division for six products
        along /= r2
        along *= scale  # 3 (m·r)/r⁵
        d *= along
        h += d
        np.multiply(moment, scale, out=d)
        h -= d
    out[...] = h.T


def field_sum(moments: ArrayLike, places: ArrayLike, points: ArrayLike, *, threads: int = 1) -> Floats:
    """Static field of K dipoles together at N points.

    moments: A·m² (K, 3); places: metres (K, 3); points: metres (N, 3). Returns A/m (N, 3). Worked in blocks that fit
    a core's cache; the blocks are shared out over `threads`, and the answer is the same bit for bit for any number.
    """
    m = np.asarray(moments, dtype=np.float64).reshape(-1, 3, 1) / (4 * pi)
    q = np.asarray(places, dtype=np.float64).reshape(-1, 3, 1)
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if len(m) != len(q):
        raise ValueError(f"{len(m)} moments need as many places, not {len(q)}")
    out = np.empty_like(p)
    starts = range(0, len(p), _BLOCK)

    def share(which: Sequence[int]) -> None:
        rows = np.empty((_ROWS, min(_BLOCK, max(1, len(p)))))
        for a in which:
            _sum_block(m, q, p[a : a + _BLOCK], out[a : a + _BLOCK], rows)

    if threads <= 1 or len(starts) < 2:
        share(starts)
    else:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(share, [starts[i::threads] for i in range(threads)]))
    return out


def field_strengths(moments: ArrayLike, places: ArrayLike, points: ArrayLike) -> Floats:
    """How strong each of K dipoles alone is at N points: (K, 3), (K, 3), (N, 3) -> A/m (K, N), static.

    |H| = (m/4πr³) √(1 + 3 cos²θ). Tells where each burial dominates, and where a field limit runs.
    """
    m = np.asarray(moments, dtype=np.float64).reshape(-1, 3)
    q = np.asarray(places, dtype=np.float64).reshape(-1, 3)
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    out = np.empty((len(m), len(p)))
    for row, moment, place in zip(out, m, q, strict=True):
        d = p - place
        r2 = np.maximum(np.einsum("ni,ni->n", d, d), NEAREST_M * NEAREST_M)
        along = d @ moment
        np.sqrt((3.0 * along * along / r2 + moment @ moment) / (r2 * r2 * r2), out=row)
    out /= 4 * pi
    return out


def shape_factor(angle_rad: ArrayLike) -> Floats:
    """√(1 + 3 cos²θ): strength by the angle from the axis in units of m/4πr³, from 2 on the axis to 1 broadside."""
    return np.asarray(np.sqrt(1.0 + 3.0 * np.cos(np.asarray(angle_rad, dtype=np.float64)) ** 2))


def range_by_field(moment_Am2: ArrayLike, limit_A_per_m: ArrayLike, factor: ArrayLike = AXIAL) -> Floats:
    """Distance (m) at which the static field has fallen to a limit: r = (factor · m / 4πH)^(1/3).

    factor: AXIAL, BROADSIDE, or `shape_factor(angle)`. Broadcasts.
    """
    m, h, f = (np.asarray(a, dtype=np.float64) for a in (moment_Am2, limit_A_per_m, factor))
    return np.asarray(np.cbrt(f * m / (4 * pi * h)))


def moment_for_field(field_A_per_m: ArrayLike, distance_m: ArrayLike, factor: ArrayLike = BROADSIDE) -> Floats:
    """Moment (A·m²) that gives a static field at a distance: m = 4π r³ H / factor. Broadcasts."""
    h, r, f = (np.asarray(a, dtype=np.float64) for a in (field_A_per_m, distance_m, factor))
    return np.asarray(4 * pi * r**3 * h / f)


MOMENT_LOWEST_AM2 = float(moment_for_field(FIELD_LIMIT_LOW_A_PER_M, FIELD_LIMIT_AT_M, AXIAL))
MOMENT_HIGHEST_AM2 = float(moment_for_field(FIELD_LIMIT_HIGH_A_PER_M, FIELD_LIMIT_AT_M, BROADSIDE))
"""Widest reading of the field limits (the lower one on the axis, the upper one broadside): 3.14e-3 to 27.1e-3 A·m²."""
