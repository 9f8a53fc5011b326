"""What a correction may say, and which are in force: a later entry amends an earlier one, and can be undone.

    change        about                 value                 effect
    void          strike, call, split   -                     it does not count
    judge         strike                a kind of strike      it is taken for that
    merge         strike                another strike        it is the same strike as the other: does not count
    add-hit       burial                seconds since start   a hit that no pad reported, entered by hand
    place-call    call                  burial                the call was for that burial
    give          burial                searcher              the find is that searcher's
    shift-start   exercise              seconds               the clock began so much later (negative: earlier)
    undo          correction            -                     that correction is not in force

Which ones are in force does not depend on the order in which they arrived: of two that say different things about the
same, the one ordered later counts (a second shift of the start replaces the first; hits by hand add up). A hit by hand
is of the clock as it was when it was entered: a later shift of the start moves it as it moves everything else. What
cannot be used is never used in part: it is listed with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import isfinite

from fieldctl.drill.plan import Drill
from fieldctl.drill.timeline import Timeline
from fieldctl.events import CallMade, Corrected, Fact, SplitMade, StrikeRecorded
from fieldctl.units import micros

CHANGES: dict[str, str] = {
    "void": "strike, call or split",
    "judge": "strike",
    "merge": "strike",
    "add-hit": "burial",
    "place-call": "call",
    "give": "burial",
    "shift-start": "exercise",
    "undo": "correction",
}
"""Every change with what it is about."""

STRIKE_KINDS = ("probe", "step", "vehicle", "unsure")


def strike_id(strike: StrikeRecorded) -> str:
    """The name of a strike: target, boot and number, which never repeat together."""
    return f"{strike.target}-{strike.boot}-{strike.number}"


def next_nth(facts: Iterable[Fact]) -> int:
    """The number that the next correction of this exercise carries, so that it counts as later than all before."""
    return 1 + max((f.nth for f in facts if isinstance(f, Corrected)), default=0)


def in_force(corrections: Iterable[Corrected], times: Timeline) -> list[Corrected]:
    """The corrections that count, in the order in which they were made; an undone one does not count.

    An undone undo counts for nothing, so what it undid is in force again; undos that undo each other in a ring count
    for nothing either.
    """
    rows = sorted(corrections, key=lambda c: _place(c, times))
    undoes = {row.correction: row.about for row in rows if row.change == "undo"}
    open_undoes = dict.fromkeys(undoes.values(), 0)
    for about in undoes.values():
        open_undoes[about] += 1
    undone: set[str] = set()
    decided = [undo for undo in undoes if not open_undoes.get(undo)]
    while decided:  # from the last undo back to what it is about
        undo = decided.pop()
        about = undoes[undo]
        open_undoes[about] -= 1
        if undo not in undone:
            undone.add(about)
        if about in undoes and not open_undoes[about]:
            decided.append(about)
    return [row for row in rows if row.change != "undo" and row.correction not in undone]


def fault_of(change: str, value: str | int | float | None) -> str | None:
    """What is wrong with a correction's form, in words; None when it can be used."""
    if change not in CHANGES:
        return f"there is no change {change!r}; there are {', '.join(CHANGES)}"
    if change == "judge" and value not in STRIKE_KINDS:
        return f"a strike is taken for one of {', '.join(STRIKE_KINDS)}, not {value!r}"
    if change in ("add-hit", "shift-start") and not (isinstance(value, int | float) and isfinite(value)):
        return f"{change} needs a number of seconds, not {value!r}"
    if change in ("merge", "place-call", "give") and not isinstance(value, str):
        return f"{change} needs a name, not {value!r}"
    return None


@dataclass(slots=True)
class Amended:
    """What the corrections in force say, by what they are about."""

    void: set[str] = field(default_factory=set)
    judged: dict[str, str] = field(default_factory=dict)
    merged: dict[str, str] = field(default_factory=dict)
    by_hand: dict[str, list[tuple[str, int]]] = field(default_factory=dict)  # burial -> (correction, µs since start)
    placed: dict[str, str] = field(default_factory=dict)
    given: dict[str, str] = field(default_factory=dict)
    shift_us: int = 0
    unusable: list[str] = field(default_factory=list)


def amend(drill: Drill, facts: Sequence[Fact], times: Timeline) -> Amended:
    """What the corrections among an exercise's facts say about the others."""
    out = Amended()
    corrections = [f for f in facts if isinstance(f, Corrected)]
    if not corrections:
        return out
    names = _Names(drill, facts)
    for c in corrections:
        if c.change == "undo" and c.about not in names.corrections:
            out.unusable.append(f"correction {c.correction} undoes {c.about}, which is not in this exercise")
    for c in in_force(corrections, times):
        fault = fault_of(c.change, c.value) or names.fault_of(c)
        if fault is not None:
            out.unusable.append(f"correction {c.correction} cannot be used: {fault}")
            continue
        _take(out, c)
    _to_the_clock_that_counts(out, corrections, times)
    out.unusable.sort()
    return out


def _to_the_clock_that_counts(out: Amended, corrections: Sequence[Corrected], times: Timeline) -> None:
    """Move each hit by hand by what the start was shifted since it was entered."""
    if not any(c.change == "shift-start" for c in corrections):
        return
    rows = sorted(corrections, key=lambda c: _place(c, times))
    by_hand = {name for hits in out.by_hand.values() for name, _ in hits}
    then = {
        c.correction: _shift_us(in_force(rows[:index], times))
        for index, c in enumerate(rows)
        if c.correction in by_hand
    }
    for burial, hits in out.by_hand.items():
        out.by_hand[burial] = [(name, at_us + then[name] - out.shift_us) for name, at_us in hits]


def _shift_us(counting: Iterable[Corrected]) -> int:
    """By how much the start is shifted under these corrections."""
    shift_us = 0
    for c in counting:
        if c.change == "shift-start" and isinstance(c.value, int | float) and fault_of(c.change, c.value) is None:
            shift_us = micros(c.value)
    return shift_us


def _place(c: Corrected, times: Timeline) -> tuple[int, tuple[int, int], str]:
    """Where a correction stands among the others, in the order in which they were made."""
    return c.nth, times.rank(c.at), c.correction


def _take(out: Amended, c: Corrected) -> None:
    match c.change, c.value:
        case "void", _:
            out.void.add(c.about)
        case "judge", str(kind):
            out.judged[c.about] = kind
        case "merge", str(other):
            _merge(out.merged, c.about, other)
        case "add-hit", int(at_s) | float(at_s):
            out.by_hand.setdefault(c.about, []).append((c.correction, micros(at_s)))
        case "place-call", str(burial):
            out.placed[c.about] = burial
        case "give", str(searcher):
            out.given[c.about] = searcher
        case "shift-start", int(by_s) | float(by_s):
            out.shift_us = micros(by_s)


def _merge(merged: dict[str, str], strike: str, other: str) -> None:
    """`strike` is the same as `other`, which stays: had the other been merged back into it, that no longer holds."""
    last = other
    while last in merged and last != strike:
        last = merged[last]
    if last == strike:
        merged.pop(other, None)
    if other != strike:
        merged[strike] = other


class _Names:
    """What there is in an exercise that a correction can be about."""

    def __init__(self, drill: Drill, facts: Sequence[Fact]) -> None:
        self.burials = {b.name for b in drill.burials}
        self.strikes = {strike_id(f) for f in facts if isinstance(f, StrikeRecorded)}
        self.calls = {f.call for f in facts if isinstance(f, CallMade)}
        self.splits = {f.split for f in facts if isinstance(f, SplitMade)}
        self.corrections = {f.correction for f in facts if isinstance(f, Corrected)}

    def fault_of(self, c: Corrected) -> str | None:
        """What a correction names that is not there; None when all is."""
        known = {
            "void": self.strikes | self.calls | self.splits,
            "judge": self.strikes,
            "merge": self.strikes,
            "add-hit": self.burials,
            "place-call": self.calls,
            "give": self.burials,
        }.get(c.change)
        if known is not None and c.about not in known:
            return f"{c.about} is no {CHANGES[c.change]} of this exercise"
        if c.change == "merge" and c.value not in self.strikes:
            return f"{c.value} is no strike of this exercise"
        if c.change == "place-call" and c.value not in self.burials:
            return f"{c.value} is no burial of this drill"
        return None
