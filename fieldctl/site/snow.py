"""How deep a target lies today, with its own ±: from its survey, the snow since, and what is not known of either.

    Readings(rows, today)              what was read up to a day, in the order of the log
    burial_now(place, known, today)    the depth today, or why it cannot be said
    latest(known, zone, today)         the reading that says most about a zone
    settled_share(days)                what is left of a layer that settles

Depth is the snow's height less the target's own height in it. Snowfall, melt and wind are all in the snow's height, so
that is what has to be measured; between two readings it is a guess that widens by the day. A target that lies on the
ground, or hangs on a stake, keeps its height; one that rests on snow sinks as the snow under it settles. Which of the
two holds is seldom known: both bound the answer, the middle is said, and half their distance is in the ±.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

from fieldctl.site.model import Place

Sure = Literal["sure", "likely", "perhaps"]
Why = Literal["no-day", "no-snow-then", "no-reading", "old-reading", "whole-site", "settling", "no-clock"]

SETTLES = 0.3  # density grows as (days + 1)^0.3: Martinec & Rango, IAHS Publ. 205 (1991), from memory
TRODDEN_DAYS = 7.0  # the age that snow under a target counts as having: whoever buries treads it (common practice).
# In a model that many programs share, snow of 300 kg/m³ and more settles less than this bound; soft snow of 220 that
# nobody trod up to 15 % more of its height (tests/published)
PROBED_M = 0.1  # the ± of a depth by probe, and of a reading at a stake (common practice, no source)
ELSEWHERE_M = 0.2  # … of a reading for the whole site, taken for one place: wind (common practice, no source)
UNMEASURED_M = 0.10  # times the root of the days since the last reading: what snow does in a day (memory)
VAGUE_M = 0.75  # with a wider ± than this "perhaps" is true of every target at once, and so of no use
OLD_DAYS = 7.0  # a reading older than this is named as the reason of a wide ±
SURVEY_DAYS = 1  # a reading no older than this at the survey tells how deep the snow was then


@dataclass(frozen=True, slots=True)
class Reading:
    """How deep the snow was on a day in a zone (the whole site when None); `source` says who tells it."""

    day: datetime.date
    snow_m: float
    zone: str | None = None
    source: str = ""


class Readings:
    """The readings up to a day (all of them when None): the newest of each zone, and those of each day. Of one zone
    and day the later in the log counts."""

    def __init__(self, rows: Iterable[Reading], today: datetime.date | None) -> None:
        self.newest: dict[str | None, Reading] = {}
        self.of_day: dict[tuple[str | None, datetime.date], Reading] = {}
        for each in rows:
            if today is not None and each.day > today:
                continue
            self.of_day[each.zone, each.day] = each
            before = self.newest.get(each.zone)
            if before is None or each.day >= before.day:
                self.newest[each.zone] = each


@dataclass(frozen=True, slots=True)
class Burial:
    """How deep a target lies today: the middle (below 0: it stands out of the snow) and its ±, None where it cannot be
    said. `why` is what widens the ± or is missing; `snow` the reading it rests on."""

    middle_m: float | None
    plus_minus_m: float = 0.0
    why: tuple[Why, ...] = ()
    snow: Reading | None = None

    @property
    def depth_m(self) -> float | None:
        """Metres below the surface; None where it cannot be said."""
        return None if self.middle_m is None else max(0.0, self.middle_m)

    @property
    def least_m(self) -> float | None:
        """The least that it may be, in metres."""
        return None if self.middle_m is None else max(0.0, self.middle_m - self.plus_minus_m)

    @property
    def most_m(self) -> float | None:
        """The most that it may be, in metres; what is known of the snow bounds it where the depth cannot be said."""
        if self.middle_m is not None:
            return max(0.0, self.middle_m + self.plus_minus_m)
        return None if self.snow is None else self.snow.snow_m + self.plus_minus_m

    @property
    def vague(self) -> bool:
        """Whether so little is known of the depth that only what is likely is worth telling."""
        return self.plus_minus_m > VAGUE_M

    def deeper(self, limit_m: float) -> Sure | None:
        """How sure it is that the target lies deeper than a limit; None where nothing much speaks for it."""
        return None if self.middle_m is None else self._sure(self.middle_m - limit_m)

    def shallower(self, limit_m: float) -> Sure | None:
        """How sure it is that the target lies no deeper than a limit; None where nothing much speaks for it."""
        return None if self.middle_m is None else self._sure(limit_m - self.middle_m)

    def _sure(self, beyond_m: float) -> Sure | None:
        if beyond_m >= self.plus_minus_m:
            return "sure"
        if beyond_m >= 0:
            return "likely"
        near = beyond_m >= -self.plus_minus_m / 2  # of a ± that holds 19 of 20: one in six
        return "perhaps" if near and not self.vague else None


def settled_share(days: float, age: float = TRODDEN_DAYS) -> float:
    """What is left of the thickness of a layer that was `age` days old, so many days later: 1 falling towards 0."""
    return float(((age + 1.0) / (age + 1.0 + max(0.0, days))) ** SETTLES)


def latest(known: Readings, zone: str, today: datetime.date) -> Reading | None:
    """The reading that says most about a zone today: the one with the least ±; of equals the zone's own."""
    found = [each for each in (known.newest.get(zone), known.newest.get(None)) if each is not None]
    return min(found, key=lambda each: _wide(each, today), default=None)


def burial_now(place: Place, known: Readings, today: datetime.date | None) -> Burial:
    """How deep a target lies today, of a place that it has not left; `today` None where no clock is set."""
    why: list[Why] = []
    taken_on = place.depth_on or place.surveyed_on
    if today is None:
        why.append("no-clock")
        days = [each.day for each in known.newest.values()] + ([taken_on] if taken_on else [])
        today = max(days, default=datetime.date.min)
    now = latest(known, place.zone, today)
    before = None if taken_on is None else _around(known, place.zone, taken_on)
    then_m = place.snow_m if place.snow_m is not None or before is None else before.snow_m
    if then_m is None or (taken_on is None and now is None):
        why.insert(0, "no-day" if taken_on is None else "no-snow-then")
        return Burial(None, 0.0 if now is None else _wide(now, today), tuple(why), now)
    age = None if taken_on is None else max(0.0, float((today - taken_on).days))
    if taken_on is None:
        why.append("no-day")
    elif now is None or now.day < taken_on or (now.day == taken_on and place.snow_m is not None):
        why += ["no-reading"] if age else []
        now = None
    if now is None:
        snow_m, plus_minus_m = then_m, hypot(PROBED_M, UNMEASURED_M * sqrt(age or 0.0))
    else:
        same = None if before is None or before.zone != now.zone else before
        snow_m = now.snow_m if same is None else max(0.0, then_m + now.snow_m - same.snow_m)
        plus_minus_m = hypot(PROBED_M, PROBED_M if place.snow_m is not None else ELSEWHERE_M, _wide(now, today))
        why += ["whole-site"] if now.zone is None else []
        why += ["old-reading"] if (today - now.day).days > OLD_DAYS else []
    height_m = max(0.0, then_m - place.depth_m)  # above the ground; 0 for what lies on it or is dug into it
    share = 0.0 if age is None else settled_share(age)  # after nobody knows how long: down to the ground
    if snow_m < then_m:
        share = min(share, snow_m / then_m)  # all of the loss may be settling
    held_m = place.depth_m + snow_m - then_m
    sinks_m = height_m * (1.0 - share)
    if sinks_m / 2 > PROBED_M:
        why.append("settling")
    return Burial(held_m + sinks_m / 2, plus_minus_m + sinks_m / 2, tuple(why), now)


def _wide(reading: Reading, today: datetime.date) -> float:
    """The ± of the snow's height in a zone today, by one reading, in metres."""
    days = max(0, (today - reading.day).days)
    return hypot(ELSEWHERE_M if reading.zone is None else PROBED_M, UNMEASURED_M * sqrt(days))


def _around(known: Readings, zone: str, day: datetime.date) -> Reading | None:
    """The reading of that day or the evening before: the zone's own before the whole site's."""
    days = [day - datetime.timedelta(days=back) for back in range(SURVEY_DAYS + 1)]
    found = (known.of_day.get((where, each)) for where in (zone, None) for each in days)
    return next((each for each in found if each is not None), None)
