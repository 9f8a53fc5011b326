"""Strikes with what they were taken for and what became of them; corrections with who, when and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fieldctl.debrief.model import CorrectionRow, StrikeRow
from fieldctl.debrief.reading import Reading, corrections_of
from fieldctl.debrief.words import Said, clock, said
from fieldctl.drill.corrections import STRIKE_KINDS, in_force, strike_id
from fieldctl.events import CallMade, Corrected, SplitMade, StrikeRecorded
from fieldctl.units import Stamp, micros

_ONE_COUNTS = ("judge", "merge", "place-call", "give", "shift-start")
"""Changes of which the latest about the same counts alone."""


def strikes_of(reading: Reading) -> tuple[StrikeRow, ...]:
    """Every strike of the exercise in order of time; those that cannot be dated last."""
    counted = {m.source for b in reading.result.burials for m in b.hits}
    open_ones = {j.source for j in reading.result.to_judge}
    rows = []
    for fact in reading.facts:
        if not isinstance(fact, StrikeRecorded) or fact.exercise != reading.started.exercise:
            continue
        name = strike_id(fact)
        became = "no-hit"
        if name in reading.amended.void:
            became = "void"
        elif name in reading.amended.merged:
            became = "merged"
        elif name in counted:
            became = "counts"
        elif name in open_ones:
            became = "to-judge"
        rows.append(
            StrikeRow(
                source=name,
                burial=fact.burial,
                target=fact.target,
                at_us=reading.since(fact.at),
                plus_minus_us=fact.at.plus_minus_us,
                taken_for=fact.taken_for,
                rule=fact.rule,
                judged=reading.amended.judged.get(name),
                became=became,
                late=fact.late,
            )
        )
    return tuple(sorted(rows, key=lambda s: (s.at_us is None, s.at_us or 0, s.source)))


def corrections_told(reading: Reading, walls: Mapping[str, str]) -> tuple[CorrectionRow, ...]:
    """Every correction in the order in which it was made; `walls` has a wall label for those that have one."""
    rows = corrections_of(reading)
    counts = _effective(rows, {c.correction for c in in_force(rows, reading.recorded)})
    replaced = _replaced(reading, [c for c in rows if counts[c.correction] and _usable(reading, c)])
    named = _Names(reading, rows)
    told = []
    for c in rows:
        usable = _usable(reading, c)
        at = reading.since(c.at)
        when = walls.get(c.correction) or (said("unknown") if at is None else clock(at))
        text = said("correction", what=named.what(c), by=reading.name(c.by), at=when, why=c.why)
        if not usable:
            text = said("correction.unusable", text=text)
        elif not counts[c.correction]:
            text = said("correction.undone", text=text)
        elif c.correction in replaced:
            text = said("correction.replaced", text=text)
        value = "" if c.value is None else str(c.value)
        told.append(
            CorrectionRow(
                c.correction, c.change, c.about, value, reading.name(c.by), c.why, at,
                walls.get(c.correction), counts[c.correction] and usable and c.correction not in replaced, usable,
                text, c.correction in replaced,
            )
        )  # fmt: skip
    return tuple(told)


def _usable(reading: Reading, c: Corrected) -> bool:
    return not any(text.startswith(f"correction {c.correction} ") for text in reading.amended.unusable)


def _replaced(reading: Reading, counting: Sequence[Corrected]) -> set[str]:
    """Which of those that count a later one replaced: another word about the same, or another shift of the start."""
    last: dict[tuple[str, str], str] = {}
    for c in counting:
        if c.change in _ONE_COUNTS:
            last[c.change, "" if c.change == "shift-start" else c.about] = c.correction
    merged = reading.amended.merged
    return {
        c.correction
        for c in counting
        if c.change in _ONE_COUNTS
        and (c.correction not in last.values() or (c.change == "merge" and merged.get(c.about) != c.value))
    }


def _effective(rows: Sequence[Corrected], others: set[str]) -> dict[str, bool]:
    """Which corrections count: an undo too, unless it is undone; undos in a ring count for nothing."""
    undoes = {c.correction: c.about for c in rows if c.change == "undo"}
    counting: dict[str, bool] = {}
    while ready := [u for u in undoes if u not in counting and all(v in counting for v in undoes if undoes[v] == u)]:
        for undo in ready:
            counting[undo] = not any(counting[v] for v in undoes if undoes[v] == undo)
    return {c.correction: counting.get(c.correction, c.correction in others) for c in rows}


class _Names:
    """What corrections are about, in words."""

    def __init__(self, reading: Reading, rows: Sequence[Corrected]) -> None:
        self._reading = reading
        self._named: dict[str, Said] = {}
        for fact in reading.facts:
            match fact:
                case StrikeRecorded(exercise=str()):
                    at = self._clock(fact.at)
                    self._named[strike_id(fact)] = said("strike.named", burial=fact.burial or "?", at=at)
                case CallMade():
                    self._named[fact.call] = said("call.named", at=self._clock(fact.at))
                case SplitMade():
                    self._named[fact.split] = said("split.named", name=fact.name, at=self._clock(fact.at))
        self._rows = {c.correction: c for c in rows}

    def _clock(self, at: Stamp) -> str | Said:
        since = self._reading.since(at)
        return said("unknown") if since is None else clock(since)

    def what(self, c: Corrected, deep: int = 0) -> Said:
        """What a correction does, in words."""
        about: str | Said = self._named.get(c.about, c.about)
        if c.change == "undo" and c.about in self._rows and deep < 4:
            about = said("quoted", text=self.what(self._rows[c.about], deep + 1))
        value: str | Said = "" if c.value is None else str(c.value)
        match c.change, c.value:
            case "judge", str(kind) if kind in STRIKE_KINDS:
                value = said(f"taken.{kind}")
            case "merge", str(other):
                value = self._named.get(other, other)
            case "add-hit", int(at_s) | float(at_s) if abs(at_s) < 1e9:
                value = clock(micros(at_s))
            case "give", str(who):
                value = self._reading.name(who)
        known = c.change in ("void", "judge", "merge", "add-hit", "place-call", "give", "shift-start", "undo")
        if not known:
            return said("change.other", change=c.change, about=about)
        return said(f"change.{c.change}", about=about, value=value)
