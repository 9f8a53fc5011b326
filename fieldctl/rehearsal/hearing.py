"""What receivers hear in one second: the pulses that begin in it, and which of them can be told from the others.

A receiver learns of a burial only by its pulses. A pulse that another one covers, not much weaker where the searcher
stands, gives no reading, since nobody can tell whose it was; near a burial its own pulses win, which is why overlap
costs most between burials. Clocks of targets drift, so that an overlap of equal periods parts by itself in time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.dipole import Floats, dipole_field
from fieldctl.physics.keying_plan import CLOCK_DRIFT_PPM
from fieldctl.physics.receiver import read
from fieldctl.rehearsal.chance import For, Words, uniform
from fieldctl.rehearsal.scene import Scene

Bools = NDArray[np.bool_]

SECOND_S = 1.0  # step of a rehearsal: about one pulse of each transmitter
COVERED_SHARE = 0.3
"""A covered pulse is lost where the covering ones together reach this share of its strength: our own assumption."""


@dataclass(slots=True)
class Trains:
    """Pulse trains of N repetitions, (N, K) s: when a train's pulses fall, and its true period by its own clock."""

    phase_s: Floats
    period_s: Floats
    on_s: Floats

    def kept(self, rows: Bools) -> Trains:
        """Only some repetitions."""
        return Trains(self.phase_s[rows], self.period_s[rows], self.on_s[rows])


def trains_of(scene: Scene, target_keys: list[Words]) -> Trains:
    """Trains at independent phases, each on a clock of its own; target_keys: K keys of (N,)."""
    n = len(target_keys[0])
    phase = np.stack([uniform(key, For.PHASE) for key in target_keys], axis=1) * scene.period_s
    drift = np.stack([2.0 * uniform(key, For.DRIFT) - 1.0 for key in target_keys], axis=1) * CLOCK_DRIFT_PPM * 1e-6
    return Trains(phase, scene.period_s * (1.0 + drift), np.broadcast_to(scene.on_s, (n, len(target_keys))))


def sending(scene: Scene, starts_s: Floats, stops_s: Floats, at_s: float) -> Bools:
    """Which burials send at a moment, (N, K); one that drops out is away for a while, over and over."""
    on = (at_s >= starts_s) & (at_s < stops_s) & scene.sends
    cycle = scene.drop_on_s + scene.drop_off_s
    drops = cycle > 0.0
    if drops.any():
        since = np.where(on, at_s - np.where(np.isfinite(starts_s), starts_s, 0.0), 0.0)
        away = np.mod(since, np.where(drops, cycle, 1.0)) >= scene.drop_on_s
        on = on & ~(drops & away)
    return np.asarray(on)


def pulses_in_second(trains: Trains, on: Bools, from_s: float) -> tuple[Bools, Bools]:
    """Which burials begin a pulse within a second, (N, K), and by whose pulses that one is touched, (N, K, K).

    Of two pulses that begin in one second the first counts.
    """
    start = trains.phase_s + trains.period_s * np.ceil((from_s - trains.phase_s) / trains.period_s)
    begins = on & (start < from_s + SECOND_S)
    end = start + trains.on_s
    phase, period, length = (a[:, None, :] for a in (trains.phase_s, trains.period_s, trains.on_s))
    latest = phase + period * np.ceil(
        (end[:, :, None] - phase) / period - 1.0
    )  # of theirs, the last begun before the end
    touched = (latest + length > start[:, :, None]) & on[:, None, :]
    k = np.arange(start.shape[1])
    touched[:, k, k] = False
    return begins, touched


@dataclass(slots=True)
class Heard:
    """What A receivers make of K burials in a second, each (A, K): `line_rad`, `shown_m`, `strength`; `loud`, strong
    enough and with a pulse; `read`, loud and told apart."""

    line_rad: Floats
    shown_m: Floats
    strength: Floats
    loud: Bools
    read: Bools


def listen(
    scene: Scene, at: Floats, height_m: Floats, limit_A_per_m: Floats, begins: Bools, touched: Bools, each: int
) -> Heard:
    """What A searchers at (A, 2), their receivers at heights (A,) above the surface, hear of the pulses of their
    repetition; `each` searchers share one."""
    points = np.concatenate([at, height_m[:, None]], axis=1)
    offset = points[:, None, :] - scene.places
    moments = np.broadcast_to(scene.axes * scene.moments_Am2[:, None], offset.shape)
    shown = read(dipole_field(moments, offset), antennas=3, limit_A_per_m=limit_A_per_m[:, None])
    loud = shown.heard & np.repeat(begins, each, axis=0)
    covering = np.sum(np.repeat(touched, each, axis=0) * shown.strength_A_per_m[:, None, :], axis=2)
    told_apart = covering < COVERED_SHARE * shown.strength_A_per_m
    return Heard(shown.line_rad, shown.distance_m, shown.strength_A_per_m, loud, loud & told_apart)
