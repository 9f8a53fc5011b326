"""Gaps: when a burial's signal was away, when the controller was dark, when the exercise stood still; gross and net.

A controller that is away for less than a grant leaves no hole: targets send on and keep their strikes. Longer, or over
a reboot of the host, it is a technical gap: nothing sends until a person lets the exercise go on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fieldctl.debrief.model import Away
from fieldctl.debrief.reading import Reading
from fieldctl.debrief.words import ENGLISH, clock, length, said
from fieldctl.events import (
    ExerciseEnded,
    ExerciseInterrupted,
    ExerciseReopened,
    ExerciseResumed,
    SignalOff,
)
from fieldctl.units import US_PER_S

TOLD_US = US_PER_S // 2  # a shorter gap would be told as one of no length


def ends_of(sent: Sequence[tuple[int, int | None]], dark: Sequence[Away]) -> list[int | None]:
    """Until when each stretch of sending lasted; None where nobody knows.

    Nobody hears a signal end while the controller is away. It ran out by itself within a technical gap, so that it was
    away at the gap's end at the latest: nothing sends before a person lets the exercise go on.
    """
    ends: list[int | None] = []
    for i, (began, ended) in enumerate(sent):
        until = sent[i + 1][0] if i + 1 < len(sent) else None
        if ended is None and until is not None:
            cut = [g.until_us for g in dark if g.kind == "technical" and g.until_us is not None]
            ended = max((at for at in cut if began <= at <= until), default=None)
        ends.append(ended)
    return ends


def heard_of(sent: Sequence[tuple[int, int | None]], dark: Sequence[Away]) -> tuple[tuple[int, int | None], ...]:
    """The stretches of sending, each as long as somebody heard it: one that ran out in a technical gap until that."""
    rows = []
    for (began, ended), known in zip(sent, ends_of(sent, dark), strict=True):
        cut = next((g.from_us for g in dark if ended is None and known is not None and g.until_us == known), None)
        rows.append((began, ended if cut is None else max(began, cut)))
    return tuple(rows)


def signal_gaps(reading: Reading, burial: str, dark: Sequence[Away]) -> tuple[Away, ...]:
    """When a burial's signal was away between its first moment and its find (or the end); `dark`: controller_gaps."""
    result = reading.result.burial(burial)
    whys = {(f.grant, reading.since(f.at)): f.why for f in reading.all_of(SignalOff) if f.burial == burial}
    find = None if result.find is None else result.find.moment
    until = reading.length_us if find is None else find.at_us
    rows: list[Away] = []
    covered: int | None = None  # until when the signal is known to have been on
    for (began, _), ended in zip(result.sent, ends_of(result.sent, dark), strict=True):
        if covered is not None and began > covered and (until is None or began <= until):
            rows.append(_signal(burial, covered, began, whys))
        if ended is None:
            return tuple(rows)  # it still sends, or nobody knows when it ended: nothing is claimed
        covered = ended if covered is None else max(covered, ended)
    slack = 0 if find is None else find.plus_minus_us
    if covered is not None and until is not None and until - covered > slack and reading.end_us is not None:
        reached = until if find is not None else None
        rows.append(_signal(burial, covered, reached, whys))
    elif covered is not None and find is not None and find.at_us - covered > slack:
        rows.append(_signal(burial, covered, find.at_us, whys))
    return tuple(rows)


def _signal(burial: str, from_us: int, until_us: int | None, whys: dict[tuple[int, int | None], str]) -> Away:
    found = sorted(why for (_, at), why in whys.items() if at == from_us)
    why = found[0] if found else "ran-out"  # nobody heard it end, and what nobody renews runs out
    reason = said(f"why.{why}") if f"why.{why}" in ENGLISH else said("why.other", why=why)
    if until_us is None:
        text = said("gap.signal-open", burial=burial, first=clock(from_us), why=reason)
    else:
        text = said(
            "gap.signal",
            burial=burial,
            first=clock(from_us),
            last=clock(until_us),
            length=length(until_us - from_us),
            why=reason,
        )
    return Away("signal", from_us, until_us, text, burial)


def controller_gaps(reading: Reading) -> tuple[Away, ...]:
    """When the controller was dark, with and without a hole; when the exercise had ended and went on again."""
    moves: list[ExerciseInterrupted | ExerciseResumed | ExerciseEnded | ExerciseReopened] = [
        *reading.all_of(ExerciseInterrupted),
        *reading.all_of(ExerciseResumed),
        *reading.all_of(ExerciseEnded),
        *reading.all_of(ExerciseReopened),
    ]
    moves.sort(key=lambda f: (reading.recorded.rank(f.at), type(f).__name__, repr(f)))
    rows: list[Away] = []
    cut: ExerciseInterrupted | None = None
    ended: ExerciseEnded | None = None
    for fact in moves:
        match fact:
            case ExerciseInterrupted():
                cut = cut or fact
            case ExerciseResumed() if cut is not None:
                rows.append(_technical(reading, cut, fact))
                cut = None
            case ExerciseResumed() if fact.gap_us > 0:
                rows += _dark(reading, fact)
            case ExerciseEnded():
                ended = ended or fact
            case ExerciseReopened() if ended is not None:
                rows += _stopped(reading, ended, fact)
                ended = None
    if cut is not None:
        rows.append(_technical(reading, cut, None))
    return tuple(rows)


def _dark(reading: Reading, fact: ExerciseResumed) -> list[Away]:
    until = reading.since(fact.at)
    if until is None:
        return []
    first = until - fact.gap_us
    text = said("gap.dark", length=length(fact.gap_us), first=clock(first), last=clock(until))
    return [Away("dark", first, until, text)]


def _technical(reading: Reading, cut: ExerciseInterrupted, on: ExerciseResumed | None) -> Away:
    first = reading.since(cut.last_known)
    first = reading.last_us or 0 if first is None else first
    until = None if on is None else reading.since(on.at)
    if on is None or until is None:
        return Away("technical", first, None, said("gap.technical-open", first=clock(first), why=cut.why))
    if cut.last_known.boot != on.at.boot:
        text = said("gap.technical-unmeasured", first=clock(first), why=cut.why)
        return Away("technical", first, until, text, measured=False)
    text = said("gap.technical", length=length(until - first), first=clock(first), last=clock(until), why=cut.why)
    return Away("technical", first, until, text)


def _stopped(reading: Reading, ended: ExerciseEnded, again: ExerciseReopened) -> list[Away]:
    first, until = reading.since(ended.at), reading.since(again.at)
    if first is None or until is None:
        return []
    if ended.at.boot != again.at.boot:
        return [Away("stopped", first, until, said("gap.stopped-unmeasured", first=clock(first)), measured=False)]
    text = said("gap.stopped", length=length(until - first), first=clock(first), last=clock(until))
    return [Away("stopped", first, until, text)]


def worth_telling(gaps: Iterable[Away]) -> list[Away]:
    """The gaps that lasted long enough to be told in words; a technical one always is, and the JSON has them all."""

    def short(gap: Away) -> bool:
        return gap.until_us is not None and gap.measured and gap.until_us - gap.from_us < TOLD_US

    return [gap for gap in gaps if gap.kind == "technical" or not short(gap)]


def lost_us(gaps: Iterable[Away], from_us: int, to_us: int) -> int:
    """How much of a time the gaps took, overlaps once; a dark controller without a hole takes nothing."""
    rows = sorted(
        (max(g.from_us, from_us), min(to_us if g.until_us is None else g.until_us, to_us))
        for g in gaps
        if g.kind != "dark"
    )
    total, reached = 0, from_us
    for first, last in rows:
        if last > max(first, reached):
            total += last - max(first, reached)
            reached = last
    return total
