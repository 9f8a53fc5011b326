"""The result of an exercise: a pure function of its facts and corrections, in whatever order they arrived.

A find is what the drill says ends a burial: its hit (a strike taken for a probe) or its call. Nothing is decided inside
a ±: what lies within it is put before a person. Anomalies are listed, never hidden.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from fieldctl.drill.corrections import Amended, amend, strike_id
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import (
    CallMade,
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
from fieldctl.units import TAP_PLUS_MINUS_US, Stamp, TargetId, micros

FindKind = Literal["hit", "call", "by-hand"]
State = Literal["running", "interrupted", "complete", "stopped", "time-up", "all-off", "ledger-failed"]


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the exercise: µs since its start, its own ± (the start's is beside), and the fact it comes from."""

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
    shift_us: int = 0  # how much later than recorded the start counts, by a correction
    start_plus_minus_us: int = 0

    def burial(self, name: str) -> BurialResult:
        """The result of one burial."""
        return next(b for b in self.burials if b.burial == name)

    @property
    def complete(self) -> bool:
        """Whether every burial was found."""
        return all(b.find is not None for b in self.burials)


def score(drill: Drill, facts: Sequence[Fact]) -> Result:
    """The result of the exercise whose facts these are; ValueError unless they hold one `ExerciseStarted`."""
    recorded = timeline(facts)
    amended = amend(drill, facts, recorded)
    by_call = {b.name for b in drill.burials if b.find == "call"}
    times = recorded.shifted(amended.shift_us)
    found = _Found(times, amended, {b.name for b in drill.burials}, by_call, _ended(facts, times))
    started: ExerciseStarted | None = None
    for fact in facts:
        match fact:
            case StrikeRecorded():
                found.strike(fact)
            case CallMade():
                found.call(fact)
            case SplitMade():
                found.split(fact)
            case ExerciseStarted():
                started = fact
    assert started is not None  # its time line was made
    found.judge_late_calls()
    found.by_hand()
    sent = _sent(facts, found.times)
    rows = tuple(_burial_result(b, started, drill, found, sent.get(b.name, [])) for b in drill.burials)
    return Result(
        exercise=started.exercise,
        drill=drill.name,
        state=_state(facts, recorded),
        burials=rows,
        splits=_in_order(found.splits.get(None, [])),
        to_judge=tuple(sorted(found.judge, key=lambda j: (j.at_us is None, j.at_us or 0, j.source, j.why))),
        anomalies=(*found.anomalies, *amended.unusable, *_clock_anomalies(recorded)),
        shift_us=amended.shift_us,
        start_plus_minus_us=recorded.plus_minus_us,
    )


def state_of(facts: Sequence[Fact]) -> State:
    """Where an exercise stands, whatever the order of its facts; the first end counts until it is taken back."""
    return _state(facts, timeline(facts))


_Move = ExerciseEnded | ExerciseReopened | ExerciseInterrupted | ExerciseResumed


def _moves(facts: Iterable[Fact], times: Timeline) -> list[_Move]:
    """What stopped it or let it go on, in its order, whatever the order of the facts."""
    moves = [f for f in facts if isinstance(f, _Move)]
    return sorted(moves, key=lambda f: (times.rank(f.at), type(f).__name__, repr(f)))


def _ended(facts: Iterable[Fact], times: Timeline) -> list[tuple[int, int | None]]:
    """When it had ended, in µs since its start: each end, and until when; None where nobody took it back."""
    ended: list[tuple[int, int | None]] = []
    for fact in _moves(facts, times):
        since = times.since_start(fact.at)
        if since is None:
            continue
        open_end = bool(ended) and ended[-1][1] is None
        if isinstance(fact, ExerciseEnded) and not open_end:
            ended.append((since, None))
        elif isinstance(fact, ExerciseReopened) and open_end:
            ended[-1] = (ended[-1][0], since)
    return ended


def _state(facts: Iterable[Fact], times: Timeline) -> State:
    state: State = "running"
    for fact in _moves(facts, times):
        match fact:
            case ExerciseReopened():
                state = "running"
            case ExerciseEnded(how=how) if state in ("running", "interrupted"):
                state = how  # type: ignore[assignment]
            case ExerciseInterrupted() if state == "running":
                state = "interrupted"
            case ExerciseResumed() if state == "interrupted":
                state = "running"
    return state


UNDATED = "it cannot be dated: the host's clock began anew"


@dataclass(slots=True)
class _Found:
    """What the facts of an exercise come to, gathered one by one."""

    times: Timeline
    amended: Amended
    burials: set[str]
    by_call: set[str]  # of them, those that a call ends
    ended: list[tuple[int, int | None]]  # when it had ended, and until when
    hits: dict[str, list[Moment]] = field(default_factory=dict)
    calls: dict[str, list[tuple[Moment, str]]] = field(default_factory=dict)  # with who called, "" when nobody said
    late_calls: list[tuple[str, tuple[Moment, str], str]] = field(default_factory=list)  # and why a person judges them
    splits: dict[str | None, list[tuple[str, Moment]]] = field(default_factory=dict)
    judge: list[ToJudge] = field(default_factory=list)
    anomalies: list[str] = field(default_factory=list)

    def strike(self, fact: StrikeRecorded) -> None:
        """A strike counts when it is taken for a probe; what is doubtful goes before a person until he has judged."""
        name = strike_id(fact)
        if fact.burial is None or name in self.amended.void or name in self.amended.merged:
            return
        judged = self.amended.judged.get(name)
        kind = judged or fact.taken_for
        if kind not in ("probe", "unsure"):
            return
        since = self.times.since_start(fact.at.at)
        why = self._doubt(fact.at, since)
        # no judgement gives a strike a date, or a place before the start: those want a hit by hand, or another start
        stands = since is not None and fact.burial in self.burials and not self.times.surely_before_start(fact.at)
        counts = kind == "probe" and stands and (why == "" or judged is not None)
        if fact.burial not in self.burials:
            why = f"there is no burial {fact.burial} in this drill"
        elif why == "" and kind == "unsure":
            why = f"unsure: {fact.rule}"
        elif why == "" and fact.late:
            why = "it reached the log long after it happened"
        if why and (judged is None or (kind == "probe" and not stands)):
            self.judge.append(ToJudge(name, fact.burial, since, why))
        if counts and since is not None:
            self.hits.setdefault(fact.burial, []).append(Moment(since, fact.at.plus_minus_us, name))

    def call(self, fact: CallMade) -> None:
        """A call counts for the burial that it was made for, or that a person placed it with."""
        if fact.call in self.amended.void:
            return
        since = self.times.since_start(fact.at.at)
        placed = self.amended.placed.get(fact.call)
        burial = placed or fact.burial
        why = self._doubt(fact.at, since)
        if burial not in self.burials:
            why = "for which burial?"
        elif placed is not None and since is not None and not self.times.surely_before_start(fact.at):
            why = ""
        if why or burial is None or since is None:
            self.judge.append(ToJudge(fact.call, burial, since, why))
            return
        row = Moment(since, fact.at.plus_minus_us, fact.call), fact.searcher or ""
        too_late = self._too_late(fact, since)
        if placed is None and burial in self.by_call and too_late:
            self.late_calls.append((burial, row, too_late))
        else:
            self.calls.setdefault(burial, []).append(row)

    def _too_late(self, fact: CallMade, since: int) -> str:
        """Why no call may end its burial by itself: the exercise had ended, or it is old news."""
        if any(end < since and (until is None or since <= until) for end, until in self.ended):
            return "after the end"
        return "it reached the log long after it happened" if fact.late else ""

    def judge_late_calls(self) -> None:
        """Late calls would end their burials: they are for a person, save where an earlier one has ended it already."""
        for burial, row, why in sorted(self.late_calls, key=lambda late: (late[1][0].at_us, late[1][0].source)):
            moment = row[0]
            if any(earlier.at_us <= moment.at_us for earlier, _ in self.calls.get(burial, [])):
                self.calls[burial].append(row)
            else:
                self.judge.append(ToJudge(moment.source, burial, moment.at_us, why))

    def split(self, fact: SplitMade) -> None:
        """A split counts as it was tapped, unless it is void."""
        if fact.split in self.amended.void:
            return
        since = self.times.since_start(fact.at.at)
        if since is None or (fact.burial is not None and fact.burial not in self.burials):
            why = UNDATED if since is None else f"there is no burial {fact.burial} in this drill"
            self.judge.append(ToJudge(fact.split, fact.burial, since, why))
            return
        moment = Moment(since, fact.at.plus_minus_us, fact.split)
        self.splits.setdefault(fact.burial, []).append((fact.name, moment))

    def by_hand(self) -> None:
        """Hits that no pad reported."""
        for burial, rows in self.amended.by_hand.items():
            moments = [Moment(at_us, TAP_PLUS_MINUS_US, correction) for correction, at_us in rows]
            self.hits.setdefault(burial, []).extend(moments)

    def _doubt(self, stamp: Stamp, since: int | None) -> str:
        if since is None:
            return UNDATED
        if self.times.surely_before_start(stamp):
            return "before the start"
        if abs(since) <= stamp.plus_minus_us + self.times.plus_minus_us:
            return "before or after the start? It lies inside the ±"
        return ""


def _in_order(splits: list[tuple[str, Moment]]) -> tuple[tuple[str, Moment], ...]:
    return tuple(sorted(splits, key=lambda r: (r[1].at_us, r[1].source, r[0])))


@dataclass(frozen=True, slots=True)
class _Sent:
    """One stretch in which a target said that it sends."""

    began_us: int
    plus_minus_us: int
    ended_us: int | None


def _sent(facts: Sequence[Fact], times: Timeline) -> dict[str, list[_Sent]]:
    """The stretches in which each burial's target said that it sends; no end while it still does."""
    ends: dict[int, int] = {}
    for fact in facts:
        if isinstance(fact, SignalOff) and (since := times.since_start(fact.at.at)) is not None:
            ends[fact.grant] = min(since, ends.get(fact.grant, since))
    found: dict[str, list[_Sent]] = {}
    for fact in facts:
        if isinstance(fact, SignalOn) and (since := times.since_start(fact.at.at)) is not None:
            stretch = _Sent(since, fact.at.plus_minus_us, ends.get(fact.grant))
            found.setdefault(fact.burial, []).append(stretch)
    for rows in found.values():
        rows.sort(key=lambda r: (r.began_us, r.ended_us is None, r.ended_us or 0, r.plus_minus_us))
    return found


def _clock_anomalies(times: Timeline) -> list[str]:
    again = len(times.boots) - 1
    if again <= 0:
        return []
    return [f"the host's clock began anew {again} time{'s' if again > 1 else ''}: how long it was away is not known"]


def _burial_result(
    burial: Burial, started: ExerciseStarted, drill: Drill, found: _Found, sent: list[_Sent]
) -> BurialResult:
    name = burial.name
    hits = sorted(found.hits.get(name, []), key=lambda m: (m.at_us, m.source, m.plus_minus_us))
    calls = sorted(found.calls.get(name, []), key=lambda r: (r[0].at_us, r[0].source, r[1]))
    find: Find | None = None
    if burial.find == "hit" and hits:
        by_hand = any(hits[0].source == c for c, _ in found.amended.by_hand.get(name, []))
        find = Find(hits[0], "by-hand" if by_hand else "hit", _searcher(name, "", started, found.amended))
    elif burial.find == "call" and calls:
        moment, searcher = calls[0]
        find = Find(moment, "call", _searcher(name, searcher, started, found.amended))
    if find is not None and burial.signal.kind != "never":
        latest_us = find.moment.at_us + find.moment.plus_minus_us
        if not sent or latest_us < sent[0].began_us - sent[0].plus_minus_us:
            found.anomalies.append(f"{name} was found before its signal was on")
    if len(sent) > 1:
        found.anomalies.append(f"{name}'s signal was away between {len(sent)} stretches of sending")
    return BurialResult(
        burial=name,
        target=started.picks[name],
        sent=tuple((stretch.began_us, stretch.ended_us) for stretch in sent),
        hits=tuple(hits),
        calls=tuple(moment for moment, _ in calls),
        splits=_in_order(found.splits.get(name, [])),
        find=find,
        in_time=_in_time(find, drill.limit_s, found.times.plus_minus_us),
    )


def _searcher(burial: str, said: str, started: ExerciseStarted, amended: Amended) -> str:
    """Whose find it is: given by a person, said with the call, else all who search together."""
    return amended.given.get(burial) or said or " + ".join(started.searchers)


def _in_time(find: Find | None, limit_s: float, start_plus_minus_us: int) -> bool | None:
    if find is None:
        return None
    over_us = find.moment.at_us - micros(limit_s)
    if abs(over_us) <= find.moment.plus_minus_us + start_plus_minus_us:
        return None
    return over_us < 0
