"""A small shell that plays the field: commits every wish in order, sends and falls quiet at once, in virtual time."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace

from fieldctl.drill.engine import (
    Clock,
    Committed,
    Effect,
    Exercise,
    FallQuiet,
    Send,
    Write,
    after_restart,
    new_exercise,
    next_due,
    step,
)
from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.events import (
    FIELD,
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
    GrantEnded,
    GrantGiven,
    QuestionAnswered,
    QuestionAsked,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.units import BootId, HostTime, HostUs, NodeTicks, PersonId, Stamp, TargetId, micros

MIRA = PersonId("p-mira")
START_US = 10_000_000
TICK_US = 100_000


def drill(*burials: Burial, limit_s: float = 600.0) -> Drill:
    return Drill("larch", "Larch Hollow, invented", limit_s, burials)


def after(other: str, delay_s: float = 0.0) -> Signal:
    return Signal("after-find", delay_s, other)


def target_of(plan: Drill, name: str) -> TargetId:
    return TargetId(f"{0xA0 + [b.name for b in plan.burials].index(name):08x}")


class Made:
    """Facts of one exercise; moments in seconds of its clock in the boot whose zero is `zero_us`."""

    def __init__(self, plan: Drill, exercise: str = "x1", boot: str = "boot-a", zero_us: int = START_US) -> None:
        self.plan = plan
        self.exercise = exercise
        self.boot = boot
        self.zero_us = zero_us
        self._ids = 0

    def next_id(self, kind: str) -> str:
        self._ids += 1
        return f"{kind}{self._ids}"

    def at(self, s: float) -> HostTime:
        return HostTime(self.boot, self.zero_us + micros(s))

    def stamp(self, s: float, plus_minus_ms: float = 2.0) -> Stamp:
        return Stamp(self.at(s), round(plus_minus_ms * 1000))

    def started(self, plus_minus_ms: float = 0.0, searchers: tuple[str, ...] = ("Mira", "Tove")) -> ExerciseStarted:
        picks = {b.name: target_of(self.plan, b.name) for b in self.plan.burials}
        start = self.stamp(0, plus_minus_ms)
        return ExerciseStarted(self.exercise, self.plan.name, {}, 7, picks, searchers, MIRA, start)

    def strike(
        self, burial: str | None, s: float, kind: str = "probe", plus_minus_ms: float = 2.0, late: bool = False
    ) -> StrikeRecorded:
        self._ids += 1
        target = TargetId("000000ff") if burial is None else target_of(self.plan, burial)
        exercise = None if burial is None else self.exercise
        return StrikeRecorded(
            target, BootId(3), self._ids, NodeTicks(0), self.stamp(s, plus_minus_ms), (), kind,
            f"rule for {kind}", exercise, burial, "serial", (), late,
        )  # fmt: skip

    def call(self, burial: str | None, s: float, searcher: str | None = None, ms: float = 1000.0) -> CallMade:
        return CallMade(self.exercise, self.next_id("call"), burial, searcher, self.stamp(s, ms), MIRA)

    def split(self, name: str, s: float, burial: str | None = None) -> SplitMade:
        return SplitMade(self.exercise, self.next_id("split"), name, burial, self.stamp(s, 1000), MIRA)

    def correct(
        self, change: str, about: str, value: str | int | float | None = None, s: float = 300.0, nth: int = 0
    ) -> Corrected:
        made = self.next_id("correction")
        return Corrected(self.exercise, made, change, about, MIRA, "seen from the side", self.at(s), value, nth)

    def on(self, burial: str, s: float, grant: int, plus_minus_ms: float = 2.0) -> SignalOn:
        stamp = self.stamp(s, plus_minus_ms)
        return SignalOn(self.exercise, burial, target_of(self.plan, burial), grant, stamp)

    def off(self, burial: str, s: float, grant: int, why: str = "found") -> SignalOff:
        return SignalOff(self.exercise, burial, target_of(self.plan, burial), grant, self.stamp(s), why)

    def given(self, burial: str, grant: int, limit: HostTime) -> GrantGiven:
        ticks = NodeTicks(0)
        return GrantGiven(
            grant, target_of(self.plan, burial), "exercise", self.exercise, burial, BootId(3), ticks, ticks, ticks,
            limit, 1000, 100, 100, 1, 1,
        )  # fmt: skip

    def ended(self, how: str, s: float) -> ExerciseEnded:
        return ExerciseEnded(self.exercise, how, FIELD if how == "complete" else MIRA, self.at(s))

    def reopened(self, s: float) -> ExerciseReopened:
        return ExerciseReopened(self.exercise, MIRA, self.at(s))

    def interrupted(self, last: HostTime, at: HostTime) -> ExerciseInterrupted:
        return ExerciseInterrupted(self.exercise, last, at, "the controller was away")

    def resumed(self, at: HostTime, gap_us: int = 0) -> ExerciseResumed:
        return ExerciseResumed(self.exercise, gap_us, MIRA, at)


class Lease:
    def __init__(self, grant: int, send: Send, from_us: int) -> None:
        self.grant = grant
        self.send = send
        self.from_us = from_us
        self.began = False


class Shell:
    """Plays the controller and the targets round one engine."""

    def __init__(self, plan: Drill, exercise: str = "x1", *, start: bool = True) -> None:
        self.make = Made(plan, exercise)
        self.plan = plan
        self.engine: Exercise = new_exercise(plan, exercise)
        self.now_us = START_US - 500_000
        self.ledger: list[Fact] = []
        self.states: list[Exercise] = []  # of this life, after each commit
        self.commits_left: int | None = None  # before the controller is killed
        self.queue: deque[Fact] = deque()
        self.wishes: dict[str, Send] = {}
        self.leases: dict[str, Lease] = {}
        self.sends: list[Send] = []
        self.quiets: list[FallQuiet] = []
        self.grants = 0
        self.unheard: set[str] = set()  # burials whose target cannot be reached: wishes wait
        self.outcomes: dict[str, list[str]] = {}  # what becomes of the next orders of a burial
        self.holding_back: set[str] = set()  # burials whose target confirms no end until it is released
        if start:
            self.commit(self.make.started())

    # ---- what tests ask -------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        return (self.now_us - self.make.zero_us) / 1e6

    def phase(self, name: str) -> str:
        return self.engine.burials[name].phase

    def phases(self) -> dict[str, str]:
        return {name: b.phase for name, b in self.engine.burials.items()}

    def of(self, kind: type[Fact]) -> list[Fact]:
        return [f for f in self.ledger if isinstance(f, kind)]

    def questions(self) -> list[QuestionAsked]:
        return [f for f in self.ledger if isinstance(f, QuestionAsked) and f.question in self.engine.asked]

    def sending(self) -> set[str]:
        return {name for name, lease in self.leases.items() if lease.began}

    # ---- the ledger -----------------------------------------------------------------------------------------

    def commit(self, *facts: Fact) -> None:
        self.queue.extend(facts)
        self.drain()

    def drain(self, at_most: int | None = None) -> None:
        while self.queue and at_most != 0 and self.commits_left != 0:
            at_most = None if at_most is None else at_most - 1
            self.commits_left = None if self.commits_left is None else self.commits_left - 1
            fact = self.queue.popleft()
            self.ledger.append(fact)
            self.engine, effects = step(self.engine, Committed(fact))
            self.states.append(self.engine)
            self.carry_out(effects)

    def carry_out(self, effects: Sequence[Effect]) -> None:
        for effect in effects:
            match effect:
                case Write(facts=facts):
                    self.queue.extend(facts)
                case Send():
                    self.sends.append(effect)
                    self.wishes[effect.burial] = effect
                case FallQuiet(burial=burial, why=why):
                    self.quiets.append(effect)
                    self.wishes.pop(burial, None)
                    if burial in self.leases and burial not in self.holding_back:
                        self.end(burial, why)
        self._give()

    # ---- the field ------------------------------------------------------------------------------------------

    def _give(self) -> None:
        for name, send in list(self.wishes.items()):
            ends = self.engine.times.host(self.make.boot, send.ends_since_us) if self.engine.times else None
            begins = self.engine.times.host(self.make.boot, send.from_since_us) if self.engine.times else None
            if name in self.unheard or name in self.leases or begins is None or ends is None:
                continue
            begins = max(begins, self.now_us)
            if begins >= ends:
                continue
            del self.wishes[name]
            self.grants += 1
            self.leases[name] = Lease(self.grants, send, begins)
            self.queue.append(self.make.given(name, self.grants, HostTime(self.make.boot, ends)))

    def end(self, name: str, why: str) -> None:
        lease = self.leases.pop(name)
        if lease.began:
            self.queue.append(self.make.off(name, self.now_s, lease.grant, why))
        self.queue.append(GrantEnded(lease.grant, lease.send.target, why, self.make.at(self.now_s)))
        self._give()

    def release(self, name: str, why: str) -> None:
        """The target confirms its end at last."""
        self.holding_back.discard(name)
        self.end(name, why)
        self.drain()

    def reboots(self, name: str, why: str = "rebooted") -> None:
        self.end(name, why)
        self.drain()

    def tick(self) -> None:
        for name, lease in list(self.leases.items()):
            if self.leases.get(name) is not lease:
                continue
            ends = lease.send.ends_since_us + self.make.zero_us
            if not lease.began and self.now_us >= lease.from_us:
                outcome = (self.outcomes.get(name) or [""]).pop(0)
                if outcome:
                    self.end(name, outcome)
                else:
                    lease.began = True
                    self.queue.append(self.make.on(name, self.now_s, lease.grant))
            elif self.now_us >= ends:
                self.end(name, "limit")
        self.drain()
        due = next_due(self.engine)
        since = self.engine.times.since_start(HostTime(self.make.boot, self.now_us)) if self.engine.times else None
        if due is not None and since is not None and since >= due:
            self.engine, effects = step(self.engine, Clock(HostUs(self.now_us), self.make.boot))
            self.carry_out(effects)
        self._give()
        self.drain()

    def run(self, to_s: float) -> Shell:
        while self.now_s < to_s:
            self.now_us = min(self.now_us + TICK_US, self.make.zero_us + micros(to_s))
            self.tick()
        return self

    # ---- people ---------------------------------------------------------------------------------------------

    def strike(self, burial: str, kind: str = "probe", late: bool = False) -> StrikeRecorded:
        fact = self.make.strike(burial, self.now_s, kind, late=late)
        self.commit(fact)
        return fact

    def call(self, burial: str | None, searcher: str | None = None) -> CallMade:
        fact = self.make.call(burial, self.now_s, searcher)
        self.commit(fact)
        return fact

    def correct(self, change: str, about: str, value: str | int | float | None = None) -> Corrected:
        fact = self.make.correct(change, about, value, self.now_s)
        self.commit(fact)
        return fact

    def answer(self, question: QuestionAsked, answer: str) -> None:
        self.commit(QuestionAnswered(self.make.exercise, question.question, answer, MIRA, self.make.at(self.now_s)))

    def stop(self) -> None:
        self.commit(self.make.ended("stopped", self.now_s))

    def reopen(self) -> None:
        self.commit(self.make.reopened(self.now_s))

    # ---- lives ----------------------------------------------------------------------------------------------

    def killed(self) -> None:
        """The controller is killed: what was on its way to the ledger is lost."""
        self.queue.clear()
        self.wishes.clear()
        self.commits_left = None

    def starts_again(self) -> None:
        """A new controller folds the ledger, takes up the grants that targets still hold, and goes on."""
        committed = {f.grant for f in self.ledger if isinstance(f, GrantGiven)}
        over = {f.grant for f in self.ledger if isinstance(f, GrantEnded)}
        self.engine = folded(self.plan, self.ledger, self.make.exercise)
        said_on = {f.grant for f in self.ledger if isinstance(f, SignalOn)}
        for name, lease in list(self.leases.items()):
            if lease.grant not in committed:
                del self.leases[name]  # committed first, then ordered: so it was never ordered
            elif lease.began and lease.grant not in said_on:
                self.queue.append(self.make.on(name, self.now_s, lease.grant))
        held = {lease.grant for lease in self.leases.values()}
        for fact in [f for f in self.ledger if isinstance(f, GrantGiven)]:
            if fact.grant not in over | held:  # its target says that it holds no such grant
                if fact.grant in said_on and fact.burial and not self._said_off(fact.grant):
                    self.queue.append(self.make.off(fact.burial, self.now_s, fact.grant, "gone"))
                self.queue.append(GrantEnded(fact.grant, fact.target, "gone", self.make.at(self.now_s)))
        self.engine, effects = after_restart(self.engine, self.make.at(self.now_s))
        self.carry_out(effects)
        self.drain()

    def _said_off(self, grant: int) -> bool:
        return any(isinstance(f, SignalOff) and f.grant == grant for f in self.ledger)

    def host_reboots(self, boot: str, zero_us: int, known_until_s: float) -> None:
        """The host's clock begins anew; the exercise was last known at `known_until_s`, nothing sends any more."""
        last = self.make.at(known_until_s)
        self.queue.clear()
        self.wishes.clear()
        for name, lease in list(self.leases.items()):
            del self.leases[name]
            self.ledger.append(GrantEnded(lease.grant, lease.send.target, "ran-out", self.make.at(known_until_s)))
        self.make.boot, self.make.zero_us = boot, zero_us
        self.engine = folded(self.plan, self.ledger, self.make.exercise)
        self.commit(self.make.interrupted(last, HostTime(boot, 1_000_000)))


def folded(plan: Drill, facts: Iterable[Fact], exercise: str = "x1") -> Exercise:
    """The engine after these facts, effects dropped."""
    engine = new_exercise(plan, exercise)
    for fact in facts:
        engine, _ = step(engine, Committed(fact))
    return engine


def standing(engine: Exercise) -> Exercise:
    """What has to be the same in a life that went on and one that began anew: all but what was on its way."""
    burials = {name: replace(b, proposed=False) for name, b in engine.burials.items()}
    return replace(engine, burials=burials, ending=False)
