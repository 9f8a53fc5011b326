"""What happens next in an exercise: a pure step over the table in `phases`; every transition follows a committed fact.

`step(exercise, event) -> (exercise, effects)`. Because only facts move it (and the clock, which merely proposes facts),
a restarted controller folds the same facts and stands where it stood. Effects are wishes to the shell:

    Write       commit these facts, then give them back as `Committed`
    Send        let a burial's target send from a moment on, under a new grant
    FallQuiet   end what a burial's target is granted
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fieldctl.drill.phases import TABLE, Happening, Phase
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.score import Result, score
from fieldctl.drill.timeline import Timeline, timeline
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
    SignalDue,
    SignalOff,
    SignalOn,
    StrikeRecorded,
)
from fieldctl.units import HostTime, HostUs, TargetId, micros

LEAD_US = 400_000  # an order needs to arrive before its moment: one ring, one resend and a margin


@dataclass(frozen=True, slots=True)
class Clock:
    """The host's clock shows this."""

    now: HostUs
    boot: str


@dataclass(frozen=True, slots=True)
class Committed:
    """A fact of this exercise, or of one of its grants, is in the ledger."""

    fact: Fact


Event = Clock | Committed


@dataclass(frozen=True, slots=True)
class Write:
    """Commit these facts."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Send:
    """Let the burial's target send from `from_since_us` of the exercise's clock on, or as soon as may be."""

    burial: str
    target: TargetId
    from_since_us: int
    ends_since_us: int


@dataclass(frozen=True, slots=True)
class FallQuiet:
    """End whatever the burial's target is granted for this exercise."""

    burial: str
    target: TargetId
    why: str


Effect = Write | Send | FallQuiet


@dataclass(frozen=True, slots=True)
class Played:
    """One burial in an exercise: its phase, its grant (0: none), and what has been proposed but not yet committed."""

    plan: Burial
    target: TargetId
    phase: Phase
    grant: int = 0
    due_since_us: int | None = None  # when its signal was to begin, once that is fixed
    proposed: bool = False  # a SignalDue for it is on its way to the ledger


@dataclass(frozen=True, slots=True)
class Exercise:
    """The state of one exercise: its facts, and where each burial stands."""

    id: str
    drill: Drill
    facts: tuple[Fact, ...] = ()
    burials: Mapping[str, Played] = field(default_factory=dict)
    status: str = "running"
    ending: bool = False  # an ExerciseEnded is on its way to the ledger
    times: Timeline | None = None
    result: Result | None = None
    asked: frozenset[str] = frozenset()  # questions that no person has answered yet

    @property
    def searching(self) -> bool:
        """Whether a signal is being searched for right now (the bus is then quiet)."""
        return self.status == "running" and any(b.phase in ("ordered", "sending") for b in self.burials.values())


def new_exercise(drill: Drill, exercise: str) -> Exercise:
    """An exercise before its `ExerciseStarted` is committed."""
    return Exercise(exercise, drill)


def step(exercise: Exercise, event: Event) -> tuple[Exercise, tuple[Effect, ...]]:
    """The exercise after an event, and what the shell has to do about it."""
    if isinstance(event, Clock):
        return _clock(exercise, event)
    fact = event.fact
    # grants are the target's business: only their end matters here, and it names no exercise
    if not isinstance(fact, GrantEnded):
        exercise = replace(exercise, facts=(*exercise.facts, fact))
    handler = _HANDLERS.get(type(fact))
    return handler(exercise, fact) if handler is not None else (exercise, ())


def next_due(exercise: Exercise) -> int | None:
    """When the clock matters next, in µs of the exercise's own clock; None when it never does."""
    if exercise.status != "running" or exercise.ending or exercise.times is None:
        return None
    dues = [
        due
        for b in exercise.burials.values()
        if b.phase == "waiting" and not b.proposed and (due := _due_of(exercise, b)) is not None
    ]
    return min([micros(exercise.drill.limit_s), *(due[0] - LEAD_US for due in dues)])


def after_restart(exercise: Exercise, at: HostTime) -> tuple[Exercise, tuple[Effect, ...]]:
    """The exercise after its facts were folded anew: what had been proposed but not committed is proposed again."""
    burials = {name: replace(b, proposed=False) for name, b in exercise.burials.items()}
    exercise = replace(exercise, burials=burials, ending=False)
    known = {f.about for f in exercise.facts if isinstance(f, QuestionAsked) and f.question in exercise.asked}
    missing = tuple(
        _may_it_send_again(exercise, name, "it went before this controller started", at)
        for name, b in burials.items()
        if b.phase == "gone" and name not in known
    )
    return exercise, ((Write(missing),) if missing else ())


# ---- the clock proposes -------------------------------------------------------------------------------------


def _clock(exercise: Exercise, event: Clock) -> tuple[Exercise, tuple[Effect, ...]]:
    if exercise.status != "running" or exercise.ending or exercise.times is None:
        return exercise, ()
    here = HostTime(event.boot, event.now)
    now = exercise.times.since_start(here)
    if now is None:
        return exercise, ()
    if exercise.result is not None and exercise.result.complete:  # found in a life that could not write it down
        return replace(exercise, ending=True), (Write((ExerciseEnded(exercise.id, "complete", FIELD, here),)),)
    if now >= micros(exercise.drill.limit_s):
        ended = ExerciseEnded(exercise.id, "time-up", FIELD, here)
        return replace(exercise, ending=True), (Write((ended,)),)
    return _propose_due(exercise, now, event.boot)


def _propose_due(exercise: Exercise, now: int, boot: str) -> tuple[Exercise, tuple[Effect, ...]]:
    """Propose the moment of every waiting burial that falls due within the lead."""
    assert exercise.times is not None
    burials = dict(exercise.burials)
    facts: list[Fact] = []
    for name, b in exercise.burials.items():
        due = _due_of(exercise, b)
        if b.phase != "waiting" or b.proposed or due is None or due[0] - LEAD_US > now:
            continue
        at = exercise.times.host(boot, due[0])
        if at is None:
            continue
        burials[name] = replace(b, proposed=True)
        facts.append(SignalDue(exercise.id, name, HostTime(boot, at), due[1]))
    if not facts:
        return exercise, ()
    return replace(exercise, burials=burials), (Write(tuple(facts)),)


def _due_of(exercise: Exercise, b: Played) -> tuple[int, str] | None:
    """When a burial's signal is due on the exercise's clock, and because of what."""
    signal = b.plan.signal
    delay = micros(signal.delay_s)
    match signal.kind:
        case "start":
            return 0, "start"
        case "delay":
            return delay, f"{signal.delay_s:g} s after the start"
        case "after-find":
            find = exercise.result.burial(signal.after).find if exercise.result and signal.after else None
            return None if find is None else (find.moment.at_us + delay, f"find of {signal.after}")
        case _:
            return None


# ---- facts move ---------------------------------------------------------------------------------------------

_Stepped = tuple[Exercise, tuple[Effect, ...]]


def _started(exercise: Exercise, fact: ExerciseStarted) -> _Stepped:
    burials = {
        b.name: Played(b, fact.picks[b.name], "silent" if b.signal.kind == "never" else "waiting")
        for b in exercise.drill.burials
    }
    exercise = replace(exercise, burials=burials, times=timeline(exercise.facts))
    exercise = replace(exercise, result=score(exercise.drill, exercise.facts))
    return _propose_due(exercise, 0, fact.start.at.boot)


def _due(exercise: Exercise, fact: SignalDue) -> _Stepped:
    assert exercise.times is not None
    since = exercise.times.since_start(fact.at)
    played = replace(exercise.burials[fact.burial], proposed=False, due_since_us=since)
    return _move(_put(exercise, played), fact.burial, "due")


def _granted(exercise: Exercise, fact: GrantGiven) -> _Stepped:
    if fact.burial is None or fact.burial not in exercise.burials:
        return exercise, ()
    return _put(exercise, replace(exercise.burials[fact.burial], grant=fact.grant)), ()


def _began(exercise: Exercise, fact: SignalOn) -> _Stepped:
    return _rescored(*_move(exercise, fact.burial, "began"), fact.at.at)


def _grant_ended(exercise: Exercise, fact: GrantEnded) -> _Stepped:
    for name, b in exercise.burials.items():
        if b.grant == fact.grant and fact.grant:
            exercise = _put(exercise, replace(b, grant=0))
            happening: Happening = "not-begun" if fact.why in ("late", "lost") else "went"
            return _asked(*_move(exercise, name, happening), name, fact)
    return exercise, ()


def _found_out(exercise: Exercise, fact: StrikeRecorded | CallMade) -> _Stepped:
    return _rescored(exercise, (), fact.at.at)


def _corrected(exercise: Exercise, fact: Corrected) -> _Stepped:
    return _rescored(exercise, (), fact.at)


def _answered(exercise: Exercise, fact: QuestionAnswered) -> _Stepped:
    question = next((f for f in exercise.facts if isinstance(f, QuestionAsked) and f.question == fact.question), None)
    exercise = replace(exercise, asked=exercise.asked - {fact.question})
    if question is None:
        return exercise, ()
    if fact.answer == "send-again":
        return _move(exercise, question.about, "again")
    if fact.answer == "take-back":
        return _move(exercise, question.about, "taken-back")
    return exercise, ()


def _question(exercise: Exercise, fact: QuestionAsked) -> _Stepped:
    return replace(exercise, asked=exercise.asked | {fact.question}), ()


def _ended(exercise: Exercise, fact: ExerciseEnded) -> _Stepped:
    exercise, effects = _all(replace(exercise, status=fact.how, ending=False), "over", fact.how)
    return _rescored(exercise, effects, fact.at)


def _interrupted(exercise: Exercise, fact: ExerciseInterrupted) -> _Stepped:
    exercise, effects = _all(replace(exercise, status="interrupted"), "over", "interrupted")
    return _rescored(exercise, effects, fact.at)


def _goes_on(exercise: Exercise, fact: ExerciseResumed | ExerciseReopened) -> _Stepped:
    """A person lets it go on: what had begun and is not found sends again, what was found as the drill says."""
    exercise = replace(exercise, status="running", ending=False, times=timeline(exercise.facts))
    exercise = replace(exercise, result=score(exercise.drill, exercise.facts))
    effects: list[Effect] = []
    for name, b in exercise.burials.items():
        if b.phase != "over":
            continue  # a short gap: nothing had been switched off
        exercise, more = _revive(exercise, name)
        effects.extend(more)
    return _rescored(exercise, tuple(effects), fact.at)


def _revive(exercise: Exercise, name: str) -> _Stepped:
    b = exercise.burials[name]
    assert exercise.result is not None
    found = exercise.result.burial(name).find is not None
    if b.plan.signal.kind == "never":
        phase: Phase = "found-quiet" if found else "silent"
    elif found and b.plan.after_find == "falls-quiet":
        phase = "found-quiet"
    elif b.due_since_us is None:
        phase = "found-quiet" if found else "waiting"
    else:
        exercise, effects = _move(exercise, name, "again")
        return exercise, effects
    return _put(exercise, replace(b, phase=phase, proposed=False)), ()


_HANDLERS: dict[type[Fact], Callable[[Exercise, Any], _Stepped]] = {
    ExerciseStarted: _started,
    SignalDue: _due,
    GrantGiven: _granted,
    SignalOn: _began,
    GrantEnded: _grant_ended,
    SignalOff: lambda exercise, fact: _rescored(exercise, (), fact.at.at),
    StrikeRecorded: _found_out,
    CallMade: _found_out,
    Corrected: _corrected,
    QuestionAsked: _question,
    QuestionAnswered: _answered,
    ExerciseEnded: _ended,
    ExerciseInterrupted: _interrupted,
    ExerciseResumed: _goes_on,
    ExerciseReopened: _goes_on,
}


def _put(exercise: Exercise, played: Played) -> Exercise:
    return replace(exercise, burials={**exercise.burials, played.plan.name: played})


def _all(exercise: Exercise, happening: Happening, why: str) -> _Stepped:
    effects: list[Effect] = []
    for name in exercise.burials:
        exercise, more = _move(exercise, name, happening, why)
        effects.extend(more)
    return exercise, tuple(effects)


def _move(exercise: Exercise, name: str, happening: Happening, why: str = "") -> _Stepped:
    """One row of the table for one burial."""
    b = exercise.burials[name]
    row = TABLE.get((b.phase, happening))
    if row is None:
        return exercise, ()
    phase, act = row
    if act == "send" and b.due_since_us is None:
        b = replace(b, due_since_us=0)
    if happening == "taken-back":
        b = replace(b, due_since_us=None)
    exercise = _put(exercise, replace(b, phase=phase))
    if act == "send":
        return exercise, (_send(exercise, b),)
    if act == "quiet":
        return exercise, (FallQuiet(name, b.target, why or happening),)
    return exercise, ()


def _send(exercise: Exercise, b: Played) -> Send:
    limit = micros(exercise.drill.limit_s)
    own = limit if b.plan.sends_at_most_s is None else (b.due_since_us or 0) + micros(b.plan.sends_at_most_s)
    return Send(b.plan.name, b.target, b.due_since_us or 0, min(limit, own))


def _asked(exercise: Exercise, effects: tuple[Effect, ...], name: str, fact: GrantEnded) -> _Stepped:
    """A burial whose signal went asks a person whether it may send again; nothing sends because of a reboot."""
    if exercise.burials[name].phase != "gone" or fact.why == "limit":
        return exercise, effects
    return exercise, (*effects, Write((_may_it_send_again(exercise, name, fact.why, fact.at),)))


def _may_it_send_again(exercise: Exercise, name: str, why: str, at: HostTime) -> QuestionAsked:
    return QuestionAsked(
        exercise.id,
        f"again-{name}-{len(exercise.facts)}",
        f"The signal of {name} is away ({why}). May it send again?",
        name,
        ("send-again", "leave"),
        at,
    )


def _rescored(exercise: Exercise, effects: tuple[Effect, ...], at: HostTime) -> _Stepped:
    """Compare the result with the one before: finds that came, finds that were taken back, the end."""
    before = exercise.result
    result = score(exercise.drill, exercise.facts)
    exercise = replace(exercise, result=result)
    if before is None or exercise.status != "running":
        return exercise, effects
    out = list(effects)
    for name, b in exercise.burials.items():
        was, now = before.burial(name).find is not None, result.burial(name).find is not None
        if now and not was:
            exercise, more = _find_came(exercise, name, b)
            out.extend(more)
        elif was and not now:
            exercise, more = _find_went(exercise, name, at)
            out.extend(more)
    if result.complete and not exercise.ending:
        exercise = replace(exercise, ending=True)
        out.append(Write((ExerciseEnded(exercise.id, "complete", FIELD, at),)))
    elif not exercise.ending and exercise.times is not None:
        since = exercise.times.since_start(at)
        if since is not None:
            exercise, more = _propose_due(exercise, since, at.boot)
            out.extend(more)
    return exercise, tuple(out)


def _find_came(exercise: Exercise, name: str, b: Played) -> _Stepped:
    exercise, effects = _move(exercise, name, "found")
    if exercise.burials[name].phase == "found" and b.plan.after_find == "falls-quiet":
        exercise = _put(exercise, replace(exercise.burials[name], phase="found-quiet"))
        effects = (*effects, FallQuiet(name, b.target, "found"))
    return exercise, effects


def _find_went(exercise: Exercise, name: str, at: HostTime) -> _Stepped:
    """A find was voided: its burial is to be searched for again, and what it had triggered is asked about."""
    b = exercise.burials[name]
    if b.plan.signal.kind == "never":
        return _put(exercise, replace(b, phase="silent")), ()
    if b.phase == "found-quiet" and b.due_since_us is None:
        return _put(exercise, replace(b, phase="waiting")), ()
    exercise, effects = _move(exercise, name, "unfound")
    questions = tuple(
        QuestionAsked(
            exercise.id,
            f"triggered-{other.plan.name}-{len(exercise.facts)}",
            f"The find of {name}, now void, had switched {other.plan.name} on. Let it send on, or take it back?",
            other.plan.name,
            ("keep", "take-back"),
            at,
        )
        for other in exercise.burials.values()
        if other.plan.signal.kind == "after-find"
        and other.plan.signal.after == name
        and other.phase in ("ordered", "sending", "gone")
    )
    return exercise, (*effects, *((Write(questions),) if questions else ()))
