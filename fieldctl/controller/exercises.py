"""What goes on: one engine for each exercise, fed with committed facts; its wishes become grants and entries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from fieldctl.controller.grants import Grants, Wish
from fieldctl.controller.known import Known
from fieldctl.controller.pen import Pen
from fieldctl.controller.ports import Outside
from fieldctl.drill import engine
from fieldctl.drill.engine import Clock, Committed
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.state import Exercise
from fieldctl.events import (
    FIELD,
    ExerciseEnded,
    ExerciseStarted,
    Fact,
    GrantEnded,
)
from fieldctl.units import HostTime, HostUs, PersonId, TargetId

EARLY_US = 10_000_000  # a strike so long before the start still lies with its exercise
KEPT = 64  # ended exercises that late strikes may still belong to
START_IN_S = 2.0  # time for every order to arrive before the first signal
SEEDS = 1_000_000  # a seed has six digits: people read it to each other


def draw_seed(outside: Outside) -> int:
    """A seed for the picker that nobody chose; never 0."""
    return 1 + int.from_bytes(outside.nonce(), "big") % (SEEDS - 1)


class Exercises:
    """The engines of this season's latest exercises, and what they wish to send."""

    def __init__(self, outside: Outside, pen: Pen, grants: Grants, known: dict[TargetId, Known]) -> None:
        self._outside = outside
        self._pen = pen
        self._grants = grants
        self._known = known
        self.all: dict[str, Exercise] = {}
        self.wishes: dict[tuple[str, str], engine.Send] = {}
        self._grant_owner: dict[int, str] = {}
        self.barred: Callable[[TargetId], bool] = lambda _target: False

    # ---- who plays ------------------------------------------------------------------------------------------

    def running(self) -> Iterator[Exercise]:
        """The exercises that go on now."""
        return (e for e in self.all.values() if e.status == "running")

    def playing(self) -> set[TargetId]:
        """The targets that play a part in a running exercise."""
        return set(self.playing_in())

    def playing_in(self) -> dict[TargetId, str]:
        """The same, each with its exercise."""
        return {b.target: e.id for e in self.running() for b in e.burials.values()}

    @property
    def searching(self) -> bool:
        """Whether a signal is searched for anywhere."""
        return any(e.searching for e in self.running())

    def part_of(self, target: TargetId, at: HostTime) -> tuple[str, str] | None:
        """(exercise, burial) that a strike on this target at this moment belongs to; None outside every exercise."""
        found: tuple[str, str] | None = None
        for exercise in self.all.values():  # oldest first: the latest that fits counts
            for name, b in exercise.burials.items():
                if b.target != target or exercise.times is None:
                    continue
                since = exercise.times.since_start(at)
                # an early strike is kept with its exercise, for a person to judge
                if since is None or since < -EARLY_US:
                    continue
                if exercise.status == "running" or self._within(exercise, at):
                    found = (exercise.id, name)
        return found

    def _within(self, exercise: Exercise, at: HostTime) -> bool:
        ended = next((f for f in reversed(exercise.facts) if isinstance(f, ExerciseEnded)), None)
        return ended is not None and ended.at.boot == at.boot and at.us <= ended.at.us

    # ---- facts and clock in, wishes out ---------------------------------------------------------------------

    def committed(self, fact: Fact, *, live: bool = True) -> None:
        """Feed a committed fact to the exercise that it belongs to; effects only `live`, not when folding anew."""
        exercise_id = getattr(fact, "exercise", None)
        grant = getattr(fact, "grant", None)
        if exercise_id is None and grant is not None:
            exercise_id = self._grant_owner.get(grant)
        elif exercise_id is not None and grant is not None:
            self._grant_owner[grant] = exercise_id
        if exercise_id is None:
            return
        if isinstance(fact, ExerciseStarted):
            self.all[exercise_id] = engine.new_exercise(drill_from_plan(fact.plan), exercise_id)
            self._forget_oldest()
        exercise = self.all.get(exercise_id)
        if exercise is None:
            return
        if isinstance(fact, GrantEnded):
            self._grant_owner.pop(fact.grant, None)
        self._step(exercise, Committed(fact), live=live)

    def recalled(self, facts: Iterable[Fact]) -> Exercise | None:
        """An exercise that is no longer in mind, folded from its facts: to be shown and corrected, not to go on."""
        found: Exercise | None = None
        for fact in facts:
            if isinstance(fact, ExerciseStarted):
                found = engine.new_exercise(drill_from_plan(fact.plan), fact.exercise)
            if found is not None:
                found, _ = engine.step(found, Committed(fact))
        return found

    def tick(self, now: HostUs) -> None:
        """Let the clock propose what is due, and try what could not be sent yet."""
        boot = self._outside.clock.boot
        for exercise in list(self.running()):
            due = engine.next_due(exercise)
            since = exercise.times.since_start(HostTime(boot, now)) if exercise.times else None
            complete = exercise.result is not None and exercise.result.complete
            if due is not None and since is not None and (complete or since >= due):
                self._step(exercise, Clock(now, boot), live=True)
        for key, send in list(self.wishes.items()):
            self._try(key, send)

    def after_restart(self, going_on: set[str]) -> None:
        """Propose again what an earlier controller had proposed for these and could not commit."""
        here = self._outside.here()
        for exercise in [e for e in self.running() if e.id in going_on]:
            stepped, effects = engine.after_restart(exercise, here)
            self.all[exercise.id] = stepped
            self._carry_out(stepped, effects)

    def all_off(self, by: PersonId) -> None:
        """All off ends every exercise: none goes on by itself once it is released."""
        self.wishes.clear()
        for exercise in list(self.all.values()):
            if exercise.status in ("running", "interrupted"):
                self._pen.write(ExerciseEnded(exercise.id, "all-off", by, self._outside.here()))

    def ledger_failed(self, here: HostTime) -> None:
        """End every running exercise on the screen, since nothing can be written any more."""
        self.wishes.clear()
        for exercise in list(self.running()):
            ended = ExerciseEnded(exercise.id, "ledger-failed", FIELD, here)
            self._step(exercise, Committed(ended), live=False)

    def _step(self, exercise: Exercise, event: engine.Event, *, live: bool) -> None:
        stepped, effects = engine.step(exercise, event)
        self.all[exercise.id] = stepped
        if live:
            self._carry_out(stepped, effects)

    def _carry_out(self, exercise: Exercise, effects: tuple[engine.Effect, ...]) -> None:
        for effect in effects:
            match effect:
                case engine.Write(facts=facts):
                    self._pen.write(*facts)
                case engine.Send():
                    key = (exercise.id, effect.burial)
                    self.wishes[key] = effect
                    self._try(key, effect)
                case engine.FallQuiet(burial=burial, why=why):
                    self.wishes.pop((exercise.id, burial), None)
                    lease = self._grants.lease_of(exercise.id, burial)
                    if lease is not None:
                        self._grants.end(lease, why)

    def _try(self, key: tuple[str, str], send: engine.Send) -> None:
        exercise = self.all.get(key[0])
        known = self._known.get(send.target)
        gone = exercise is None or exercise.status != "running" or exercise.times is None or known is None
        if gone or self.barred(send.target):  # what is barred does not send later either, once it was dug out
            self.wishes.pop(key, None)
            return
        assert exercise is not None
        assert exercise.times is not None
        assert known is not None
        if self._pen.broken is not None or self._grants.lease_of(*key) is not None:
            return
        boot = self._outside.clock.boot
        starts = exercise.times.host(boot, send.from_since_us)
        ends = exercise.times.host(boot, send.ends_since_us)
        if starts is None or ends is None:
            return
        plan = exercise.burials[send.burial].plan
        wish = Wish(
            known,
            "exercise",
            exercise.id,
            send.burial,
            starts,
            ends,
            plan.keying,
            plan.level,
            plan.drop_on_s,
            plan.drop_off_s,
        )
        if self._grants.give(wish, engine.LEAD_US):
            self.wishes.pop(key, None)

    def _forget_oldest(self) -> None:
        ended = [e.id for e in self.all.values() if e.status not in ("running", "interrupted")]
        for old in ended[: max(0, len(ended) - KEPT)]:
            del self.all[old]
