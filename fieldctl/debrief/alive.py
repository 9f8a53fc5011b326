"""Survival, honestly: what the study that the site named says of a burial's time, counted to the airway.

Where nobody tapped the airway it counts to the call plus the digging time that the site states; without both there is
no figure, nor for somebody whom nobody found. A curve is a statistic of past accidents: it is named, its interval is
given where one was published (between two points that is said), and nothing is read off it where the study says
nothing. numpy comes in with this module, so it is imported late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from fieldctl.debrief.model import Alive, BurialDebrief, Mark, Survival
from fieldctl.debrief.touching import answering_call
from fieldctl.debrief.words import Said, length, listed, said
from fieldctl.physics.survival import Point, Study, curve, study
from fieldctl.site.model import DebriefRules
from fieldctl.units import US_PER_S, micros

TEN_MIN, FIFTEEN_MIN = 10.0, 15.0
"""The 10 minutes of Rauch et al. 2024 (seen / second-hand) beside the 15 of common practice."""


def with_survival(
    rules: DebriefRules, burials: Sequence[BurialDebrief], technical: bool
) -> tuple[tuple[BurialDebrief, ...], Survival | None]:
    """The burials with what the study says of each, and what is said with it; unchanged where the site wants none."""
    if rules.survival is None:
        return tuple(burials), None
    of = study(rules.survival)
    texts = [said("alive.cite", cite=of.cite, burials=of.burials), said("alive.caution"), said("alive.ten")]
    if technical:
        texts.append(said("alive.technical"))
        rows = tuple(burials)
    else:
        rows = tuple(replace(b, alive=_alive(b, of, rules.digging_s)) for b in burials)
        bare: dict[str, list[str]] = {}
        for b in rows:
            if b.alive is None and b.found is not None:
                bare.setdefault(_lacks(b, rules.digging_s), []).append(b.burial)
        texts += [said(key, names=listed(names)) for key, names in bare.items()]
    return rows, Survival(of.key, of.cite, of.burials, rules.digging_s, tuple(texts))


def _alive(b: BurialDebrief, of: Study, digging_s: float | None) -> Alive | None:
    """The figure of one burial; none for somebody whom nobody found, nor where its moments contradict one another."""
    if b.found is None or _freed_before_found(b):
        return None
    airway, call = _airway(b), answering_call(b.marks)
    if airway is not None:
        minutes, counted = airway.at_us / US_PER_S / 60, said("alive.counted.airway")
        return _told(b.burial, minutes, "airway", counted, of)
    if call is None or digging_s is None:
        return None
    minutes = (call.at_us / US_PER_S + digging_s) / 60
    return _told(b.burial, minutes, "call", said("alive.counted.call", digging=length(micros(digging_s))), of)


def _lacks(b: BurialDebrief, digging_s: float | None) -> str:
    """Why somebody who was found has no figure, as the key of a sentence."""
    if _freed_before_found(b):
        return "alive.contradiction"
    return "alive.none" if digging_s is None else "alive.no-call"


def _airway(b: BurialDebrief) -> Mark | None:
    return next((m for m in b.marks if m.name == "airway"), None)


def _freed_before_found(b: BurialDebrief) -> bool:
    """Whether the airway was surely tapped before the find, or before the probe's first touch."""
    airway, hit = _airway(b), next((m for m in b.marks if m.name == "hit"), None)
    return airway is not None and any(
        m is not None and m.at_us - airway.at_us > m.plus_minus_us + airway.plus_minus_us for m in (b.found, hit)
    )


def _told(burial: str, minutes: float, counted: str, to: Said, of: Study) -> Alive:
    first, last = of.points[0], of.points[-1]
    values: dict[str, object] = {"burial": burial, "minutes": f"{minutes:.1f}", "counted": to}
    if minutes < first.minutes:
        values |= {"first": f"{first.minutes:g}", **_shares(first.alive, first.low, first.high)}
        key = "alive.before" if first.low < first.high else "alive.before-plain"
        return Alive(minutes, counted, None, None, None, said(key, **values))
    if minutes > last.minutes:
        text = said("alive.after", last=f"{last.minutes:g}", **values)
        return Alive(minutes, counted, None, None, None, text)
    at = curve(of, minutes)
    alive, low, high = float(at.alive), float(at.low), float(at.high)
    point = next((p for p in of.points if p.minutes == minutes), None)
    values |= _shares(alive, low, high)
    known = of.interval_known
    if point is not None:
        key = "alive.figure" if known else "alive.figure-plain"
    else:
        key = "alive.between" if known else "alive.between-plain"
        before, after = _neighbours(of, minutes)
        values |= {"first": f"{before.minutes:g}", "last": f"{after.minutes:g}"}
    return Alive(minutes, counted, alive, low if known else None, high if known else None, said(key, **values))


def _neighbours(of: Study, minutes: float) -> tuple[Point, Point]:
    """The study's points before and after a time that lies between two of them."""
    return next((a, b) for a, b in pairwise(of.points) if a.minutes < minutes < b.minutes)


def _shares(alive: float, low: float, high: float) -> dict[str, object]:
    return {"alive": _percent(alive), "low": _percent(low), "high": _percent(high)}


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
