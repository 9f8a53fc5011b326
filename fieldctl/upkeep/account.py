"""The account of every battery: what is left, until when, what is wrong with it, and what to do, most urgent first.

    account_of(field, target) -> Row      one target; `Field` is what the site and its log say around it
    field_account(field) -> Upkeep        all of them; a change ticked at one and seen at another names the other

Advice follows the forecast and the cost of digging: whoever digs for a week's charge digs twice. A battery is left in
peace while the chance that it does not last until closing day is less than the digging is worth; otherwise it is to be
changed before the early end of its band. A site that wants a plain threshold names one for its chemistry.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from fieldctl.site.model import Battery, UpkeepRules
from fieldctl.units import TargetId
from fieldctl.upkeep.curves import freezes_c
from fieldctl.upkeep.doubts import Seen, other_of, seen_of, side_by_side
from fieldctl.upkeep.energy import Calendar, Use, use_of
from fieldctl.upkeep.estimate import Estimate, believe, estimate
from fieldctl.upkeep.forecast import Forecast, forecast
from fieldctl.upkeep.readings import OFTEN, Daily, Hours, Kept, date_of, day_number
from fieldctl.upkeep.sickness import signs

if TYPE_CHECKING:
    from fieldctl.upkeep.kit import KitRow

State = Literal["now", "soon", "later", "holds", "unknown"]
Sure = Literal["sure", "likely", "perhaps"]
About = Literal["battery", "pad", "link", "housing", "place", "kit"]

ORDER: tuple[State, ...] = ("now", "soon", "unknown", "later", "holds")
VISIT_DAYS = 7.0  # until the next one: the volunteer comes once a week
SOON_DAYS = 21.0
DIG_WORTH_MIN = 200.0  # minutes of digging that one failure in the middle of a day is worth
RISK = (0.02, 0.30)  # least and most chance of not lasting that digging can weigh up
SILENT_DAYS = 3.0
TOLD_DAYS = 14.0  # for which a reading that was kept out is told
ASKED_DAYS = 40.0  # for which an open question about a change is asked
COLD_DAYS = 28  # whose coldest hour stands for what is to be expected
USES_MORE = 2.5  # times what the calendar explains; its table is a plan


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a person has to see: a stable key, how sure, since when, and the values of its sentence."""

    key: str
    sure: Sure
    since: float | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    remedy: str = ""  # the key of the remedy where it is another
    about: About = "battery"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a target lies, in words."""

    target: TargetId
    name: str
    zone: str


@dataclass(frozen=True, slots=True)
class Row:
    """One battery's account."""

    place: Place
    battery: Battery | None
    state: State
    advice: str
    by: float | None  # the day by which to change it
    estimate: Estimate | None
    forecast: Forecast | None
    use: Use | None
    began: float | None  # first day of the battery that is in, as far as known
    fresh: bool
    last_heard: float | None
    volts_rest: float | None
    volts_load: float | None
    celsius: float | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Field:
    """What an account is made from. Ticks are day numbers of changes that people confirmed; `also` is what was found
    about a target beside its battery."""

    today: float
    rules: UpkeepRules
    places: tuple[Place, ...]
    batteries: Mapping[TargetId, Battery]
    hours: Mapping[TargetId, Hours]
    ticks: Mapping[TargetId, Sequence[float]]
    calendars: Mapping[TargetId, Calendar]
    unplaced: int = 0
    also: Mapping[TargetId, Sequence[Finding]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Upkeep:
    """Every battery, and the base's supply and the club's kit; each most urgent first."""

    today: datetime.date
    closing: datetime.date | None
    rows: tuple[Row, ...]
    unplaced: int
    kit: tuple[KitRow, ...] = ()


def field_account(about: Field) -> Upkeep:
    """Every target's account, with what was found beside its battery."""
    seen = _seen(about)
    rows = [_row(about, place, seen) for place in about.places]
    rows = [replace(row, findings=(*row.findings, *about.also.get(row.place.target, ()))) for row in rows]
    rows.sort(key=lambda row: (ORDER.index(row.state), row.by or np.inf, row.place.name))
    return Upkeep(date_of(about.today), about.rules.closing_day, tuple(rows), about.unplaced)


def account_of(about: Field, place: Place) -> Row:
    """One target's account as of today; the others are looked at for changes that were ticked at the wrong one."""
    return _row(about, place, _seen(about))


def _seen(about: Field) -> dict[TargetId, Seen]:
    alone = {}
    for target in (place.target for place in about.places):
        battery, hours = about.batteries.get(target), about.hours.get(target)
        if battery is not None and hours is not None and hours.day.size:
            alone[target] = seen_of(hours, battery, about.ticks.get(target, ()))
    return side_by_side(alone)


def _row(about: Field, place: Place, seen: Mapping[TargetId, Seen]) -> Row:
    battery = about.batteries.get(place.target)
    mine = seen.get(place.target)
    if battery is None or mine is None:
        key = "kind-unknown" if battery is None else "never-read"
        return _empty(place, battery, Finding(key, "sure"))
    cleaned, found = mine.cleaned, mine.history
    days = mine.days.part(found.first, mine.days.size)
    use = use_of(days, about.calendars.get(place.target, _planned(about.rules)))
    belief = believe(battery, days, found.fresh)
    said = estimate(belief)
    ahead = forecast(belief, days, use, about.rules.expected_c, _closing(about))
    sick = tuple(
        Finding(sign.sign, "likely", float(days.day[-1]), {"percent": sign.a_day * 100, "times": sign.times})
        for sign in signs(belief, days, use)
    )
    findings = (
        *sick,
        *_kept_out(cleaned.kept_out, battery, about.today),
        *_asked(about, place, seen),
        *_beside(about, battery, days, said, use, place),
    )
    known = (belief.volts_days > 0 or found.fresh) and not cleaned.turned
    state, advice, by = _advice(about, battery, said, ahead, sick=bool(sick), known=known)
    rest, load, celsius = (_latest(values) for values in (days.rest_v, days.load_v, days.celsius))
    row = Row(
        place, battery, state, advice, by, said, ahead, use, found.began, found.fresh, float(cleaned.hours.day[-1]),
        rest, load, celsius, findings,
    )  # fmt: skip
    return replace(_unread(row), estimate=None, forecast=None) if cleaned.turned else _unread(row)


def _unread(row: Row) -> Row:
    """The row of fresh cells, as long as nothing was read after the day of the change: readings are the old ones'."""
    if not row.fresh or row.began is None or row.last_heard is None or np.floor(row.last_heard) > row.began:
        return row
    return replace(
        row, state="unknown", advice="unread", by=None, estimate=None, forecast=None, volts_rest=None,
        volts_load=None, findings=(),
    )  # fmt: skip


def _closing(about: Field) -> float | None:
    """Closing day, as long as it is to come: one that is over tells nothing of the next."""
    day = about.rules.closing_day
    return None if day is None or day_number(day) < about.today else float(day_number(day))


def _empty(place: Place, battery: Battery | None, why: Finding) -> Row:
    return Row(
        place, battery, "unknown", "unknown", None, None, None, None, None, False, None, None, None, None, (why,)
    )


def _planned(rules: UpkeepRules) -> Calendar:
    return Calendar(rules.open_hours, rules.exercises * 0.25, sleeps=False)


def _latest(values: np.ndarray) -> float | None:
    known = values[~np.isnan(values)]
    return float(known[-1]) if known.size else None


def _advice(
    about: Field, battery: Battery, said: Estimate, ahead: Forecast, *, sick: bool, known: bool
) -> tuple[State, str, float | None]:
    """State, which advice, and the day by which to change."""
    if sick:
        return "now", "sick", about.today
    if battery.change_at is not None and said.share is not None and said.share <= battery.change_at:
        return "now", "threshold", about.today
    if not known:
        return "unknown", "unknown", None
    allowed = float(np.clip(about.rules.dig_min / DIG_WORTH_MIN, *RISK))
    if ahead.lasts is not None and 1.0 - ahead.lasts <= allowed:
        return "holds", "holds", None
    if ahead.low_90 is None:
        return "holds", "holds-long", None
    by = max(ahead.low_90, about.today)
    left = by - about.today
    if left <= VISIT_DAYS:
        return "now", "now", by
    return ("soon", "soon", by) if left <= SOON_DAYS else ("later", "later", by)


def _kept_out(kept: Sequence[Kept], battery: Battery, today: float) -> tuple[Finding, ...]:
    values = {"cells": battery.cells, "chemistry": battery.chemistry}
    return tuple(
        Finding(
            each.key, "likely" if each.lately >= OFTEN else "perhaps", float(each.last_day),
            {**values, "value": each.value, "times": each.times},
        )
        for each in kept
        if today - each.last_day <= TOLD_DAYS
    )  # fmt: skip


def _asked(about: Field, place: Place, seen: Mapping[TargetId, Seen]) -> Iterator[Finding]:
    """What has to be asked about changes, with the other's name where one was taken for the other."""
    names = {each.target: each.name for each in about.places}
    for key, day in seen[place.target].history.questions:
        if about.today - day <= ASKED_DAYS:
            other = other_of(seen, place.target, key, day)
            if other is None:
                yield Finding(key, "likely", day)
            else:
                sure: Sure = "sure" if key == "ticked-not-done" else "likely"
                yield Finding(key, sure, day, {"other": names[other]}, f"{key}-other")


def _beside(about: Field, battery: Battery, days: Daily, said: Estimate, use: Use, place: Place) -> tuple[Finding, ...]:
    """What the rest of the numbers show."""
    found = []
    if about.today - days.day[-1] > SILENT_DAYS:
        found.append(Finding("silent", "sure", float(days.day[-1])))
    calendar = about.calendars.get(place.target)
    if calendar is not None and use.counted and use.ah_a_day > USES_MORE * calendar.ah_a_day:
        values = {"used": use.ah_a_day * 1000, "told": calendar.ah_a_day * 1000}
        found.append(Finding("uses-more", "perhaps", None, values))
    if battery.chemistry == "lead-acid" and said.low is not None:
        measured = days.coldest_c[-COLD_DAYS:][~np.isnan(days.coldest_c[-COLD_DAYS:])]
        cold = about.rules.expected_c if about.rules.expected_c is not None else min(measured, default=0.0)
        if freezes_c(said.low) > cold - 2.0:
            found.append(Finding("may-freeze", "perhaps", None, {"freezes": freezes_c(said.low), "cold": float(cold)}))
    return tuple(found)
