"""Touched but not noticed, called but not touched: what the pad felt against what was called, in seconds."""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.debrief.model import Mark, Touch
from fieldctl.debrief.reading import Reading
from fieldctl.debrief.words import Said, clock, length, said
from fieldctl.drill.plan import Burial
from fieldctl.events import CallMade, Corrected
from fieldctl.units import US_PER_S

SPEAK_US = 3 * US_PER_S  # who feels a touch needs a moment to say so: our own; shorter gaps are named, not reproached


def touches_of(reading: Reading, burial: Burial, marks: Sequence[Mark]) -> tuple[Touch, ...]:
    """What is to be said of touching and noticing one burial, in the order of time."""
    hits = [m for m in marks if m.name == "hit"]
    calls = [m for m in marks if m.name == "call"]
    name = burial.name
    rows: list[Touch] = []
    if not hits:
        full = _in_full(calls)
        return tuple(_never(reading, name, call, call in full) for call in calls)
    hit = hits[0]
    early = [call for call in calls if _surely_before(call, hit)]
    full = _in_full(early)
    rows += [_early(reading, name, call, hit, call in full) for call in early]
    answer = next((c for c in calls if c.counts and not _surely_before(c, hit)), None)
    if answer is not None:
        rows.append(_answered(name, hit, answer, hits))
    elif _calls_were_tapped(reading, burial) and reading.end_us is not None:
        gap = reading.end_us - hit.at_us
        if gap > hit.plus_minus_us + SPEAK_US:
            text = said("touch.never-called", burial=name, at=clock(hit.at_us), length=length(gap))
            rows.append(Touch("never-called", name, hit.at_us, None, gap, text))
    return tuple(rows)


def answering_call(marks: Sequence[Mark]) -> Mark | None:
    """The call that goes with the first hit: the first one that was not surely before it; without a hit the first."""
    hits = [m for m in marks if m.name == "hit"]
    calls = [m for m in marks if m.name == "call" and m.counts]
    return next((c for c in calls if not hits or not _surely_before(c, hits[0])), None)


def _surely_before(call: Mark, hit: Mark) -> bool:
    return hit.at_us - call.at_us > hit.plus_minus_us + call.plus_minus_us


def _calls_were_tapped(reading: Reading, burial: Burial) -> bool:
    return burial.find == "call" or any(isinstance(f, CallMade) for f in reading.facts)


def _answered(name: str, hit: Mark, call: Mark, hits: Sequence[Mark]) -> Touch:
    gap = call.at_us - hit.at_us
    inside = hit.plus_minus_us + call.plus_minus_us
    if gap <= inside:
        return Touch(
            "noticed", name, hit.at_us, call.at_us, gap, said("touch.noticed", burial=name, at=clock(hit.at_us))
        )
    if gap <= inside + SPEAK_US:
        text = said("touch.within", burial=name, at=clock(hit.at_us), call=clock(call.at_us))
        return Touch("noticed", name, hit.at_us, call.at_us, gap, text)
    text = said("touch.unnoticed", burial=name, at=clock(hit.at_us), length=length(gap), call=clock(call.at_us))
    before = sum(1 for h in hits if h.at_us <= call.at_us)
    if before > 1:
        text = said("touch.more", text=text, count=before)
    return Touch("unnoticed", name, hit.at_us, call.at_us, gap, text)


def _in_full(calls: Sequence[Mark]) -> list[Mark]:
    """Which of several such calls are told in full: those that count, else the first; of others only their end."""
    return [call for call in calls if call.counts] or list(calls[:1])


def _early(reading: Reading, name: str, call: Mark, hit: Mark, full: bool) -> Touch:
    gap = hit.at_us - call.at_us
    text = said("touch.early", burial=name, call=clock(call.at_us), length=length(gap), at=clock(hit.at_us))
    return Touch("early", name, hit.at_us, call.at_us, gap, _void(reading, call, text, full), not call.counts)


def _never(reading: Reading, name: str, call: Mark, full: bool) -> Touch:
    text = said("touch.never", burial=name, call=clock(call.at_us))
    return Touch("never", name, None, call.at_us, None, _void(reading, call, text, full), not call.counts)


def _void(reading: Reading, call: Mark, text: Said, full: bool) -> Said:
    if call.counts:
        return text
    rows = [f for f in reading.all_of(Corrected) if f.change == "void" and f.about == call.source]
    why = rows[-1].why if rows else ""
    if not full:
        return said("touch.voided", call=clock(call.at_us), why=why)
    return said("touch.void", text=text, why=why)
