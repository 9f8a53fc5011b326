"""The clock of a simulated target: a crystal that runs off by some ppm and wanders slowly, in closed form.

ticks(t) = zero + s + (base·s + amplitude·(cos φ − cos(ωs + φ))/ω) / 10⁶ with s = t − t0, so that any moment can be
asked without going through those before it. The rate stays within ±150 ppm and its slope within what a cold crystal
does (design, section 4).
"""

from __future__ import annotations

import math
from random import Random

from fieldctl.units import US_PER_S

RATE_MAX_PPM = 145.0  # leaves the slow wander inside ±150
WANDER_MAX_PPM = 4.0
WANDER_PERIOD_S = (600.0, 3600.0)  # slope at most 4·2π/600 = 0.042 ppm a second


class Crystal:
    """Ticks of one life of one target, from true time and back."""

    __slots__ = ("_amp", "_base", "_omega", "_phase", "_t0", "_zero")

    def __init__(self, rng: Random, base_ppm: float, now_us: int) -> None:
        self._base = base_ppm / 1e6
        self._omega = 2 * math.pi / (rng.uniform(*WANDER_PERIOD_S) * US_PER_S)
        amplitude = min(WANDER_MAX_PPM, 150.0 - abs(base_ppm)) * rng.random()
        self._amp = amplitude / 1e6 / self._omega
        self._phase = rng.uniform(0, 2 * math.pi)
        self._t0 = now_us
        self._zero = rng.uniform(500, 200_000)  # the counter starts before the program does

    def exact(self, true_us: float) -> float:
        """The counter as a real number."""
        s = true_us - self._t0
        wander = self._amp * (math.cos(self._phase) - math.cos(self._omega * s + self._phase))
        return self._zero + s + self._base * s + wander

    def ticks(self, true_us: int) -> int:
        """What the counter reads."""
        return int(self.exact(true_us))

    def true_us(self, ticks: int) -> int:
        """The first whole microsecond of true time at which the counter reads at least `ticks`."""
        t = self._t0 + (ticks - self._zero)
        for _ in range(4):  # the rate is 1 to within 150 ppm: each step gains four digits
            t += ticks - self.exact(t)
        at = math.floor(t) - 1
        while self.ticks(at) < ticks:
            at += 1
        return at

    def jump(self, by_us: int) -> None:
        """A fault: the counter leaps."""
        self._zero += by_us
