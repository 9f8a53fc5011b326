"""What is wrong with where targets lie: too deep, bare, under a blade, outside the line, come downhill, put elsewhere.

    place_findings(site, snow, today) -> findings of each target, all of them about its place

Confidence is that of the depth's or the place's own ±. A target that was put elsewhere without a survey has that one
finding and no other: nobody knows where it lies.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from fieldctl.site.model import Grooming, Place, Site
from fieldctl.site.no_go import Line, lines, outside_m
from fieldctl.site.snow import Burial, Readings
from fieldctl.site.whereabouts import Snow, Whereabouts, whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep.account import Finding, Sure
from fieldctl.upkeep.readings import day_number

CREEP_TOLD_DAYS = 60  # after the survey that showed it; what it means for the next weeks is then stale


def place_findings(site: Site, snow: Snow, today: datetime.date) -> dict[TargetId, tuple[Finding, ...]]:
    """What is to be told of each target's place as of a day; targets of which there is nothing are left out."""
    among, known = lines(site), Readings(snow.readings, today)
    found = {
        place.target: tuple(_of(site, among, whereabouts(site, place.target, snow, today, known), snow, today))
        for place in site.places
    }
    return {target: findings for target, findings in found.items() if findings}


def _of(site: Site, among: Sequence[Line], where: Whereabouts, snow: Snow, today: datetime.date) -> Iterator[Finding]:
    if where.moved is not None:
        yield _about("put-elsewhere", "sure", float(day_number(datetime.date.fromisoformat(where.moved.day))))
        return
    burial = where.burial
    if burial is not None:
        yield from _deep_or_bare(site, burial)
        yield from _under_a_blade(site.grooming, burial)
        if snow.readings:  # where nobody measures snow, one such sentence a target would be noise
            yield from _unsaid(burial)
    yield from _outside(among, where.place)
    came, surveyed = where.came, where.place.surveyed_on
    if came is None or not came.beyond or surveyed is None or (today - surveyed).days > CREEP_TOLD_DAYS:
        return
    yield _about(
        "creep", "sure", float(day_number(surveyed)),
        away=came.distance_m, bearing=round(came.bearing_deg) % 360, days=came.days, open=came.plus_minus_m,
    )  # fmt: skip


def _deep_or_bare(site: Site, burial: Burial) -> Iterator[Finding]:
    reach_m = site.upkeep.reach_m
    deep, open_ = burial.deeper(reach_m), burial.shallower(0.0)
    if deep is not None:
        yield _about("too-deep", deep, **_depth(burial), probe=site.upkeep.probe_m, reach=reach_m)
    if open_ is not None:
        yield _about("bare", open_, **_depth(burial))


def _unsaid(burial: Burial) -> Iterator[Finding]:
    """What cannot be said: for want of a note at the survey, or since nobody measured for too long."""
    if burial.middle_m is None:
        yield _about(f"depth-{burial.why[0]}", "sure")
    elif burial.vague:
        yield _about("depth-vague", "sure", **_depth(burial))


def _under_a_blade(rules: Grooming, burial: Burial) -> Iterator[Finding]:
    shallow = burial.shallower(rules.blade_m)
    if shallow is not None and burial.shallower(0.0) is None:
        yield _about("under-blade", shallow, **_depth(burial), blade=rules.blade_m)


def _outside(among: Sequence[Line], place: Place) -> Iterator[Finding]:
    """Outside the line that the site draws, by the place's own ±; a line made around targets holds them all."""
    off_m = outside_m(among, place.x_m, place.y_m)
    if among and off_m > -place.plus_minus_m / 2:
        sure: Sure = "sure" if off_m > place.plus_minus_m else "likely" if off_m > 0 else "perhaps"
        yield _about("outside-no-go", sure, away=max(0.0, off_m), open=place.plus_minus_m)


def _depth(burial: Burial) -> dict[str, float]:
    values = {"depth": burial.depth_m, "least": burial.least_m, "most": burial.most_m}
    return {name: round(value, 1) for name, value in values.items() if value is not None}


def _about(key: str, sure: Sure, since: float | None = None, **values: object) -> Finding:
    return Finding(key, sure, since, values, about="place")
