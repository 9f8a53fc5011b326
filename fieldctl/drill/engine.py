"""What happens next in an exercise: a pure step over the table in `phases`; every transition follows a committed fact.

`step(exercise, event) -> (exercise, effects)`. Only facts move it; the clock merely proposes facts. So a restarted
controller folds the same facts and stands where it stood. Effects are wishes to the shell:

    Write       commit these facts, then give them back as `Committed`
    Send        let a burial's target send from a moment on, under a new grant
    FallQuiet   end what a burial's target is granted

state.py    events, effects, Exercise          moves.py    one row of the table, finds that come and go, questions
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fieldctl.drill.moves import found, move, move_all, revive, send, spent, unfound
from fieldctl.drill.phases import Happening
from fieldctl.drill.plan import Drill
from fieldctl.drill.score import score, state_of
from fieldctl.drill.state import (
    Clock,
    Committed,
    Effect,
    Event,
    Exercise,
    FallQuiet,
    Played,
    Send,
    Stepped,
    Write,
)
from fieldctl.drill.timeline import timeline
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
    SplitMade,
    StrikeRecorded,
)
from fieldctl.units import HostTime, micros

__all__ = [
    "LEAD_US",
    "Clock",
    "Committed",
    "Effect",
    "Event",
    "Exercise",
    "FallQuiet",
    "Played",
    "Send",
    "Write",
    "after_restart",
    "new_exercise",
    "next_due",
    "step",
]

LEAD_US = 400_000  # an order needs to arrive before its moment: one ring, one resend and a margin


def new_exercise(drill: Drill, exercise: str) -> Exercise:
    """An exercise before its `ExerciseStarted` is committed."""
    return Exercise(exercise, drill)


def step(exercise: Exercise, event: Event) -> Stepped:
    """The exercise after an event, and what the shell has to do about it; facts of other exercises change nothing."""
    if isinstance(event, Clock):
        return _clock(exercise, HostTime(event.boot, event.now))
    fact = event.fact
    if isinstance(fact, GrantEnded):  # a grant is the target's business: its end names no exercise
        return _grant_ended(exercise, fact)
    if getattr(fact, "exercise", None) != exercise.id:
        return exercise, ()
    exercise = replace(exercise, facts=(*exercise.facts, fact))
    handler = _HANDLERS.get(type(fact))
    return handler(exercise, fact) if handler is not None else (exercise, ())


def next_due(exercise: Exercise) -> int | None:
    """When the clock matters next, in µs of the exercise's own clock; None when it never does."""
    if exercise.status != "running" or exercise.ending or exercise.result is None:
        return None
    if exercise.result.complete:
        return 0
    dues = [
        due[0] - LEAD_US
        for b in exercise.burials.values()
        if b.phase == "waiting" and not b.proposed and (due := _due_of(exercise, b)) is not None
    ]
    return min([micros(exercise.drill.limit_s), *dues])


def after_restart(exercise: Exercise, at: HostTime) -> Stepped:
    """The exercise after its facts were folded anew, and the effects of the life before that nothing tells of.

    What was proposed is proposed again, what was to fall quiet is told again, and a moment that had been fixed but for
    which no grant was committed is ordered. A long gap is to be committed as an interruption before.
    """
    burials = {name: replace(b, proposed=False) for name, b in exercise.burials.items()}
    exercise = replace(exercise, burials=burials, ending=False)
    effects: list[Effect] = [
        FallQuiet(name, b.target, "found" if b.phase == "found-quiet" else "stopped")
        for name, b in burials.items()
        if b.leaving
    ]
    if exercise.status != "running":
        return exercise, tuple(effects)
    if exercise.unasked:
        effects.append(Write(exercise.unasked))
    orders = [send(exercise, b) for b in burials.values() if b.phase in _WANT_A_GRANT and not b.grant]
    return exercise, (*effects, *(order for order in orders if not spent(exercise, order, at)))


# ---- the clock proposes -------------------------------------------------------------------------------------


def _clock(exercise: Exercise, here: HostTime) -> Stepped:
    if exercise.status != "running" or exercise.ending or exercise.times is None or exercise.result is None:
        return exercise, ()
    now = exercise.times.since_start(here)
    if now is None:
        return exercise, ()
    if exercise.result.complete or now >= micros(exercise.drill.limit_s):
        how = "complete" if exercise.result.complete else "time-up"
        return replace(exercise, ending=True), (Write((ExerciseEnded(exercise.id, how, FIELD, here),)),)
    return _propose_due(exercise, here)


def _propose_due(exercise: Exercise, here: HostTime) -> Stepped:
    """Propose the moment of every waiting burial that falls due within the lead."""
    now = exercise.times.since_start(here) if exercise.times is not None else None
    if now is None:
        return exercise, ()
    facts: list[Fact] = []
    for name, b in exercise.burials.items():
        due = _due_of(exercise, b)
        if b.phase == "waiting" and not b.proposed and due is not None and due[0] - LEAD_US <= now:
            exercise = exercise.putting(replace(b, proposed=True))
            facts.append(SignalDue(exercise.id, name, here.plus(due[0] - now), due[1]))
    return exercise, ((Write(tuple(facts)),) if facts else ())


def _due_of(exercise: Exercise, b: Played) -> tuple[int, str] | None:
    """When a burial's signal is due on the exercise's clock, and because of what."""
    signal = b.plan.signal
    delay = micros(signal.delay_s)
    match signal.kind:
        case "start":
            return 0, "start"
        case "delay":
            return delay, f"{signal.delay_s:g} s after the start"
        case "after-find" if exercise.result is not None and signal.after is not None:
            find = exercise.result.burial(signal.after).find
            if find is None:
                return None
            return find.moment.at_us + exercise.result.shift_us + delay, f"find of {signal.after}"
        case _:
            return None


# ---- facts move ---------------------------------------------------------------------------------------------


def _started(exercise: Exercise, fact: ExerciseStarted) -> Stepped:
    burials = {
        b.name: Played(b, fact.picks[b.name], "silent" if b.signal.kind == "never" else "waiting")
        for b in exercise.drill.burials
    }
    result = score(exercise.drill, exercise.facts)
    exercise = replace(exercise, burials=burials, times=timeline(exercise.facts), result=result)
    return _propose_due(exercise, fact.start.at)


def _due(exercise: Exercise, fact: SignalDue) -> Stepped:
    b = replace(exercise.burials[fact.burial], proposed=False)
    exercise = exercise.putting(b)
    if exercise.times is None or _due_of(exercise, b) is None:
        return exercise, ()  # the find that it followed was voided while this was on its way
    exercise = exercise.putting(replace(b, due_since_us=exercise.times.since_start(fact.at)))
    return move(exercise, fact.burial, "due", fact.at)


_WANT_A_GRANT = ("ordered", "found-early")


def _granted(exercise: Exercise, fact: GrantGiven) -> Stepped:
    b = exercise.burials.get(fact.burial or "")
    if b is None:
        return exercise, ()
    if b.phase in _WANT_A_GRANT:
        return exercise.putting(replace(b, grant=fact.grant)), ()
    # committed while it was being taken back: nobody wants it any more
    exercise = exercise.putting(replace(b, leaving=fact.grant))
    return exercise, (FallQuiet(b.plan.name, b.target, "stopped"),)


def _began(exercise: Exercise, fact: SignalOn) -> Stepped:
    effects: tuple[Effect, ...] = ()
    if exercise.burials[fact.burial].grant == fact.grant:
        exercise, effects = move(exercise, fact.burial, "began", fact.at.at)
    return _rescored(exercise, effects, fact.at.at)


def _grant_ended(exercise: Exercise, fact: GrantEnded) -> Stepped:
    if not fact.grant:
        return exercise, ()  # 0 means none, here and in every burial that holds none
    for name, b in exercise.burials.items():
        if fact.grant == b.leaving:
            return exercise.putting(replace(b, leaving=0)), ()
        if fact.grant == b.grant:
            happening: Happening = "not-begun" if fact.why in ("late", "lost") else "went"
            return move(exercise.putting(replace(b, grant=0)), name, happening, fact.at, fact.why)
    return exercise, ()


def _happened(exercise: Exercise, fact: SignalOff | StrikeRecorded | CallMade | SplitMade) -> Stepped:
    return _rescored(exercise, (), fact.at.at)


def _corrected(exercise: Exercise, fact: Corrected) -> Stepped:
    return _rescored(exercise, (), fact.at)


def _question(exercise: Exercise, fact: QuestionAsked) -> Stepped:
    unasked = tuple(q for q in exercise.unasked if q.question != fact.question)
    asked = exercise.asked | {fact.question} if exercise.status == "running" else exercise.asked
    return replace(exercise, asked=asked, unasked=unasked), ()


def _answered(exercise: Exercise, fact: QuestionAnswered) -> Stepped:
    question = next((f for f in exercise.facts if isinstance(f, QuestionAsked) and f.question == fact.question), None)
    if question is None or fact.question not in exercise.asked:
        return exercise, ()  # answered before, or the exercise has ended meanwhile
    exercise = replace(exercise, asked=exercise.asked - {fact.question})
    if fact.answer == "send-again":
        return move(exercise, question.about, "again", fact.at)
    if fact.answer == "take-back":
        return move(exercise, question.about, "taken-back", fact.at)
    return exercise, ()


def _stopped(exercise: Exercise, fact: ExerciseEnded | ExerciseInterrupted) -> Stepped:
    """It ended or was interrupted: everything falls quiet, and no question is open any more."""
    exercise = replace(exercise, status=state_of(exercise.facts), ending=False)
    if exercise.status == "running":
        return _rescored(exercise, (), fact.at)
    exercise, effects = move_all(exercise, "over", fact.at, exercise.status)
    return _rescored(replace(exercise, asked=frozenset(), unasked=()), effects, fact.at)


def _goes_on(exercise: Exercise, fact: ExerciseResumed | ExerciseReopened) -> Stepped:
    """A person lets it go on, or a short gap is over (then nothing had been switched off)."""
    exercise = replace(exercise, status=state_of(exercise.facts), ending=False, times=timeline(exercise.facts))
    exercise = replace(exercise, result=score(exercise.drill, exercise.facts))
    effects: list[Effect] = []
    for name, b in exercise.burials.items():
        if exercise.status == "running" and b.phase == "over":
            exercise, more = revive(exercise.putting(replace(b, proposed=False)), name, fact.at)
            effects.extend(more)
    return _rescored(exercise, tuple(effects), fact.at)


_HANDLERS: dict[type[Fact], Callable[[Exercise, Any], Stepped]] = {
    ExerciseStarted: _started,
    SignalDue: _due,
    GrantGiven: _granted,
    SignalOn: _began,
    SignalOff: _happened,
    StrikeRecorded: _happened,
    CallMade: _happened,
    SplitMade: _happened,
    Corrected: _corrected,
    QuestionAsked: _question,
    QuestionAnswered: _answered,
    ExerciseEnded: _stopped,
    ExerciseInterrupted: _stopped,
    ExerciseResumed: _goes_on,
    ExerciseReopened: _goes_on,
}


def _rescored(exercise: Exercise, effects: tuple[Effect, ...], at: HostTime) -> Stepped:
    """Compare the result with the one before: finds that came, finds that were taken back, what falls due by them."""
    before = exercise.result
    result = score(exercise.drill, exercise.facts)
    exercise = replace(exercise, result=result)
    if before is None or exercise.status != "running":
        return exercise, effects
    for name in exercise.burials:
        was, now = before.burial(name).find is not None, result.burial(name).find is not None
        if was != now:
            exercise, more = found(exercise, name, at) if now else unfound(exercise, name, at)
            effects = (*effects, *more)
    exercise, more = _propose_due(exercise, at)
    return exercise, (*effects, *more)
