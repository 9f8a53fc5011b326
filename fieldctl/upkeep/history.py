"""One target's history: what it measured day by day, the charge left with its forecast, and what happened to it.

    read_history(reader, site, target, today) -> History      only reads, beside a running writer or from a copy
    pictures_of(row, hours), health_pictures(series)          pure; days without a value are gaps

A line has a value for each day that had one. The charge of days gone by is reckoned back from today's estimate by the
charge counted since, within the battery that is in now: it claims no more than today's estimate does.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldctl.ledger.reader import Reader
from fieldctl.site.model import Site
from fieldctl.units import TargetId
from fieldctl.upkeep.account import Field, Place, Row, Upkeep, account_of
from fieldctl.upkeep.curves import Array
from fieldctl.upkeep.moments import Moment, read_moments
from fieldctl.upkeep.past import Past
from fieldctl.upkeep.read import read_field
from fieldctl.upkeep.read_health import SEASON_DAYS, read_pasts
from fieldctl.upkeep.readings import Daily, Hours, clean, daily, date_of
from fieldctl.upkeep.series import Series, series_of
from fieldctl.upkeep.told import told_of

AHEAD_DAYS = 120.0  # of the forecast that are drawn: beyond, the band says little


@dataclass(frozen=True, slots=True)
class Line:
    """One quantity by days: key (its name in words), unit, days and values; `low` and `high` where it is a band."""

    key: str
    unit: str
    day: Array
    value: Array
    low: Array | None = None
    high: Array | None = None
    ahead: bool = False  # a forecast

    @property
    def size(self) -> int:
        """How many days have a value."""
        return int(self.day.size)


@dataclass(frozen=True, slots=True)
class Picture:
    """Lines that share one picture, under one name."""

    key: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class History:
    """One target's account of today, its pictures, its moments in order of time."""

    upkeep: Upkeep  # of this target alone
    pictures: tuple[Picture, ...]
    moments: tuple[Moment, ...]
    left_out: int  # strikes of exercises that still go on

    @property
    def row(self) -> Row:
        """The account of this target."""
        return self.upkeep.rows[0]

    @property
    def swaps(self) -> tuple[float, ...]:
        """Day numbers of the changes of battery that people confirmed."""
        days = (datetime.date.fromisoformat(m.when) for m in self.moments if m.key == "swapped")
        return tuple(float((day - datetime.date(1970, 1, 1)).days) for day in days)


def read_history(reader: Reader, site: Site, target: TargetId, today: datetime.date) -> History:
    """The history of a target of the site; KeyError where it is none of the site's."""
    log = told_of(reader.telemetry_hours()).upto(today)
    field = read_field(reader, site, today, log)
    place = next((place for place in field.places if place.target == target), None)
    if place is None:  # taken out: what it was called by the file
        by_file = site.place(target)
        place = Place(target, by_file.name, by_file.zone)
    moments, left_out = read_moments(reader, site, target)
    past = read_pasts(reader, site, log, today, SEASON_DAYS).get(target, Past(target))
    return history_of(field, place, series_of(past, field.today), moments, left_out)


def history_of(field: Field, place: Place, series: Series, moments: Sequence[Moment], left_out: int) -> History:
    """The history of one target from what was read."""
    row = account_of(field, place)
    row = replace(row, findings=(*row.findings, *field.also.get(place.target, ())))
    upkeep = Upkeep(date_of(field.today), field.rules.closing_day, (row,), 0)
    until = field.today if left_out else np.inf  # of strikes: a day of an exercise that goes on is not told yet
    pictures = (*pictures_of(row, field.hours.get(place.target)), *health_pictures(series, until))
    return History(upkeep, pictures, tuple(moments), left_out)


def pictures_of(row: Row, hours: Hours | None) -> tuple[Picture, ...]:
    """The pictures of a battery; those for which there is nothing are left out."""
    if row.battery is None or hours is None or not hours.day.size:
        return ()
    days = daily(clean(hours, row.battery).hours, row.battery.load_a)
    made = (
        Picture("charge", _charge(row, days)),
        Picture("volts", (_line("rest", "V", days.day, days.rest_v), _line("load", "V", days.day, days.load_v))),
        Picture(
            "celsius",
            (_line("celsius", "°C", days.day, days.celsius), _line("coldest", "°C", days.day, days.coldest_c)),
        ),
    )
    kept = (replace(picture, lines=tuple(line for line in picture.lines if line.size)) for picture in made)
    return tuple(picture for picture in kept if picture.lines)


def health_pictures(series: Series, struck_until: float = np.inf) -> tuple[Picture, ...]:
    """The pictures of pad and link; of strikes those before a day."""
    told = series.day < struck_until
    said = np.isfinite(series.noise) | np.isfinite(series.lost) | (told & (series.strikes > 0))
    made = (
        Picture("noise", (_line("noise", "", series.day, series.noise),)),
        Picture("sensitivity", (_line("sensitivity", "", series.day[told], series.sensitivity[told]),)),
        Picture("strikes", (_line("strikes", "", series.day[told & said], series.strikes[told & said]),)),
        Picture("lost", (_line("lost", "%", series.day, 100.0 * series.lost),)),
        Picture("resent", (_line("resent", "", series.day[said], series.resent[said]),)),
        Picture("plus-minus", (_line("plus-minus", "ms", series.day, series.plus_minus_ms),)),
    )
    return tuple(picture for picture in made if picture.lines[0].size)


def _line(key: str, unit: str, day: Array, value: Array) -> Line:
    known = ~np.isnan(value)
    return Line(key, unit, day[known], value[known])


def _charge(row: Row, days: Daily) -> tuple[Line, ...]:
    """The charge left in percent: reckoned back over the battery that is in, and ahead with its 90 % band."""
    said, ahead = row.estimate, row.forecast
    if said is None or said.share is None or row.battery is None or ahead is None:
        return ()
    since = days.day >= (row.began or 0.0) - 0.5
    used = days.used_ah[since]
    back = np.clip(said.share + (used[-1] - used) / row.battery.capacity_ah, 0.0, 1.0) if used.size else used
    drawn = ahead.ahead <= AHEAD_DAYS
    day = ahead.today + ahead.ahead[drawn]
    return (
        Line("charge", "%", days.day[since], 100.0 * back),
        Line(
            "forecast", "%", day, 100.0 * ahead.share[drawn], 100.0 * ahead.share_low[drawn],
            100.0 * ahead.share_high[drawn], ahead=True,
        ),
    )  # fmt: skip


def as_row(history: History) -> Mapping[str, object]:
    """The pictures and moments as JSON-able values; the account stands beside them (`as_json`)."""
    return {
        "pictures": [
            {"key": picture.key, "lines": [_line_row(line) for line in picture.lines]} for picture in history.pictures
        ],
        "moments": [{"when": m.when or None, "key": m.key, "values": dict(m.values)} for m in history.moments],
        "left_out": history.left_out,
    }


def _line_row(line: Line) -> Mapping[str, object]:
    band = {} if line.low is None or line.high is None else {"low": _plain(line.low), "high": _plain(line.high)}
    days = [date_of(day).isoformat() for day in line.day]
    return {"key": line.key, "unit": line.unit, "ahead": line.ahead, "days": days, "values": _plain(line.value), **band}


def _plain(values: Array) -> list[float]:
    return [round(float(value), 4) for value in values]
