"""What moves a burial: one row of the table at a time, and the questions that go before a person."""

from __future__ import annotations

from dataclasses import replace

from fieldctl.drill.phases import TABLE, Happening
from fieldctl.drill.state import Effect, Exercise, FallQuiet, Played, Send, Stepped, Write
from fieldctl.events import QuestionAsked
from fieldctl.units import HostTime, micros

# Why a grant ended: its own end was planned; after all off, and while it is barred, nothing may be switched on.
NOT_ASKED = ("limit", "all-off", "barred")


def move(exercise: Exercise, name: str, happening: Happening, at: HostTime, why: str = "") -> Stepped:
    """One row of the table for one burial; whatever the table does not list changes nothing."""
    b = exercise.burials[name]
    row = TABLE.get((b.phase, happening))
    if row is None:
        return exercise, ()
    phase, act = row
    if happening == "taken-back":
        b = replace(b, due_since_us=None)
    if act == "send":
        order = send(exercise, b)
        if spent(exercise, order, at):
            return exercise.putting(replace(b, phase="gone")), ()  # never past its hard limit, whoever wants it
        return exercise.putting(replace(b, phase=phase)), (order,)
    if act == "quiet":
        b = replace(b, phase=phase, grant=0, leaving=b.grant or b.leaving)
        return exercise.putting(b), (FallQuiet(name, b.target, why or happening),)
    exercise = exercise.putting(replace(b, phase=phase))
    if act == "ask" and why not in NOT_ASKED:
        what = f"The signal of {name} is away ({why}). May it send again?"
        return ask(exercise, _question(exercise, "again", name, what, ("send-again", "leave"), at))
    return exercise, ()


def move_all(exercise: Exercise, happening: Happening, at: HostTime, why: str) -> Stepped:
    """The same for every burial."""
    effects: list[Effect] = []
    for name in exercise.burials:
        exercise, more = move(exercise, name, happening, at, why)
        effects.extend(more)
    return exercise, tuple(effects)


def send(exercise: Exercise, b: Played) -> Send:
    """The order to send from a burial's moment on, never past its own hard limit or the drill's."""
    limit = micros(exercise.drill.limit_s)
    begins = b.due_since_us or 0
    own = limit if b.plan.sends_at_most_s is None else begins + micros(b.plan.sends_at_most_s)
    return Send(b.plan.name, b.target, begins, min(limit, own))


def spent(exercise: Exercise, order: Send, at: HostTime) -> bool:
    """Whether the last moment at which a burial may send has passed."""
    now = exercise.times.since_start(at) if exercise.times is not None else None
    return now is not None and now >= order.ends_since_us


def found(exercise: Exercise, name: str, at: HostTime) -> Stepped:
    """A find came: the burial keeps sending unless the drill says otherwise."""
    quiet = exercise.burials[name].plan.after_find == "falls-quiet"
    return move(exercise, name, "found-for-good" if quiet else "found", at, "found")


def unfound(exercise: Exercise, name: str, at: HostTime) -> Stepped:
    """A find was voided: its burial is to be searched for again, and what it had triggered is asked about."""
    b = exercise.burials[name]
    happening: Happening = "unfound"
    if b.plan.signal.kind == "never":
        happening = "unfound-silent"
    elif b.due_since_us is None:
        happening = "unfound-unsent"
    exercise, effects = move(exercise, name, happening, at)
    triggered = tuple(
        _question(
            exercise,
            "triggered",
            other.plan.name,
            f"The find of {name}, now void, had switched {other.plan.name} on. Let it send on, or take it back?",
            ("keep", "take-back"),
            at,
        )
        for other in exercise.burials.values()
        if other.plan.signal.kind == "after-find"
        and other.plan.signal.after == name
        and other.phase in ("ordered", "sending", "gone")
    )
    if not triggered:
        return exercise, effects
    exercise, more = ask(exercise, *triggered)
    return exercise, (*effects, *more)


def revive(exercise: Exercise, name: str, at: HostTime) -> Stepped:
    """A person lets the exercise go on: what had begun sends again, what was found only as the drill says."""
    b = exercise.burials[name]
    assert exercise.result is not None  # it had started
    was_found = exercise.result.burial(name).find is not None
    happening: Happening = "again"
    if b.plan.signal.kind == "never":
        happening = "back-silent"
    elif was_found and b.plan.after_find == "falls-quiet":
        happening = "back-quiet"
    elif b.due_since_us is None:
        happening = "back-waiting"
    exercise, effects = move(exercise, name, happening, at)
    if was_found:
        exercise, more = move(exercise, name, "found", at)
        effects = (*effects, *more)
    return exercise, effects


def ask(exercise: Exercise, *questions: QuestionAsked) -> Stepped:
    """Put questions before a person; they count as on their way until they are committed."""
    return replace(exercise, unasked=(*exercise.unasked, *questions)), (Write(questions),)


def _question(
    exercise: Exercise, kind: str, about: str, what: str, choices: tuple[str, ...], at: HostTime
) -> QuestionAsked:
    return QuestionAsked(exercise.id, f"{kind}-{about}-{len(exercise.facts)}", what, about, choices, at)
