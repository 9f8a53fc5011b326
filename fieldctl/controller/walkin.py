"""Walk-in: what a person in charge has released for anybody to start, one party a zone at a time, without names.

    release    a drill, zones, from when until when, the pause between parties, the longest that one may last
    start      needs all that any start needs (field open, no all off, ready check); a second press starts nothing
    end        by itself: each party at its limit, all of it with the release, with closing, with all off

Folded from the ledger like everything else. A release is in moments of the host's clock: after a reboot of the host it
has ended. A party that a long absence of the controller interrupted ends, and nothing starts by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Protocol

from fieldctl.controller.exercises import START_IN_S, draw_seed
from fieldctl.drill.files import plan_to_mapping
from fieldctl.drill.pick import Picks
from fieldctl.drill.plan import Drill
from fieldctl.drill.state import Exercise
from fieldctl.errors import FieldctlError, Refused
from fieldctl.events import (
    ANYBODY,
    FIELD,
    AllOffOrdered,
    DayClosed,
    ExerciseEnded,
    ExerciseStarted,
    Fact,
    WalkInEnded,
    WalkInReleased,
)
from fieldctl.units import HostTime, PersonId, Stamp, micros, seconds

if TYPE_CHECKING:
    from fieldctl.controller.controller import Controller

Row = dict[str, Any]

LEAST_S = 120.0  # a party that would be ended sooner than this is not begun
SHOWN_S = 600.0  # how long the result of the last party stays on the screen of its zone


class Starter(Protocol):
    """Who reads drills, picks targets and does the ready check."""

    def staff(self, drill: str, zone: str, seed: int) -> tuple[Drill, Picks]:
        """A drill, staffed from one zone alone; Refused with every line of the ready check that is in the way."""

    def conditions(self, picks: Picks) -> Row:
        """What an exercise with these targets is recorded with."""


@dataclass(frozen=True, slots=True)
class Pressed:
    """What a press of start led to: `did` is started, goes-on, pause, or refused with `why`."""

    did: str
    zone: str
    exercise: str = ""
    wait_s: float = 0.0
    why: FieldctlError | None = None


class WalkIns:
    """The releases in force, by zone, and the parties under way."""

    def __init__(self, controller: Controller) -> None:
        self._c = controller
        self._starter: Starter | None = None
        self._starting: dict[str, str] = {}  # zone -> exercise on its way to the ledger
        self.releases: dict[str, WalkInReleased] = {}  # by name
        self.count = 0

    def use(self, starter: Starter) -> None:
        """Who picks and checks; without it nothing can be started."""
        self._starter = starter

    # ---- facts -----------------------------------------------------------------------------------------------

    def take(self, fact: Fact) -> None:
        """Fold one fact."""
        match fact:
            case WalkInReleased():
                self.releases[fact.release] = fact
                self.count += 1
            case WalkInEnded():
                self.releases.pop(fact.release, None)
            case DayClosed() | AllOffOrdered():
                self.releases.clear()
            case ExerciseStarted():
                self._starting.pop(str(fact.conditions.get("zone", "")), None)

    def committed(self, fact: Fact) -> None:
        """A fact was committed just now: closing and all off end every release, in words too."""
        if isinstance(fact, DayClosed | AllOffOrdered):
            why = "closed" if isinstance(fact, DayClosed) else "all-off"
            for release in list(self.releases.values()):
                self._c.pen.write(WalkInEnded(release.release, why, fact.by, self._c.outside.here()))
        self.take(fact)

    def tick(self) -> None:
        """End what has come to its end."""
        here = self._c.outside.here()
        for release in list(self.releases.values()):
            rebooted = release.ends_at.boot != here.boot
            if rebooted or here.us >= release.ends_at.us:
                self.end(release, "host-rebooted" if rebooted else "time", PersonId(FIELD))
        for exercise in list(self._c.exercises.all.values()):
            if exercise.status == "interrupted" and part_of(exercise) is not None:
                self._stop(exercise, PersonId(FIELD))

    def end(self, release: WalkInReleased, why: str, by: PersonId) -> None:
        """End a release, and the parties that it let start."""
        self.releases.pop(release.release, None)
        self._c.pen.write(WalkInEnded(release.release, why, by, self._c.outside.here()))
        for exercise in list(self._c.exercises.all.values()):
            if exercise.status in ("running", "interrupted") and part_of(exercise) in _parts(release):
                self._stop(exercise, by)

    def _stop(self, exercise: Exercise, by: PersonId) -> None:
        if not exercise.ending:
            self._c.pen.write(ExerciseEnded(exercise.id, "stopped", by, self._c.outside.here()))

    # ---- parties ---------------------------------------------------------------------------------------------

    def in_force(self) -> list[WalkInReleased]:
        """The releases of this boot of the host, begun or not; one of an earlier boot is about to be ended."""
        boot = self._c.outside.clock.boot
        return [r for r in self.releases.values() if r.ends_at.boot == boot]

    def release_of(self, zone: str) -> WalkInReleased | None:
        """What is released in a zone, begun or not."""
        return next((r for r in self.in_force() if zone in r.zones), None)

    def parties(self, zone: str) -> Iterator[Exercise]:
        """The walk-in exercises of a zone that are still in mind, oldest first."""
        for exercise in self._c.exercises.all.values():
            part = part_of(exercise)
            if part is not None and part[1] == zone:
                yield exercise

    def going_on(self, zone: str) -> Exercise | None:
        """The party that is under way in a zone."""
        return next((e for e in self.parties(zone) if e.status in ("running", "interrupted")), None)

    def free_at(self, zone: str, release: WalkInReleased) -> HostTime | None:
        """When the pause after the last party is over; None where there is none to wait for."""
        last = None
        for exercise in self.parties(zone):
            last = ended_at(exercise) or last
        here = self._c.outside.here()
        if last is None or last.boot != here.boot:
            return None
        free = last.plus(micros(release.pause_s))
        return free if free.us > here.us else None

    def start(self, zone: str, via: str) -> Pressed:
        """Start the walk-in of a zone, or say why not; the caller waits for the ledger if it wants to."""
        try:
            return self._start(zone, via)
        except FieldctlError as error:
            return Pressed("refused", zone, why=error)

    def _start(self, zone: str, via: str) -> Pressed:
        here = self._c.outside.here()
        running = self.going_on(zone)
        under_way = self._starting.get(zone) or (running.id if running is not None else "")
        if under_way:
            return Pressed("goes-on", zone, under_way)
        release = self.release_of(zone)
        if release is None or self._starter is None:
            raise Refused(
                f"No walk-in is released in zone {zone}.", remedy="Ask a person in charge: fieldctl walk-in release."
            )
        if here.us < release.begins_at.us:
            wait = seconds(release.begins_at - here)
            raise Refused(f"The walk-in begins in {wait / 60:.0f} min.", remedy="Wait until then.")
        left_s = seconds(release.ends_at - here)
        if left_s < LEAST_S:
            raise Refused("The walk-in ends in a moment.", remedy="Come again when it is released again.")
        free = self.free_at(zone, release)
        if free is not None:
            return Pressed("pause", zone, wait_s=seconds(free - here))
        seed = draw_seed(self._c.outside)
        plan, picks = self._starter.staff(release.drill, zone, seed)
        plan = replace(plan, limit_s=min(plan.limit_s, release.limit_s, left_s))
        self._c.exercise_count += 1
        name = f"x{self._c.exercise_count}"
        fact = ExerciseStarted(
            exercise=name,
            drill=plan.name,
            plan=plan_to_mapping(plan),
            seed=seed,
            picks=picks.targets,
            searchers=(),
            by=PersonId(ANYBODY),
            start=Stamp(here.plus(micros(START_IN_S)), 0),
            conditions={**self._starter.conditions(picks), "walk_in": release.release, "zone": zone, "via": via},
        )
        self._starting[zone] = name
        self._c.pen.write(fact)
        return Pressed("started", zone, name)

    def stop(self, zone: str) -> Exercise | None:
        """Stop the party of a zone, whoever asks; None where there is none."""
        running = self.going_on(zone)
        if running is not None:
            self._stop(running, PersonId(ANYBODY))
        return running

    # ---- what is shown ---------------------------------------------------------------------------------------

    def rows(self) -> dict[str, Row]:
        """One row for each zone with a walk-in, for anybody: no name, and no hint before a party has ended.

        Moments are host µs; `found` and `of` belong to the last party and are None while one goes on.
        """
        zones = [zone.name for zone in self._c.site.zones]
        return {zone: row for zone in zones if (row := self._row(zone)) is not None}

    def _row(self, zone: str) -> Row | None:
        release, running = self.release_of(zone), self.going_on(zone)
        parties = list(self.parties(zone))
        last = parties[-1] if parties else None
        here = self._c.outside.here()
        over = None if last is None or running is not None else ended_at(last)
        if over is not None and (over.boot != here.boot or seconds(here - over) > SHOWN_S):
            over = None
        if release is None and running is None and over is None:
            return None
        free = None if release is None else self.free_at(zone, release)
        state = "ended" if release is None else "later" if here.us < release.begins_at.us else "free"
        if running is not None or zone in self._starting:
            state = "goes-on"
        elif state == "free" and free is not None:
            state = "pause"
        result = last.result if last is not None and over is not None else None
        return {
            "zone": zone,
            "name": self._c.site.zone(zone).title,
            "drill": None if release is None else release.title,
            "state": state,
            "begins_us": None if release is None else release.begins_at.us,
            "ends_us": None if release is None else release.ends_at.us,
            "limit_s": self._limit_s(release, running),
            "free_us": None if free is None else free.us,
            "exercise": None if running is None else running.id,
            "zero_us": None if running is None or running.times is None else running.times.host(here.boot, 0),
            "found": None if result is None else sum(b.find is not None for b in result.burials),
            "of": None if result is None or last is None else len(last.burials),
            "over_us": None if over is None else over.us,
            "others": any(e.drill.sends and e is not running for e in self._c.exercises.running()),
        }

    def _limit_s(self, release: WalkInReleased | None, running: Exercise | None) -> float | None:
        """How long the party that is out may last, or the next one; in whole minutes while none is out."""
        if running is not None:
            return running.drill.limit_s
        if release is None:
            return None
        left_s = seconds(release.ends_at - self._c.outside.here())
        return min(release.limit_s, max(0.0, left_s // 60 * 60))


def part_of(exercise: Exercise) -> tuple[str, str] | None:
    """(release, zone) of a walk-in exercise; None for every other."""
    started = exercise.facts[0] if exercise.facts else None
    if not isinstance(started, ExerciseStarted) or not started.conditions.get("walk_in"):
        return None
    return str(started.conditions["walk_in"]), str(started.conditions.get("zone", ""))


def ended_at(exercise: Exercise) -> HostTime | None:
    """When an exercise ended; None while it goes on."""
    if exercise.status in ("running", "interrupted"):
        return None
    return next((f.at for f in reversed(exercise.facts) if isinstance(f, ExerciseEnded)), None)


def _parts(release: WalkInReleased) -> set[tuple[str, str]]:
    return {(release.release, zone) for zone in release.zones}
