"""Invented winters: batteries of a whole field over a season, with the truth beside what the targets would report.

Everything is invented and drawn from a seed: weather with cold spells, snow that keeps it off, cells whose curves have
another shape than the product's table and whose make, capacity, resistance and counter are all a little off, days
without exercises, gaps in reporting, wild readings, changes of battery (some ticked wrongly), one bad cell.

    Winter.of(seed) -> Winter      arrays [target, day, hour]; `packs` with the truth of each battery
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DAYS, TARGETS, HOURS = 150, 24, 8  # hours that the field is open
FIRST_DAY = 20_422  # 2025-11-30, as days since 1970-01-01
LOAD_A = 0.12


@dataclass(frozen=True, slots=True)
class Make:
    """An invented cell: volts at rest a + b s - c exp(-s / near) + d exp((s - 1) / top), and the rest of it."""

    chemistry: str
    cells: int
    end_v: float
    a: float
    b: float
    c: float
    near: float
    d: float
    top: float
    spread_v: float
    ohm_ah: float
    cold_ohm: float  # factor at -20 °C over 20 °C
    cold_at_0: float  # share kept back at 0 °C
    cold_at_20: float  # and at -20 °C
    fade: float


MAKES = (
    Make("alkaline", 3, 0.9, 1.17, 0.32, 0.27, 0.05, 0.08, 0.05, 0.012, 0.40, 4.0, 0.45, 0.85, 0.08),
    Make("lithium-fr6", 2, 1.1, 1.64, 0.11, 0.50, 0.04, 0.05, 0.05, 0.012, 0.45, 3.0, 0.05, 0.15, 0.06),
    Make("lithium-thionyl", 1, 2.6, 3.62, 0.04, 1.10, 0.04, 0.01, 0.05, 0.010, 6.0, 3.2, 0.06, 0.18, 0.08),
    Make("li-ion", 1, 3.0, 3.46, 0.62, 0.50, 0.05, 0.08, 0.05, 0.015, 0.18, 4.0, 0.10, 0.32, 0.05),
    Make("lifepo4", 2, 2.6, 3.235, 0.085, 0.70, 0.04, 0.08, 0.02, 0.008, 0.13, 4.5, 0.13, 0.42, 0.05),
    Make("lead-acid", 6, 1.75, 1.99, 0.12, 0.03, 0.05, 0.0, 0.05, 0.010, 0.035, 2.1, 0.24, 0.62, 0.08),
)
"""Invented; two batteries of the same make are never quite alike."""


@dataclass(frozen=True, slots=True)
class Pack:
    """One battery in one target: its first and last day (truth; last None where it held), how it began, and its lot."""

    target: int
    first: int
    last: int | None  # the day before the first on which the target would have refused
    gone: int  # the day on which it was changed, or DAYS
    start: float
    bad: bool
    ticked: bool  # a person told the program of the change
    healthy: int  # the last day that it would have had without being bad


@dataclass(frozen=True, slots=True)
class Winter:
    """What was reported [target, day, hour] (NaN where nothing was), and the truth."""

    seed: int
    make: tuple[Make, ...]
    capacity_ah: Array
    rest_v: Array
    load_v: Array
    celsius: Array
    counted_mas: Array
    share: Array  # true share left of its own full charge at each day's end
    packs: tuple[Pack, ...]
    ticks: tuple[tuple[int, int], ...]  # (target, day) as people ticked them
    bad: int  # the target with the bad cell

    @classmethod
    def of(cls, seed: int) -> Winter:
        """The winter of a seed."""
        return _Drawing(seed).winter()


class _Drawing:
    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.chance = np.random.default_rng([20_251, seed])

    def winter(self) -> Winter:
        r = self.chance
        makes = tuple(MAKES[n % len(MAKES)] for n in range(TARGETS))
        celsius = self._celsius()
        use = self._use()
        wanted = r.uniform(45, 260, TARGETS)  # days that a fresh one would last
        shape = (TARGETS, DAYS, HOURS)
        rest, load, counted = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        share = np.zeros((TARGETS, DAYS))
        packs: list[Pack] = []
        ticks: list[tuple[int, int]] = []
        bad = int(r.integers(TARGETS))
        wanted[bad] = r.uniform(130, 260)  # it would have held most of the winter
        capacity = use.mean(axis=1) * wanted
        for t in range(TARGETS):
            at, start, count = 0, float(r.choice([1.0, r.uniform(0.55, 0.95)])), 0.0
            start = 1.0 if t == bad else start
            known = False
            planned = int(r.integers(40, 110)) if t != bad and r.random() < 0.3 else DAYS  # changed before it was empty
            while at < DAYS:
                is_bad = t == bad and not any(p.bad for p in packs)
                v0, v1, c1, s1, fails, healthy = self._life(
                    makes[t], capacity[t], use[t, at:], celsius[t, at:], start, is_bad
                )
                gone = min(DAYS, at + fails + 1 + int(r.integers(1, 4)), planned if planned > at else DAYS)
                span = slice(at, gone)
                size = gone - at
                rest[t, span], load[t, span] = v0[:size], v1[:size]
                share[t, span] = s1[:size]
                counted[t, span] = count + c1[:size]
                last = at + fails - 1 if at + fails < gone else None
                packs.append(Pack(t, at, last, gone, start, is_bad, known, at + healthy - 1))
                if gone < DAYS:
                    known = bool(r.random() < 0.9)
                    if known:
                        ticks.append((t, gone))
                    count = 0.0 if r.random() < 0.5 else float(counted[t, gone - 1, -1])
                    start = 1.0
                at = gone
        reported = self._reported(rest, load, celsius, counted, makes)
        return Winter(self.seed, makes, capacity, *reported, share, tuple(packs), tuple(ticks), bad)

    def _celsius(self) -> Array:
        """Air with cold spells; each target under snow that damps and delays it."""
        r = self.chance
        day = np.arange(DAYS)
        air = -5.0 - 5.0 * np.sin(np.pi * day / DAYS) + _ar(r, DAYS, 0.75, 3.0)
        for _ in range(int(r.integers(2, 5))):
            begin, long = int(r.integers(10, DAYS - 10)), int(r.integers(3, 9))
            air[begin : begin + long] -= r.uniform(6, 12)
        out = np.zeros((TARGETS, DAYS, HOURS))
        for t in range(TARGETS):
            damp = r.uniform(0.25, 0.8)
            snow = np.zeros(DAYS)
            held = air[0]
            for d in range(DAYS):
                held += damp * (air[d] - held)
                snow[d] = held
            within = 1.5 * damp * np.sin(np.linspace(-1.2, 1.2, HOURS))
            out[t] = (snow * (0.5 + 0.5 * damp))[:, None] + within + r.normal(0, 0.3, (DAYS, HOURS))
        return out

    def _use(self) -> Array:
        """True ampere-hours of each target and day: listening, and what it sent in; a busy week and an idle one."""
        r = self.chance
        listens = 3.0 * 24 / 1000 * r.uniform(0.6, 1.3, TARGETS)
        week = np.array([0.5, 0.5, 0.7, 0.8, 1.2, 2.0, 1.8])[(np.arange(DAYS) + int(r.integers(7))) % 7]
        busy = np.exp(_ar(r, DAYS, 0.9, 0.15)) * week * r.uniform(3, 9)
        sends = r.poisson(np.clip(busy * r.uniform(0.05, 0.4, TARGETS)[:, None], 0, 40))
        each: Array = sends * 0.0016 * r.uniform(0.6, 1.6, (TARGETS, DAYS))
        return listens[:, None] * r.normal(1, 0.03, (TARGETS, DAYS)) + each

    def _life(
        self, make: Make, capacity: float, use: Array, celsius: Array, start: float, bad: bool
    ) -> tuple[Array, Array, Array, Array, int, int]:
        """Volts at rest and under load, the count, the share left; the first day of failing, as is and healthy."""
        r = self.chance
        true = capacity * float(np.clip(r.normal(1.0, make.fade), 0.75, 1.25)) * (0.999 if start == 1.0 else 1.0)
        day = np.arange(use.shape[0])
        leak = np.zeros(use.shape[0])
        worse = np.ones(use.shape[0])
        if bad:
            begins = int(r.integers(10, 30))
            grown = np.clip(day - begins, 0, None)
            leak = np.cumsum(np.where(grown > 0, r.uniform(0.008, 0.02), 0.0)) * true
            worse = np.exp(r.uniform(0.03, 0.06) * grown)
        offset = r.normal(0, make.spread_v)
        steep = r.normal(1, 0.06)
        keeps = np.interp(celsius, [-20.0, 0.0, 20.0], [make.cold_at_20, make.cold_at_0, 0.0]) * r.uniform(0.75, 1.25)
        fresh_ohm = make.ohm_ah / capacity * r.uniform(0.7, 1.4) * make.cold_ohm ** ((20.0 - celsius) / 40.0)
        grows = r.uniform(0.8, 2.2)

        def lived(leak: Array, worse: Array) -> tuple[Array, Array, Array, int]:
            taken = np.cumsum(use) + leak
            within = (use + np.diff(leak, prepend=0.0))[:, None] * np.linspace(0.5, 0.0, HOURS)
            s = start - (taken[:, None] - within) / true
            ohm = fresh_ohm * (1.0 + grows * np.clip(1.0 - s, 0, 1) ** 3) * worse[:, None]
            load = make.cells * (_rest(make, s - keeps, steep) + offset - LOAD_A * ohm)
            fails = np.any((load < make.cells * make.end_v) | (s < 0), axis=1)
            return s, make.cells * (_rest(make, s, steep) + offset), load, _first(fails)

        s, rest, load, first = lived(leak, worse)
        healthy = lived(np.zeros(use.shape[0]), np.ones(use.shape[0]))[-1]
        rest = rest - make.cells * r.uniform(0.0, 0.008, rest.shape)  # not quite rested
        counter = np.cumsum(use) * float(r.normal(1.0, 0.02))
        count = (counter[:, None] - use[:, None] * np.linspace(0.5, 0.0, HOURS)) * 3.6e6
        return np.maximum(rest, 0.0), np.maximum(load, 0.0), count, np.clip(s[:, -1], 0, 1), first, healthy

    def _reported(
        self, rest: Array, load: Array, celsius: Array, counted: Array, makes: tuple[Make, ...]
    ) -> tuple[Array, Array, Array, Array]:
        """As it was sent: noise, steps of the converter, gaps, and some wild values."""
        r = self.chance
        cells = np.array([make.cells for make in makes])[:, None, None]
        out = []
        for values in (rest, load):
            noisy = values + cells * r.normal(0, 0.004, values.shape)
            wild = r.random(values.shape) < 0.003
            out.append(np.round(np.where(wild, r.choice([0.0, 19.9], values.shape), noisy), 2))
        warm = np.where(r.random(celsius.shape) < 0.002, 60.0, celsius + r.normal(0, 0.4, celsius.shape))
        silent = r.random(rest.shape) < 0.05
        for t in range(TARGETS):
            for _ in range(int(r.integers(0, 3))):
                begin = int(r.integers(DAYS))
                silent[t, begin : begin + int(r.integers(2, 11))] = True
        return tuple(np.where(silent, np.nan, values) for values in (*out, warm, counted))  # type: ignore[return-value]


def _rest(make: Make, share: Array, steep: float) -> Array:
    s = np.clip(share, -0.2, 1.0)
    volts: Array = make.a + make.b * (1 + steep * (s - 1)) - make.c * np.exp(-s / make.near)
    return volts + make.d * np.exp((s - 1.0) / make.top)


def _first(fails: Any) -> int:
    return int(fails.argmax()) if fails.any() else fails.size


def _ar(chance: np.random.Generator, size: int, keeps: float, spread: float) -> Array:
    out = np.zeros(size)
    for at in range(1, size):
        out[at] = keeps * out[at - 1] + chance.normal(0, spread * np.sqrt(1 - keeps**2))
    return out
