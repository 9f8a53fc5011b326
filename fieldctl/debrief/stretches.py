"""Where the time of a burial went: the stretches between its moments, and what took longest in one sentence."""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.debrief.gaps import lost_us
from fieldctl.debrief.model import Away, Mark, Stretch
from fieldctl.debrief.reading import USUAL_SPLITS, Reading
from fieldctl.debrief.touching import answering_call
from fieldctl.debrief.words import Said, clock, length, said
from fieldctl.drill.plan import Burial

_BEGIN = ("start", "on", "found")
PHASES: dict[tuple[str, str], str] = {
    **{(first, "signal"): "signal" for first in _BEGIN},
    ("signal", "coarse"): "coarse",
    ("coarse", "fine"): "fine",
    ("fine", "hit"): "probing",
    ("hit", "call"): "noticing",
    ("call", "airway"): "digging",
    ("hit", "airway"): "digging",
}
"""Two moments that follow each other -> what lies between; whatever is not listed is named by its two moments."""

_ORDER = ("start", "on", "found", "signal", "coarse", "fine", "hit", "call", "airway")


def key_marks(marks: Sequence[Mark]) -> list[Mark]:
    """The first of each kind of moment, the call that goes with the first hit, and every free one; in order of time."""
    rows: dict[str, Mark] = {}
    for mark in marks:
        if mark.name not in ("call", "on"):
            rows.setdefault(mark.name, mark)
    call = answering_call(marks)
    if call is not None:
        rows["call"] = call
    return sorted(rows.values(), key=lambda m: (m.at_us, _rank(m.name), m.name))


def stretches_of(
    reading: Reading, burial: Burial, marks: Sequence[Mark], gaps: Sequence[Away], finds: Sequence[tuple[str, int]]
) -> tuple[Stretch, ...]:
    """The stretches of one burial; `finds` are the other burials with the time of their find."""
    chain = key_marks(marks)
    begin = _begin(reading, burial, marks, chain, finds)
    if begin is None:
        return ()
    name = burial.name
    rows = []
    first, first_said = begin
    for mark in chain:
        if mark.at_us < first.at_us:
            continue
        last_said = _moment(mark.name, name)
        phase = PHASES.get((first.name, mark.name), "between")
        if mark.at_us > first.at_us:
            rows.append(_stretch(name, phase, first, mark.at_us, mark.plus_minus_us, first_said, last_said, gaps))
        first, first_said = mark, last_said
    found = reading.result.burial(name).find is not None
    if not found and reading.end_us is not None and reading.end_us > first.at_us:
        rows.append(_stretch(name, "open", first, reading.end_us, 0, first_said, said("moment.end"), gaps))
    return tuple(rows)


def longest_of(stretches: Sequence[Stretch], whole_us: int | None) -> Said:
    """What took longest, as a person would say it; two or three of about the same length are all named."""
    if not stretches or whole_us is None:
        return said("longest.nothing")
    whole_us = max(whole_us, *(s.to_us for s in stretches))
    rows = sorted(stretches, key=lambda s: (-s.net_us, s.burial, s.from_us, s.kind))
    top = rows[0]
    near = [s for s in rows[1:] if _as_long(top, s)]
    if len(near) > 1 and top.kind != "open":
        return said("longest.three", **{name: _one_of_two(s) for name, s in zip("abc", (top, *near), strict=False)})
    if near and top.kind != "open":
        return said("longest.two", a=_one_of_two(top), b=_one_of_two(near[0]))
    match top.kind:
        case "open":
            return said("longest.open", burial=top.burial, first=top.first, length=length(top.net_us))
        case "noticing":
            return said("longest.noticing", burial=top.burial, length=length(top.net_us))
        case "between":
            return said(
                "longest.between", first=top.first, last=top.last, length=length(top.net_us), whole=clock(whole_us)
            )
        case _:
            return said(
                "longest.phase", phase=top.what, burial=top.burial, length=length(top.net_us), whole=clock(whole_us)
            )


def _as_long(top: Stretch, other: Stretch) -> bool:
    """Whether nobody could say which is longer: inside their ±, or said with the same number."""
    inside = top.net_us - other.net_us <= top.plus_minus_us + other.plus_minus_us
    return other.kind != "open" and (inside or length(top.net_us) == length(other.net_us))


def _one_of_two(s: Stretch) -> Said:
    """A stretch beside another one; the two moments of one in between name the burial themselves."""
    if s.kind == "between":
        return said("longest.one-between", what=s.what, length=length(s.net_us))
    return said("longest.one", what=s.what, burial=s.burial, length=length(s.net_us))


def _begin(
    reading: Reading, burial: Burial, marks: Sequence[Mark], chain: Sequence[Mark], finds: Sequence[tuple[str, int]]
) -> tuple[Mark, Said] | None:
    """From where a burial's time counts: the start, its signal or the find before its first moment, whichever last."""
    if burial.signal.kind in ("start", "never"):
        begin = Mark("start", 0, reading.times.plus_minus_us, "target"), said("moment.start")
    else:
        on = next((m for m in marks if m.name == "on"), None)
        if on is None:
            return None  # its signal never came: there was nothing to search for
        begin = Mark("on", on.at_us, on.plus_minus_us, "target"), said("moment.on", burial=burial.name)
    reached = chain[0].at_us if chain else reading.length_us
    if reached is None:
        return None
    before = [(at, other) for other, at in finds if begin[0].at_us < at < reached]
    if before:
        at, other = max(before)
        return Mark("found", at, 0, "pad"), said("moment.found", other=other)
    return begin


def _stretch(
    burial: str, kind: str, first: Mark, to_us: int, pm_us: int, begin: Said, end: Said, gaps: Sequence[Away]
) -> Stretch:
    what = said("phase.between", first=begin, last=end) if kind in ("between", "open") else said(f"phase.{kind}")
    net = to_us - first.at_us - lost_us(gaps, first.at_us, to_us)
    return Stretch(burial, what, kind, first.at_us, to_us, net, first.plus_minus_us + pm_us, begin, end)


def _moment(name: str, burial: str) -> Said:
    if name in (*USUAL_SPLITS, "hit", "call"):
        return said(f"moment.{name}", burial=burial)
    return said("moment.free", name=name, burial=burial)


def _rank(name: str) -> int:
    return _ORDER.index(name) if name in _ORDER else len(_ORDER)
