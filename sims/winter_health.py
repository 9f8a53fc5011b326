"""What pads, links and housings of an invented winter would report, with the truth of which of them ail beside it.

Everything is invented and drawn from a seed: how often there are exercises and openings by touch, how differently
people strike, how much snow lies on all pads, storms that shake every one, people who shovel on a plate, days on which
a line is bad. Among the targets of each winter one pad goes deaf until it feels nothing, and in some winters
another is loose, one measures nothing any more, a link is bad, a housing is open, a target begins anew again and again.

    Health.of(winter) -> Health      arrays [target, day, hour], lists of strikes, exercises, openings and boots
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldctl.strikes import take_for_ints
from fieldctl.strikes.features import BEGIN_NOISE, StrikeFeatures
from sims.winter import DAYS, HOURS, TARGETS, Array, Winter

OPENS_AT_H = 9
DEAF_AT = float(BEGIN_NOISE)  # times the noise: half of all blows no longer begin a strike, and it has failed
LINES = 2


class Blow(NamedTuple):
    """One strike: target, day with its fraction, features, what it is taken for, and in which exercise."""

    target: int
    day: float
    features: tuple[int, ...]
    taken_for: str
    rule: str
    exercise: str | None


class Played(NamedTuple):
    """One exercise: its name, day, burial -> target, and the burials that were called (None: nobody taps calls)."""

    name: str
    day: float
    picks: dict[str, int]
    called: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Ail:
    """What is wrong with a target: which ailment, from which day on, and the day from which on it has failed."""

    target: int
    kind: str  # deaf, loose, dead, lossy, open, reboots
    begins: int
    fails: int


@dataclass(frozen=True, slots=True)
class Health:
    """What was reported [target, day, hour], and the truth."""

    noise: Array
    celsius: Array
    asked: Array
    answered: Array
    resent: Array
    orders_lost: Array
    plus_minus_us: Array
    blows: tuple[Blow, ...]  # in order of time
    exercises: tuple[Played, ...]
    openings: tuple[tuple[float, tuple[int, ...]], ...]  # a day, and the plates that were proved by touch
    starts: tuple[tuple[int, float, int, str], ...]  # target, day, boot, why
    ails: tuple[Ail, ...]
    bad_lines: tuple[tuple[int, int, int], ...]  # a line (targets lie on them in turn), a first day, how many days

    @classmethod
    def of(cls, winter: Winter) -> Health:
        """The rest of a winter."""
        return _Drawing(winter).health()

    def ail(self, kind: str) -> Ail | None:
        """The target that has it, None where none has."""
        return next((each for each in self.ails if each.kind == kind), None)


class _Drawing:
    def __init__(self, winter: Winter) -> None:
        self.winter = winter
        self.r = np.random.default_rng([20_252, winter.seed])
        self.blows: list[Blow] = []
        self.bad_lines: list[tuple[int, int, int]] = []

    def health(self) -> Health:
        r = self.r
        storm = r.random(DAYS) < r.uniform(0.02, 0.08)
        height = r.uniform(np.log(30), np.log(80), TARGETS)  # log of a usual blow over the noise, as in sims.pad
        people = r.uniform(0.3, 0.55)  # log, from blow to blow
        ails = self._ails()
        by_kind = {ail.kind: ail for ail in ails}
        keeps = self._snow()[None, :] * self._own()
        noise_keeps = np.ones((TARGETS, DAYS))
        deaf = by_kind["deaf"]
        fades = (height[deaf.target] - np.log(DEAF_AT)) / (deaf.fails - deaf.begins)
        worse = np.exp(-fades * np.clip(np.arange(DAYS) - deaf.begins, 0, None))
        keeps[deaf.target] *= worse
        if r.random() < 0.5:  # frozen in, its noise goes as well, and what it feels is told in another measure
            noise_keeps[deaf.target] = np.sqrt(worse)
        noise, louder = self._noise(storm, noise_keeps, by_kind.get("dead"))
        over_noise = height[:, None] + np.log(keeps / louder)
        if "dead" in by_kind:
            over_noise[by_kind["dead"].target, by_kind["dead"].begins :] = -9.0
        exercises = self._exercises(over_noise, people)
        openings = self._openings(over_noise, people)
        self._shaken(storm, by_kind.get("loose"))
        share = self._lost(by_kind.get("lossy"))
        asked = r.choice([900.0, 3_600.0]) * r.uniform(0.97, 1.0, (TARGETS, DAYS, HOURS))
        lost = r.binomial(asked.astype(int), np.broadcast_to(share[:, :, None], asked.shape)).astype(float)
        orders = r.poisson(6.0, asked.shape)
        again = r.binomial(orders, np.clip(share * 1.5, 0, 0.9)[:, :, None]).astype(float)
        width = r.uniform(300, 1_500) * np.exp(r.normal(0, 0.25, asked.shape)) * (1 + 6 * share[:, :, None])
        return Health(
            noise=noise,
            celsius=self._celsius(by_kind.get("open")),
            asked=_counted(asked),
            answered=_counted(asked - lost),
            resent=_counted(again),
            orders_lost=_counted(r.binomial(orders, np.clip(share**2, 0, 0.9)[:, :, None]).astype(float)),
            plus_minus_us=np.round(width),
            blows=tuple(sorted(self.blows, key=lambda blow: blow.day)),
            exercises=exercises,
            openings=openings,
            starts=self._starts(by_kind.get("reboots")),
            ails=ails,
            bad_lines=tuple(self.bad_lines),
        )

    def _ails(self) -> tuple[Ail, ...]:
        r = self.r
        order = [int(n) for n in r.permutation(TARGETS)]
        begins = int(r.integers(25, 85))
        found = [Ail(order[0], "deaf", begins, min(DAYS + 30, begins + int(r.integers(14, 60))))]
        for n, (kind, often) in enumerate((("loose", 0.5), ("dead", 0.3), ("lossy", 0.5), ("open", 0.4),
                                           ("reboots", 0.3)), 1):  # fmt: skip
            day = int(r.integers(25, 120))
            if r.random() < often:
                found.append(Ail(order[n], kind, day, day))
        return tuple(found)

    def _snow(self) -> Array:
        """By how much snow damps every pad, day by day: it falls at once and settles slowly."""
        r = self.r
        damped = np.zeros(DAYS)
        for day in range(1, DAYS):
            fell = r.uniform(0.1, 0.5) if r.random() < 0.06 else 0.0
            damped[day] = damped[day - 1] * 0.96 + fell
        kept: Array = np.exp(-damped)
        return kept

    def _own(self) -> Array:
        """Each pad's own slow changes: ice above it, a harder or softer bed."""
        r = self.r
        out = np.zeros((TARGETS, DAYS))
        for day in range(1, DAYS):
            out[:, day] = 0.98 * out[:, day - 1] + r.normal(0, 0.02, TARGETS)
        kept: Array = np.exp(out)
        return kept

    def _noise(self, storm: NDArray[np.bool_], keeps: Array, dead: Ail | None) -> tuple[Array, Array]:
        """As targets report it, in whole steps of the converter; and how much louder each day was than usual."""
        r = self.r
        base = np.exp(r.uniform(np.log(2), np.log(40), TARGETS))[:, None, None]
        wind = np.exp(np.abs(r.normal(0, 0.15, DAYS)) + storm * r.uniform(0.3, 1.0, DAYS))
        louder = wind[None, :] * keeps * self._own()
        level = base * louder[:, :, None] * np.exp(r.normal(0, 0.12, (TARGETS, DAYS, HOURS)))
        if dead is not None:
            level[dead.target, dead.begins :] = 0.3
        return np.maximum(1.0, np.round(level)), louder

    def _strike(self, target: int, day: float, peak: float, exercise: str | None, repeats: int = 0) -> None:
        """A blow as sharp as a probe's, if it is high enough to be noticed at all."""
        r = self.r
        rise = int(r.integers(500, 3_000))
        self._note(target, day, peak, rise, rise + int(r.integers(3_000, 25_000)), exercise, repeats)

    def _note(
        self, target: int, day: float, peak: float, rise: int, width: int, exercise: str | None, repeats: int = 0
    ) -> None:
        tenths = int(min(65_535, peak * 10))
        if tenths < BEGIN_NOISE * 10:
            return
        slow = 70 if width > 100_000 else 10
        gap = int(self.r.integers(80, 1_500)) if repeats else 0
        features = StrikeFeatures(tenths, rise, width, 200, slow, repeats, gap).as_ints()
        taken = take_for_ints(features, [])
        self.blows.append(Blow(target, day, features, str(taken.kind), taken.rule, exercise))

    def _exercises(self, over_noise: Array, people: float) -> tuple[Played, ...]:
        r = self.r
        many = r.uniform(3, 10)
        tapped = r.random() < 0.7
        hits, calls = r.uniform(0.85, 0.98), r.uniform(0.85, 0.98)
        found = []
        for day in range(DAYS):
            for n in range(int(r.poisson(many))):
                name = f"x{day}-{n}"
                at = day + (OPENS_AT_H + r.uniform(0.5, 7.5)) / 24
                targets = r.choice(TARGETS, int(r.integers(1, 4)), replace=False)
                picks = {"ABC"[i]: int(target) for i, target in enumerate(targets)}
                called = []
                for burial, target in picks.items():
                    if r.random() < calls:
                        called.append(burial)
                    self._searched(target, at, over_noise[target, day], people, name, hits)
                found.append(Played(name, at, picks, tuple(called) if tapped else None))
        return tuple(found)

    def _searched(self, target: int, at: float, height: float, people: float, name: str, hits: float) -> None:
        """What one pad feels while people search for it: a few blows, steps, now and then a shovel."""
        r = self.r
        if r.random() < hits:
            for n in range(int(r.integers(1, 4))):
                self._strike(target, at + n * 4 / 86_400, np.exp(height + r.normal(0, people)), name)
        for n in range(int(r.poisson(3))):
            rise = int(r.integers(15_000, 50_000))
            peak = np.exp(height - 1.2 + r.normal(0, 0.4))
            self._note(target, at + n * 0.6 / 86_400, peak, rise, rise + int(r.integers(125_000, 230_000)), name, 2)
        if r.random() < 0.03:
            for shovel in range(int(r.integers(10, 50))):
                peak = np.exp(height - 0.8 + r.normal(0, 0.6))
                self._note(target, at + shovel * 1.5 / 86_400, peak, 8_000, int(r.integers(30_000, 90_000)), name, 1)

    def _openings(self, over_noise: Array, people: float) -> tuple[tuple[float, tuple[int, ...]], ...]:
        r = self.r
        share = r.uniform(0.3, 1.0)  # of plates that are proved each morning: an opening asks for all of them
        found = []
        for day in range(DAYS):
            touched = []
            for target in np.flatnonzero(r.random(TARGETS) < share):
                before = len(self.blows)
                at = day + OPENS_AT_H / 24
                self._strike(int(target), at, np.exp(over_noise[target, day] + r.normal(0, people)), None)
                if len(self.blows) > before:
                    touched.append(int(target))
            found.append((day + (OPENS_AT_H + 0.2) / 24, tuple(touched)))
        return tuple(found)

    def _shaken(self, storm: NDArray[np.bool_], loose: Ail | None) -> None:
        """Strikes that are nobody's: a few everywhere in a storm, many on a loose pad."""
        r = self.r
        for day in np.flatnonzero(storm).tolist():
            for target in range(TARGETS):
                for _ in range(int(r.poisson(r.uniform(0, 12)))):
                    at = float(day) + (OPENS_AT_H + r.uniform(0, 8)) / 24
                    self._note(target, at, 9 + r.exponential(3), 6_000, int(r.integers(20_000, 90_000)), None)
        if loose is None:
            return
        a_day, quiet_days = r.uniform(40, 250), r.uniform(0.0, 0.4)
        for day in range(loose.begins, DAYS):
            if r.random() < quiet_days:
                continue
            for _ in range(int(r.poisson(a_day))):
                at = day + (OPENS_AT_H + r.uniform(0, 8)) / 24
                self._strike(loose.target, at, 8 + r.exponential(6), None, int(r.integers(0, 25)))

    def _lost(self, lossy: Ail | None) -> Array:
        """The share of questions that stay without an answer, by target and day."""
        r = self.r
        usual = np.exp(r.uniform(np.log(0.0005), np.log(0.02), TARGETS))[:, None]
        share = np.asarray(usual * np.exp(r.normal(0, 0.4, (TARGETS, DAYS))))
        for _ in range(int(r.integers(0, 4))):  # a line is bad for a few days
            day, long, line = int(r.integers(DAYS)), int(r.integers(1, 5)), int(r.integers(LINES))
            share[line::LINES, day : day + long] += r.uniform(0.02, 0.15)
            self.bad_lines.append((line, day, long))
        share += np.where(r.random(share.shape) < 0.008, r.uniform(0.03, 0.3, share.shape), 0.0)
        if lossy is not None:
            grows = np.clip((np.arange(DAYS) - lossy.begins) / r.uniform(1, 10), 0, 1) * r.uniform(0.1, 0.5)
            share[lossy.target] += grows * (r.random(DAYS) < r.uniform(0.7, 1.0))
        clipped: Array = np.clip(share, 0, 0.95)
        return clipped

    def _celsius(self, opened: Ail | None) -> Array:
        r = self.r
        celsius = self.winter.celsius.copy()
        if opened is not None:
            swing = r.uniform(4, 9) * np.sin(np.linspace(-1.2, 1.2, HOURS))
            celsius[opened.target, opened.begins :] += swing
        return celsius

    def _starts(self, reboots: Ail | None) -> tuple[tuple[int, float, int, str], ...]:
        r = self.r
        rows: list[tuple[int, float, str]] = [(target, 0.2, "power") for target in range(TARGETS)]
        rows += [(target, day + 0.5, "power") for target, day in self.winter.ticks]
        rows += [
            (int(t), float(d) + 0.6, str(r.choice(["watchdog", "power", "fault"])))
            for t, d in np.argwhere(r.random((TARGETS, DAYS)) < 0.004)
        ]
        if reboots is not None:
            a_day = r.uniform(0.6, 3)
            for day in range(reboots.begins, DAYS):
                rows += [(reboots.target, day + r.uniform(0.4, 0.7), "brown-out") for _ in range(r.poisson(a_day))]
        boots = dict.fromkeys(range(TARGETS), 0)
        found = []
        for target, at, why in sorted(rows, key=lambda row: row[1]):
            boots[target] += 1
            found.append((target, at, boots[target], why))
        return tuple(found)


def _counted(step: Array) -> Array:
    """A counter that goes on over the hours of all days."""
    counted: Array = np.cumsum(np.round(step).reshape(step.shape[0], -1), axis=1).reshape(step.shape)
    return counted
