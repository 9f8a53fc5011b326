"""The result of an exercise: a pure function of its facts and corrections, in whatever order they arrived.

A find is what the drill says ends a burial: its hit (a strike taken for a probe) or its call. Nothing is decided inside
a ±: what lies within it is put before a person. Anomalies are listed, never hidden.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fieldctl.drill.corrections import in_force, strike_id
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import (
    CallMade,
    Corrected,
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    ExerciseStarted,
    Fact,
    SignalOff,
    SignalOn,
    SplitMade,
    StrikeRecorded,
)
from fieldctl.units import TAP_PLUS_MINUS_US, HostTime, TargetId, micros

FindKind = Literal["hit", "call", "by-hand"]
State = Literal["running", "interrupted", "complete", "stopped", "time-up", "all-off", "ledger-failed"]


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the exercise: µs since its start with its ±, and the id of the fact that it comes from."""

    at_us: int
    plus_minus_us: int
    source: str


@dataclass(frozen=True, slots=True)
class Find:
    """What ended a burial."""

    moment: Moment
    kind: FindKind
    searcher: str


@dataclass(frozen=True, slots=True)
class ToJudge:
    """A strike or call that a person has to look at, and why."""

    source: str
    burial: str | None
    at_us: int | None
    why: str


@dataclass(frozen=True, slots=True)
class BurialResult:
    """What became of one burial; `sent` are the intervals in which its target said that it sends."""

    burial: str
    target: TargetId
    sent: tuple[tuple[int, int | None], ...]
    hits: tuple[Moment, ...]
    calls: tuple[Moment, ...]
    splits: tuple[tuple[str, Moment], ...]
    find: Find | None
    in_time: bool | None  # within the drill's limit; None: not found, or inside the ±


@dataclass(frozen=True, slots=True)
class Result:
    """The result of one exercise."""

    exercise: str
    drill: str
    state: State
    burials: tuple[BurialResult, ...]
    splits: tuple[tuple[str, Moment], ...]
    to_judge: tuple[ToJudge, ...]
    anomalies: tuple[str, ...]

    def burial(self, name: str) -> BurialResult:
        """The result of one burial."""
        return next(b for b in self.burials if b.burial == name)

    @property
    def complete(self) -> bool:
        """Whether every burial was found."""
        return all(b.find is not None for b in self.burials)


@dataclass(slots=True)
class _Amended:
    """The corrections in force, by what they are about."""

    void: set[str]
    judged: dict[str, str]
    merged: set[str]
    by_hand: dict[str, list[tuple[str, float]]]
    placed: dict[str, str]
    given: dict[str, str]
    shift_us: int


def _amend(corrections: Iterable[Corrected], boots: Mapping[str, int]) -> _Amended:
    out = _Amended(set(), {}, set(), {}, {}, {}, 0)
    for c in in_force(corrections, boots):
        match c.change:
            case "void":
                out.void.add(c.about)
            case "judge":
                out.judged[c.about] = str(c.value)
            case "merge":
                out.merged.add(c.about)
            case "add-hit":
                out.by_hand.setdefault(c.about, []).append((c.correction, float(c.value or 0)))
            case "place-call":
                out.placed[c.about] = str(c.value)
            case "give":
                out.given[c.about] = str(c.value)
            case "shift-start":
                out.shift_us += micros(float(c.value or 0))
    return out


def score(drill: Drill, facts: Sequence[Fact]) -> Result:
    """The result of the exercise whose facts these are; ValueError without its `ExerciseStarted`."""
    started = next((f for f in facts if isinstance(f, ExerciseStarted)), None)
    if started is None:
        raise ValueError("these facts hold no start of an exercise")
    amended = _amend([f for f in facts if isinstance(f, Corrected)], _boot_order(facts))
    times = timeline(facts).shifted(amended.shift_us)
    judge: list[ToJudge] = []
    anomalies: list[str] = []
    hits = _hits(facts, times, amended, judge)
    calls = _calls(facts, times, amended, judge)
    splits = _splits(facts, times, amended)
    sent = _sent(facts, times)
    rows = tuple(
        _burial_result(b, started, drill, amended, hits, calls, splits, sent.get(b.name, []), anomalies)
        for b in drill.burials
    )
    return Result(
        exercise=started.exercise,
        drill=drill.name,
        state=state_of(facts),
        burials=rows,
        splits=tuple(splits.get(None, [])),
        to_judge=tuple(sorted(judge, key=lambda j: (j.at_us is None, j.at_us or 0, j.source))),
        anomalies=tuple(anomalies),
    )


def state_of(facts: Iterable[Fact]) -> State:
    """Where an exercise stands by its last fact of that sort (they carry host moments, so order does not matter)."""
    kinds = ExerciseStarted | ExerciseEnded | ExerciseReopened | ExerciseInterrupted | ExerciseResumed
    moves = [f for f in facts if isinstance(f, kinds)]
    boots = _boot_order(moves)
    state: State = "running"
    for fact in sorted(moves, key=lambda f: _moment_of(f, boots)):
        match fact:
            case ExerciseEnded(how=how):
                state = how  # type: ignore[assignment]
            case ExerciseInterrupted():
                state = "interrupted"
            case _:
                state = "running"
    return state


def _at(fact: Fact) -> HostTime:
    at = fact.start if isinstance(fact, ExerciseStarted) else fact.at  # type: ignore[attr-defined]
    return at if isinstance(at, HostTime) else at.at


def _boot_order(moves: Sequence[Fact]) -> Mapping[str, int]:
    """Host boots in the order in which the exercise went through them."""
    order: dict[str, int] = {}
    for fact in moves:
        if isinstance(fact, ExerciseStarted):
            order[fact.start.at.boot] = 0
    links = [(f.last_known.boot, f.at.boot) for f in moves if isinstance(f, ExerciseInterrupted)]
    for _ in links:
        for before, after in links:
            if before in order and after not in order:
                order[after] = order[before] + 1
    return order


def _moment_of(fact: Fact, boots: Mapping[str, int]) -> tuple[int, int, int]:
    at = _at(fact)
    # the start lies a little ahead of its own entry; nothing of its exercise comes before it
    return (boots.get(at.boot, len(boots)), 0 if isinstance(fact, ExerciseStarted) else 1, at.us)


_Hits = dict[str, list[Moment]]


def _hits(facts: Sequence[Fact], times: Timeline, amended: _Amended, judge: list[ToJudge]) -> _Hits:
    found: _Hits = {}
    for fact in facts:
        if not isinstance(fact, StrikeRecorded) or fact.burial is None:
            continue
        name = strike_id(fact)
        if name in amended.void or name in amended.merged:
            continue
        since = times.since_start(fact.at.at)
        kind = amended.judged.get(name, fact.taken_for)
        if since is None:
            judge.append(ToJudge(name, fact.burial, None, "it cannot be dated: the host's clock began anew"))
            continue
        if times.surely_before_start(fact.at):
            judge.append(ToJudge(name, fact.burial, since, "before the start"))
            continue
        if name not in amended.judged and abs(since) <= fact.at.plus_minus_us + times.plus_minus_us:
            judge.append(ToJudge(name, fact.burial, since, "before or after the start? It lies inside the ±"))
            continue
        if name not in amended.judged and kind == "unsure":
            judge.append(ToJudge(name, fact.burial, since, f"unsure: {fact.rule}"))
        if name not in amended.judged and kind == "probe" and fact.late:
            judge.append(ToJudge(name, fact.burial, since, "it reached the log long after it happened"))
        if kind == "probe":
            found.setdefault(fact.burial, []).append(Moment(since, fact.at.plus_minus_us, name))
    for burial, rows in amended.by_hand.items():
        for correction, at_s in rows:
            found.setdefault(burial, []).append(Moment(micros(at_s), TAP_PLUS_MINUS_US, correction))
    return {burial: sorted(rows, key=lambda m: (m.at_us, m.source)) for burial, rows in found.items()}


_Calls = dict[str, list[tuple[Moment, str | None]]]


def _calls(facts: Sequence[Fact], times: Timeline, amended: _Amended, judge: list[ToJudge]) -> _Calls:
    found: _Calls = {}
    for fact in facts:
        if not isinstance(fact, CallMade) or fact.call in amended.void:
            continue
        since = times.since_start(fact.at.at)
        burial = amended.placed.get(fact.call, fact.burial)
        if burial is None or since is None:
            why = "for which burial?" if burial is None else "it cannot be dated: the host's clock began anew"
            judge.append(ToJudge(fact.call, burial, since, why))
            continue
        found.setdefault(burial, []).append((Moment(since, fact.at.plus_minus_us, fact.call), fact.searcher))
    return {burial: sorted(rows, key=lambda r: (r[0].at_us, r[0].source)) for burial, rows in found.items()}


_Splits = dict[str | None, list[tuple[str, Moment]]]


def _splits(facts: Sequence[Fact], times: Timeline, amended: _Amended) -> _Splits:
    found: _Splits = {}
    for fact in facts:
        if isinstance(fact, SplitMade) and fact.split not in amended.void:
            since = times.since_start(fact.at.at)
            if since is not None:
                moment = Moment(since, fact.at.plus_minus_us, fact.split)
                found.setdefault(fact.burial, []).append((fact.name, moment))
    return {burial: sorted(rows, key=lambda r: (r[1].at_us, r[1].source)) for burial, rows in found.items()}


def _sent(facts: Sequence[Fact], times: Timeline) -> dict[str, list[tuple[int, int | None]]]:
    """Intervals in which each burial's target said that it sends; None while it still does."""
    ends = {f.grant: times.since_start(f.at.at) for f in facts if isinstance(f, SignalOff)}
    found: dict[str, list[tuple[int, int | None]]] = {}
    for fact in facts:
        if isinstance(fact, SignalOn):
            since = times.since_start(fact.at.at)
            if since is not None:
                found.setdefault(fact.burial, []).append((since, ends.get(fact.grant)))
    return {burial: sorted(rows, key=lambda r: r[0]) for burial, rows in found.items()}


def _burial_result(
    burial: Burial,
    started: ExerciseStarted,
    drill: Drill,
    amended: _Amended,
    hits: _Hits,
    calls: _Calls,
    splits: _Splits,
    sent: list[tuple[int, int | None]],
    anomalies: list[str],
) -> BurialResult:
    name = burial.name
    own_hits = hits.get(name, [])
    own_calls = calls.get(name, [])
    find: Find | None = None
    if burial.find == "hit" and own_hits:
        first = own_hits[0]
        by_hand = any(first.source == c for c, _ in amended.by_hand.get(name, []))
        find = Find(first, "by-hand" if by_hand else "hit", _searcher(name, None, started, amended))
    elif burial.find == "call" and own_calls:
        moment, searcher = own_calls[0]
        find = Find(moment, "call", _searcher(name, searcher, started, amended))
    if find is not None and burial.signal.kind != "never":
        before = not sent or find.moment.at_us + find.moment.plus_minus_us < sent[0][0]
        if before:
            anomalies.append(f"{name} was found before its signal was on")
    if len(sent) > 1:
        anomalies.append(f"{name}'s signal was away between {len(sent)} stretches of sending")
    return BurialResult(
        burial=name,
        target=started.picks[name],
        sent=tuple(sent),
        hits=tuple(own_hits),
        calls=tuple(moment for moment, _ in own_calls),
        splits=tuple(splits.get(name, [])),
        find=find,
        in_time=_in_time(find, drill.limit_s),
    )


def _searcher(burial: str, said: str | None, started: ExerciseStarted, amended: _Amended) -> str:
    """Whose find it is: given by a person, said with the call, else all who search together."""
    return amended.given.get(burial) or said or " + ".join(started.searchers)


def _in_time(find: Find | None, limit_s: float) -> bool | None:
    if find is None:
        return None
    over_us = find.moment.at_us - micros(limit_s)
    if abs(over_us) <= find.moment.plus_minus_us:
        return None
    return over_us < 0
