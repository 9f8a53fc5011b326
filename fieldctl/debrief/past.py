"""Earlier times beside this one: the same drill before, and what is usual here for such burials. Medians, no names.

Fewer than `LEAST` say nothing and show whose they were. Who was not found when the time was up counts as slower than
all who were; an exercise that was cut short, or had a technical fault, says nothing of what was not found in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from fieldctl.debrief.model import BurialDebrief, Usual
from fieldctl.debrief.words import Said, clock, said

LEAST = 5  # our own: under five, a median is one person's afternoon
HALF_LEAST = 8  # our own: under eight, a middle half is two or three times
DEEP_M = (1.0, 1.5)  # bands of depth: shallower, between, deeper (published mean 1.05 m: Falk et al. 1994)


@dataclass(frozen=True, slots=True)
class Past:
    """One burial of an earlier exercise: how long it took since its own signal, None when the time was up before."""

    exercise: str
    drill: str
    burial: str
    sends: bool
    several: bool
    depth_m: float | None
    search_us: int | None


def past_of(exercise: str, drill: str, state: str, repeat: bool, burials: Sequence[BurialDebrief]) -> tuple[Past, ...]:
    """What one exercise adds to the times of a site."""
    return tuple(
        Past(
            exercise, drill, b.burial, b.sends, len(burials) > 1,
            None if b.where is None else b.where.depth_m, b.search_us,
        )
        for b in burials
        if b.search_us is not None or (b.found is None and state == "time-up" and not repeat)
    )  # fmt: skip


def before_of(b: BurialDebrief, exercise: str, drill: str, others: Iterable[Past]) -> Usual | None:
    """The same burial of the same drill before; None where it never was."""
    rows = [p for p in others if p.drill == drill and p.burial == b.burial and p.exercise != exercise]
    return _usual(rows, b, "same", None) if rows else None


def usual_of(b: BurialDebrief, several: bool, exercise: str, others: Iterable[Past]) -> Usual | None:
    """Burials like this one on this site: signal or none, alone or not, band of depth; None where there were none."""
    depth = None if b.where is None else b.where.depth_m
    band = _band(depth)
    rows = [
        p
        for p in others
        if p.exercise != exercise and p.sends == b.sends and p.several == several and _band(p.depth_m) == band
    ]
    kind = said("kind.signal" if b.sends else "kind.silent")
    if band is not None:
        ends = ("0", *(f"{m:g}" for m in DEEP_M), "…")
        kind = said("kind.depth", kind=kind, low=ends[band], high=ends[band + 1])
    kind = said("kind.several" if several else "kind.alone", kind=kind)
    return _usual(rows, b, "usual", kind) if rows else None


def _band(depth_m: float | None) -> int | None:
    return None if depth_m is None else sum(depth_m >= edge for edge in DEEP_M)


def _usual(rows: Sequence[Past], b: BurialDebrief, key: str, kind: Said | None) -> Usual:
    count = len(rows)
    if count < LEAST:
        few = said("past.few-same", burial=b.burial, count=count)
        if kind is not None:
            few = said("past.few-usual", burial=b.burial, count=count, kind=kind)
        return Usual(count, None, None, None, few)
    low, median, high = (_quantile(rows, share) for share in (0.25, 0.5, 0.75))
    now = said("past.open") if b.search_us is None else clock(b.search_us)
    values: dict[str, object] = {"burial": b.burial, "count": count, "median": _said(median), "now": now}
    if kind is not None:
        values["kind"] = kind
    if count < HALF_LEAST:
        return Usual(count, median, None, None, said(f"past.{key}", **values))
    return Usual(count, median, low, high, said(f"past.{key}-half", low=_said(low), high=_said(high), **values))


def _said(us: int | None) -> str | Said:
    return said("past.open") if us is None else clock(us)


def _quantile(rows: Sequence[Past], share: float) -> int | None:
    """The smallest time by which that share had found theirs; None when not within the limit."""
    found = sorted(p.search_us for p in rows if p.search_us is not None)
    need = max(1, ceil(share * len(rows) - 1e-9))
    return found[need - 1] if len(found) >= need else None
