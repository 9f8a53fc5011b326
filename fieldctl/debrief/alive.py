"""Survival, honestly: what the study that the site named says of a burial's time, counted to the airway.

Where nobody tapped the airway it counts to the call plus the digging time that the site states; without both there is
no figure. A curve is a statistic of past accidents: it is named, its interval is given, and nothing is read off it
where the study says nothing. numpy comes in with this module, so it is imported late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fieldctl.debrief.model import Alive, BurialDebrief, Survival
from fieldctl.debrief.touching import answering_call
from fieldctl.debrief.words import Said, length, listed, said
from fieldctl.physics.survival import Study, curve, study
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
        bare = [b.burial for b in rows if b.alive is None and b.found is not None]
        if bare:
            texts.append(said("alive.none", names=listed(bare)))
    return rows, Survival(of.key, of.cite, of.burials, rules.digging_s, tuple(texts))


def _alive(b: BurialDebrief, of: Study, digging_s: float | None) -> Alive | None:
    airway = next((m for m in b.marks if m.name == "airway"), None)
    call = answering_call(b.marks)
    if airway is not None:
        minutes, counted = airway.at_us / US_PER_S / 60, said("alive.counted.airway")
        return _told(b.burial, minutes, "airway", counted, of)
    if call is None or digging_s is None:
        return None
    minutes = (call.at_us / US_PER_S + digging_s) / 60
    return _told(b.burial, minutes, "call", said("alive.counted.call", digging=length(micros(digging_s))), of)


def _told(burial: str, minutes: float, counted: str, to: Said, of: Study) -> Alive:
    first, last = of.points[0], of.points[-1]
    shown = f"{minutes:.1f}"
    if minutes < first.minutes:
        text = said(
            "alive.before",
            burial=burial,
            minutes=shown,
            counted=to,
            first=f"{first.minutes:g}",
            alive=_percent(first.alive),
            low=_percent(first.low),
            high=_percent(first.high),
        )
        return Alive(minutes, counted, None, None, None, text)
    if minutes > last.minutes:
        text = said("alive.after", burial=burial, minutes=shown, counted=to, last=f"{last.minutes:g}")
        return Alive(minutes, counted, None, None, None, text)
    at = curve(of, minutes)
    alive, low, high = float(at.alive), float(at.low), float(at.high)
    values = {"burial": burial, "minutes": shown, "counted": to, "alive": _percent(alive)}
    if low == high:
        return Alive(minutes, counted, alive, low, high, said("alive.figure-plain", **values))
    text = said("alive.figure", low=_percent(low), high=_percent(high), **values)
    return Alive(minutes, counted, alive, low, high, text)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
