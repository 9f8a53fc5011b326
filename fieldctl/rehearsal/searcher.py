"""Searchers that search as taught, second by second, all repetitions together.

    strips until a signal is taken note of      the strongest that is heard, not marked, and not a teammate's
    along the flux line                         by readings only at pulses that can be told apart; slower when near
    cross, spiral, hit                          `close_in`
    mark, and on to the next                    or believe, wrongly, that nobody is left
    probe line                                  `probe_line`, when the strips are through and somebody does not send

Searchers know neither how many are buried nor where. Teammates tell each other what they follow and what they found;
who has nothing left to follow lends a probe to who is probing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldctl.physics.trade import FINE_SEARCH_FROM
from fieldctl.rehearsal.chance import For, normal, uniform
from fieldctl.rehearsal.close_in import (
    IN_A_ROW,
    LOST_S,
    LOW_M,
    PAD_M,
    REACH_M,
    count_find,
    shown_rounded,
    start_cross,
    step_cross,
    step_probing,
)
from fieldctl.rehearsal.crew import NOBODY, Doing, How, begin, kept
from fieldctl.rehearsal.hearing import SECOND_S, Heard, listen, pulses_in_second, sending
from fieldctl.rehearsal.probe_line import Sweep, falls_on_pad, pace_m2_per_s, sweep_of
from fieldctl.rehearsal.scene import Scene
from fieldctl.rehearsal.skill import Skill
from fieldctl.rehearsal.strips import Path, paths_of, round_length_m, strip_width_for, strips_in
from fieldctl.rehearsal.tally import Tally
from fieldctl.site.sending import HELD_M, MOMENT_FULL_AM2

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SLOW_FROM_M = 10.0  # shown: from here people walk slower, down to this share of their speed
SLOWEST_SHARE = 0.4
STRONGER = 1.5  # a signal must be so much stronger than the one that is followed to draw people over
GROWS_M = 1.0  # along a flux line a distance that grew by this, or by 15 %, makes people turn round
CROSS_FROM_M = 8.0  # people who turned round already and are as near as this begin the cross: a deep burial
WEAK_CROSS_FROM_M = 15.0  # … or who did so twice, as near as this: a deep and weak one
RECENTLY_S = 5.0  # a signal read within this is remembered
AGAIN_S = 8.0  # from one attempt to leave a marked burial to the next
HELPERS_MOST = 2.0  # more probes get into each other's way
OFF_PATH_M = 0.5
TIDY_EVERY = 20  # seconds between taking out repetitions that are through


@dataclass(frozen=True, slots=True)
class Ways:
    """Where people walk, the same in all repetitions: each searcher's strips, the length of the first round of them,
    and the sweep of a probe line."""

    paths: tuple[Path, ...]
    round_m: float
    sweep: Sweep


def ways_of(scene: Scene, searchers: int, strip_m: float | None = None) -> Ways:
    """The ways of so many searchers; in strips of the width taught for a full signal, since nobody knows of a weak
    one, or of another width."""
    strips = strips_in(scene.outline, scene.entry, strip_m or strip_width_for(MOMENT_FULL_AM2))
    return Ways(paths_of(strips, searchers), round_length_m(strips, searchers), sweep_of(scene, searchers))


class Rehearsal:
    """A block of repetitions; `run` works them to the end and counts them."""

    def __init__(self, scene: Scene, ways: Ways, skill: Skill, seed: int, repetitions: Ints) -> None:
        self.scene, self.ways, self.skill = scene, ways, skill
        self.each = len(ways.paths)
        self.somebody_silent = bool((~scene.sends).any())
        self.crew, self.field = begin(scene, skill, self.each, seed, repetitions)

    def run(self, tick: Callable[[float], None] | None = None) -> Tally:
        """All to the end; `tick` is told from time to time which share of the work is done."""
        seconds = int(np.floor(self.scene.limit_s / SECOND_S))
        tally, whole = Tally.empty(len(self.scene.names), seconds), len(self.field.index)
        for moment in range(seconds):
            self._second(moment)
            if moment % TIDY_EVERY == TIDY_EVERY - 1:
                self._tidy(tally)
                if tick is not None:
                    left = len(self.field.index) / whole
                    tick(1.0 - left * (1.0 - (moment + 1) / seconds))
                if not len(self.field.index):
                    break
        tally.add(self.field)
        return tally

    def _tidy(self, tally: Tally) -> None:
        """Count and take out the repetitions in which nothing more can happen."""
        done = (self.crew.doing == Doing.DONE).reshape(-1, self.each).all(axis=1)
        over = np.isfinite(self.field.found_s).all(axis=1) | done
        if over.any():
            tally.add(kept(self.crew, self.field, over)[1])
            self.crew, self.field = kept(self.crew, self.field, ~over)

    def _second(self, moment: int) -> None:
        crew, field, scene, skill = self.crew, self.field, self.scene, self.skill
        now = moment * SECOND_S
        ready = (crew.doing == Doing.GETTING_READY) & (crew.busy_until_s <= now)
        crew.doing[ready] = Doing.SIGNAL
        on = sending(scene, field.starts_s, field.stops_s, now)
        begins, touched = pulses_in_second(field.trains, on, now)
        height = np.where(crew.doing == Doing.CROSS, LOW_M, HELD_M)
        heard = listen(scene, crew.at, height, crew.limit_A_per_m, begins, touched, self.each)
        searching = (crew.doing >= Doing.SIGNAL) & (crew.doing <= Doing.CROSS) | (crew.doing == Doing.LINE)
        crew.read_at_s[heard.read & searching[:, None]] = now
        self._count(heard, searching)
        read = heard.read[np.arange(len(crew.follow)), np.maximum(crew.follow, 0)]
        crew.silent_s = np.where(read, 0.0, crew.silent_s + SECOND_S)
        still = uniform(crew.key, For.HESITATE, moment) < skill.hesitates
        best, there = self._strongest(heard)
        self._decide_after_mark(heard, now, moment)
        self._walk(still)
        self._take_note(best, there, moment)
        self._follow(heard, best, there, still, moment)
        step_cross(crew, heard, skill, still, moment)
        step_probing(crew, field, scene, skill, self._helpers(heard), moment, self.each)
        self._give_up_lost()
        if self.somebody_silent:
            self._probe_line(moment)

    # ---- what is heard -------------------------------------------------------------------------------------------

    def _row(self) -> Ints:
        return np.arange(len(self.crew.doing)) // self.each

    def _count(self, heard: Heard, searching: Bools) -> None:
        """How many pulses of unmarked burials were loud enough, and how many of those overlap spoiled."""
        open_ = searching[:, None] & ~np.repeat(self.field.marked, self.each, axis=0)
        shape = (-1, self.each, len(self.scene.names))
        self.field.loud += (open_ & heard.loud).reshape(shape).sum(axis=1)
        self.field.spoiled += (open_ & heard.loud & ~heard.read).reshape(shape).sum(axis=1)

    def _free(self) -> Bools:
        """Burials (A, K) that a searcher may follow: not marked, nobody else's."""
        who = np.arange(len(self.crew.doing)) % self.each
        claimed = np.repeat(self.field.claimed, self.each, axis=0)
        return np.asarray(
            ~np.repeat(self.field.marked, self.each, axis=0) & ((claimed == NOBODY) | (claimed == who[:, None]))
        )

    def _strongest(self, heard: Heard) -> tuple[Ints, Bools]:
        """The strongest burial that is read and free, (A,), and whether there is one."""
        strength = np.where(heard.read & self._free(), heard.strength, 0.0)
        best = strength.argmax(axis=1)
        return best, strength[np.arange(len(best)), best] > 0.0

    def _claim(self, wants: Bools, burial: Ints) -> Bools:
        """Searchers who want to follow a burial; of teammates the first gets it. Who got it, (A,)."""
        got = np.zeros(len(wants), dtype=bool)
        claimed = self.field.claimed
        for who in range(self.each):
            mine = np.flatnonzero(wants[who :: self.each])
            a = mine * self.each + who
            held = claimed[mine, burial[a]]
            mine, a = mine[(held == NOBODY) | (held == who)], a[(held == NOBODY) | (held == who)]
            theirs = claimed[mine]
            theirs[theirs == who] = NOBODY
            claimed[mine] = theirs
            claimed[mine, burial[a]] = who
            got[a] = True
        return got

    def _helpers(self, heard: Heard) -> Floats:
        """Probes lent to each who is probing: by those who think that they are done, or have walked their strips and
        hear nothing but what teammates follow."""
        crew = self.crew
        if self.each == 1:
            return np.zeros(len(crew.doing))
        theirs = (heard.loud & ~self._free()).any(axis=1)
        idle = (crew.doing == Doing.DONE) | (
            (crew.doing == Doing.SIGNAL) & (crew.walked_m >= self.ways.round_m) & theirs
        )
        probing = (crew.doing == Doing.PROBING).reshape(-1, self.each).sum(axis=1)
        spare = idle.reshape(-1, self.each).sum(axis=1) / np.maximum(1, probing)
        return np.repeat(np.minimum(HELPERS_MOST, spare), self.each)

    # ---- what is done --------------------------------------------------------------------------------------------

    def _walk(self, still: Bools) -> None:
        """Along one's strips, or back to where one left them."""
        crew = self.crew
        who = (crew.doing == Doing.SIGNAL) & ~still
        if not who.any():
            return
        step = self.skill.walk_m_per_s * crew.pace * SECOND_S
        place = self._on_path(crew.walked_m)
        way = place - crew.at
        left = np.hypot(*way.T)
        back = who & (left > OFF_PATH_M)
        crew.at[back] += (np.minimum(1.0, step / np.maximum(left, 1e-9))[:, None] * way)[back]
        on = who & ~back
        crew.walked_m[on] += step[on]
        ahead = self._on_path(crew.walked_m)
        crew.at[on] = ahead[on]
        moved = np.where(on[:, None], ahead - place, way)
        length = np.hypot(*moved.T)
        turned = who & (length > 1e-6)
        crew.heading[turned] = (moved / np.maximum(length, 1e-9)[:, None])[turned]
        if self.somebody_silent:
            through = (crew.doing == Doing.SIGNAL) & (crew.walked_m >= self.ways.round_m)
            crew.doing[through] = Doing.LINE

    def _on_path(self, walked_m: Floats) -> Floats:
        out = np.empty((len(walked_m), 2))
        for who, path in enumerate(self.ways.paths):
            out[who :: self.each] = path.place(walked_m[who :: self.each])
        return out

    def _take_note(self, best: Ints, there: Bools, moment: int) -> None:
        """From the strips, or the line, to a signal."""
        crew, field = self.crew, self.field
        walking = (crew.doing == Doing.SIGNAL) | (crew.doing == Doing.LINE)
        wants = walking & there & (uniform(crew.key, For.NOTICE, moment) < self.skill.notices_signal)
        got = self._claim(wants, best)
        row, k = self._row()[got], best[got]
        field.heard_s[row, k] = np.minimum(field.heard_s[row, k], moment * SECOND_S)
        self._start_following(got, best)

    def _start_following(self, who: Bools, burial: Ints) -> None:
        crew = self.crew
        crew.doing[who] = Doing.FOLLOWING
        crew.follow[who] = burial[who]
        crew.best_m[who] = np.inf
        crew.leg[who] = 0
        crew.grew[who] = 0
        crew.silent_s[who] = 0.0

    def _follow(self, heard: Heard, best: Ints, there: Bools, still: Bools, moment: int) -> None:
        """One second along the flux line: a line is shown, without which way along it leads to the burial."""
        crew, skill, field = self.crew, self.skill, self.field
        who = crew.doing == Doing.FOLLOWING
        if not who.any():
            return
        rows = np.arange(len(who))
        other = who & there & (best != crew.follow)
        other &= heard.strength[rows, best] > STRONGER * heard.strength[rows, np.maximum(crew.follow, 0)]
        drawn = self._claim(other, best)
        row, now = self._row(), moment * SECOND_S
        field.heard_s[row[drawn], best[drawn]] = np.minimum(field.heard_s[row[drawn], best[drawn]], now)
        self._start_following(drawn, best)
        k = np.maximum(crew.follow, 0)
        fresh = who & heard.read[rows, k]
        noise = np.exp(skill.level_error * normal(crew.key, For.LEVEL, moment))
        shown = shown_rounded(heard.shown_m[rows, k] * noise)
        line = heard.line_rad[rows, k]
        way = np.stack([np.cos(line), np.sin(line)], axis=1)
        way[np.sum(way * crew.heading, axis=1) < 0.0] *= -1.0
        farther = shown > crew.best_m + np.maximum(GROWS_M, np.where(fresh, 0.15 * shown, 0.0))
        crew.grew = np.where(fresh, np.where(farther, crew.grew + 1, 0), crew.grew)
        grown = fresh & (crew.grew >= IN_A_ROW)
        crew.grew[grown] = 0
        from_m = np.where(crew.leg > 1, WEAK_CROSS_FROM_M, np.where(crew.leg > 0, CROSS_FROM_M, 0.0))
        deep = grown & (crew.best_m < from_m)
        turn = grown & ~deep
        way[turn] *= -1.0
        crew.leg[turn] += 1
        crew.best_m = np.where(turn, shown, np.where(fresh, np.minimum(crew.best_m, shown), crew.best_m))
        angle = np.radians(skill.direction_error_deg) * normal(crew.key, For.DIRECTION, moment)
        c, s = np.cos(angle), np.sin(angle)
        way = np.stack([c * way[:, 0] - s * way[:, 1], s * way[:, 0] + c * way[:, 1]], axis=1)
        crew.heading[fresh] = way[fresh]
        near = fresh & ((shown <= FINE_SEARCH_FROM.value) | deep)
        near_k = k[near]
        field.near_s[row[near], near_k] = np.minimum(field.near_s[row[near], near_k], now)
        start_cross(crew, near)
        slow = np.clip(np.where(np.isfinite(crew.best_m), shown, SLOW_FROM_M) / SLOW_FROM_M, SLOWEST_SHARE, 1.0)
        sure = np.clip(1.0 - (crew.silent_s - 1.0) / 5.0, 0.0, 1.0)  # without a reading people slow down, then stand
        step = skill.follow_m_per_s * crew.pace * slow * sure * SECOND_S
        on = who & ~near & ~still
        crew.at[on] += (crew.heading * step[:, None])[on]

    def _give_up_lost(self) -> None:
        """Nothing read of the burial that is followed for long: back to the strips, and anybody may have it."""
        crew = self.crew
        lost = ((crew.doing == Doing.FOLLOWING) | (crew.doing == Doing.CROSS)) & (crew.silent_s > LOST_S)
        who = np.flatnonzero(lost)
        self.field.claimed[who // self.each, crew.follow[who]] = NOBODY
        crew.doing[lost] = Doing.SIGNAL
        crew.follow[lost] = NOBODY

    def _decide_after_mark(self, heard: Heard, now: float, moment: int) -> None:
        """A find is marked: follow the strongest remembered, try again, back to the strips, or think all are found."""
        crew, skill = self.crew, self.skill
        who = (crew.doing == Doing.MARKING) & (crew.busy_until_s <= now)
        if not who.any():
            return
        crew.read_at_s[who[:, None] & heard.read] = now
        free = self._free()
        known = free & (crew.read_at_s >= now - RECENTLY_S) & (heard.strength >= crew.limit_A_per_m[:, None])
        strength = np.where(known, heard.strength, 0.0)
        best = strength.argmax(axis=1)
        any_known = known.any(axis=1)
        leaves = uniform(crew.key, For.LEAVE, moment) < skill.leaves_marked
        got = self._claim(who & any_known & leaves, best)
        row = self._row()[got]
        self.field.heard_s[row, best[got]] = np.minimum(self.field.heard_s[row, best[got]], now)
        self._start_following(got, best)
        masked = who & ~got & ~any_known & (free & heard.loud).any(axis=1)
        gives_up = masked & (uniform(crew.key, For.FURTHER, moment) < skill.misses_overlapped)
        nothing = who & ~got & ~any_known & ~masked
        stops = nothing & (uniform(crew.key, For.STOP, moment) < skill.stops_early)
        crew.doing[gives_up | stops] = Doing.DONE
        crew.doing[(masked & ~gives_up) | (nothing & ~stops)] = Doing.SIGNAL  # elsewhere it may stand out
        again = who & (crew.doing == Doing.MARKING)
        crew.busy_until_s[again] = now + AGAIN_S

    def _probe_line(self, moment: int) -> None:
        """One second of the probe line of all who are in one."""
        crew, field, scene = self.crew, self.field, self.scene
        who = crew.doing == Doing.LINE
        if not who.any():
            return
        pace = np.where(who, crew.pace, 0.0).reshape(-1, self.each).sum(axis=1)
        before = field.line_m2.copy()
        field.line_m2 += pace * pace_m2_per_s(self.skill, REACH_M) * SECOND_S
        for k in range(len(scene.names)):
            lap = np.floor((field.line_m2 - self.ways.sweep.before_m2[k]) / self.ways.sweep.all_m2)
            came = lap > np.floor((before - self.ways.sweep.before_m2[k]) / self.ways.sweep.all_m2)
            row = np.flatnonzero(came & ~field.marked[:, k])
            if not len(row) or scene.depths_m[k] > REACH_M:
                continue
            key = field.line_key[row] + np.array([k], dtype=np.uint64)
            hit = falls_on_pad(uniform(key, For.LINE_ACROSS, moment), uniform(key, For.LINE_ALONG, moment), PAD_M)
            noticed = uniform(key, For.FEEL, moment)[hit] >= self.skill.misses_hit
            at_s = (moment + 1) * SECOND_S
            count_find(field, scene, row[hit], np.full(int(hit.sum()), k), noticed, at_s, How.LINE)
