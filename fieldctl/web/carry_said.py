"""The carry list as a page, a sheet and a terminal say it, in one reader's language: plain values, nothing to decide.

said_carry(carry, site, language, names) -> Values
what_words(key, language)        what an item is called in a few words
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from fieldctl.site.model import Site
from fieldctl.site.whereabouts import DEGREES_SHOWN, Whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep.account import Row
from fieldctl.upkeep.carry import BARRED, Carry, Cells, Job, Since, Stop, walking_order
from fieldctl.upkeep.visits import BATTERY, target_of
from fieldctl.upkeep.words import Words, advice_words, chemistry_words, finding_words, words_of
from fieldctl.web import words

Values = dict[str, Any]


def said_carry(carry: Carry, site: Site, language: str, names: Mapping[TargetId, str]) -> Values:
    """Everything on the list but its presses."""
    t, w = words.words(language), words_of(language)
    n, metres = len(carry.stops), round(carry.way_m)
    way = (
        t("carry.way", n=n, metres=metres, start=carry.start)
        if carry.start
        else t("carry.way_bare", n=n, metres=metres)
    )
    away = [row for row in carry.upkeep.kit if row.state in ("now", "soon")]
    return {
        "day": carry.today.isoformat(),
        "head": t("carry.day", day=carry.today.isoformat(), site=site.title),
        "way": way if carry.stops else t("carry.nothing"),
        "stops": [_stop(stop, carry, site, t, w) for stop in carry.stops],
        "pack": [
            *(_cells(cells, t, w) for cells in carry.cells),
            *(t(f"carry.part_{part}", n=number) for part, number in carry.parts),
            *(t(f"carry.tool_{tool}", metres=f"{carry.probe_m:g}") for tool in carry.tools),
        ],
        "desk": [
            {"name": row.place.name, "says": says, "remedy": remedy}
            for row, finding in carry.desk
            for says, remedy in [finding_words(finding, row, w)]
        ],
        "box": _box(carry, t),
        "kit": t("carry.kit_some", n=len(away)) if away else "",
        "since": _since(carry.since, carry, names, language),
        "items": list(carry.items),
        "found": list(carry.found),
    }


def stops_of(items: Iterable[str], carry: Carry, site: Site, language: str, names: Mapping[TargetId, str]) -> Values:
    """The stops of a visit that goes on, as it was begun, and what came to the list since.

    What was done is found no more: such an item is said by its name alone."""
    t, w = words.words(language), words_of(language)
    wanted = list(items)
    now = {stop.target: stop for stop in carry.stops}
    targets = list(dict.fromkeys(target_of(item) for item in wanted))
    stops = []
    for target in targets:
        keys = [item for item in wanted if target_of(item) == target]
        stop = now.get(target) or _bare(target, carry, names)
        jobs = {job.item: job for job in stop.jobs}
        said = _stop(replace(stop, jobs=tuple(jobs.get(item, Job(item)) for item in keys)), carry, site, t, w)
        stops.append(said)
    new = [job.item for stop in carry.stops for job in stop.jobs if job.item not in wanted]
    found = _sentences(carry, w)
    says = {item: found.get(item) or _what(item, language) for item in new}
    return {"stops": stops, "new": [f"{_name(target_of(item), names)}: {what}" for item, what in says.items()]}


def _sentences(carry: Carry, w: Words) -> dict[str, str]:
    """What each finding says, by its item."""
    return {
        f"{row.place.target}:{found.key}": finding_words(found, row, w)[0]
        for row in carry.upkeep.rows
        for found in row.findings
    }


def _box(carry: Carry, t: words.Words) -> list[str]:
    """What a signed retrieval brought in, a line for each day."""
    days = dict.fromkeys(day for _, _, day in carry.box)
    of = {day: ", ".join(name for _, name, since in carry.box if since == day) for day in days}
    return [t("carry.in_box", day=day or "–", targets=targets) for day, targets in of.items()]


def _bare(target: TargetId, carry: Carry, names: Mapping[TargetId, str]) -> Stop:
    """A target that has nothing to do any more."""
    where = carry.there.get(target)
    row = next((row for row in carry.upkeep.rows if row.place.target == target), None)
    zone = "" if where is None else where.place.zone
    return Stop(target, _name(target, names), zone, where, row, "", ())


def said_places(
    targets: Iterable[TargetId], there: Mapping[TargetId, Whereabouts], site: Site, language: str
) -> dict[TargetId, Values]:
    """How to find these targets, in walking order."""
    t, titles = words.words(language), {zone.name: zone.title for zone in site.zones}
    return {
        target: {"near": near_lines(where, t), "far": far_lines(where, titles, t)}
        for target in walking_order(targets, there, site)
        for where in [there.get(target)]
    }


def what_words(key: str, language: str) -> str:
    """What an item or a finding is about, in a few words."""
    t = words.words(language)
    if key == BATTERY:
        return t("carry.battery_due")
    return t("carry.barred") if key == BARRED else t("carry.was", key=key)


def _stop(stop: Stop, carry: Carry, site: Site, t: words.Words, w: Words) -> Values:
    titles = {zone.name: zone.title for zone in site.zones}
    return {
        "target": stop.target,
        "name": stop.name,
        "zone": titles.get(stop.zone, stop.zone),
        "near": near_lines(stop.where, t),
        "far": far_lines(stop.where, titles, t),
        "jobs": [_job(job, stop, carry, t, w) for job in stop.jobs],
    }


def near_lines(where: Whereabouts | None, t: words.Words) -> list[str]:
    """How to find a place again: from the nearest stakes, how deep, and what is noted of it."""
    if where is None:
        return [t("carry.no_place")]
    place, burial = where.place, where.burial
    lines = [] if where.moved is None else [t("carry.moved", day=where.moved.day)]
    for way in where.stakes:
        bearing, metres = round(way.bearing_deg) % 360, f"{way.distance_m:.1f}"
        lines.append(t("carry.from_stake", stake=way.stake.name, bearing=bearing, metres=metres))
    if burial is not None and burial.depth_m is not None:
        values = {"depth": burial.depth_m, "least": burial.least_m, "most": burial.most_m}
        lines.append(t("carry.depth_today", **{name: f"{value:.1f}" for name, value in values.items()}))
    elif where.moved is None:
        lines.append(t("carry.depth", depth=f"{place.depth_m:.1f}"))
    return [*lines, t("carry.note", text=place.note)] if place.note else lines


def far_lines(where: Whereabouts | None, titles: Mapping[str, str], t: words.Words) -> list[str]:
    """The place by numbers, for who has lost its stakes."""
    if where is None:
        return []
    place = where.place
    zone, at = titles.get(place.zone, place.zone), {"x": f"{place.x_m:.1f}", "y": f"{place.y_m:.1f}"}
    lines = [t("carry.place", zone=zone, open=f"{place.plus_minus_m:g}", **at)]
    if where.lat_deg is not None and where.lon_deg is not None:
        lat, lon = (f"{degrees:.{DEGREES_SHOWN - 1}f}" for degrees in (where.lat_deg, where.lon_deg))
        lines.append(t("carry.earth", lat=lat, lon=lon))
    return lines


def _job(job: Job, stop: Stop, carry: Carry, t: words.Words, w: Words) -> Values:
    row = stop.row
    why = [] if row is None else [text for finding in job.findings for text in finding_words(finding, row, w)]
    if job.key == BATTERY and row is not None and row.battery is not None:
        battery = row.battery
        what = t("carry.do_battery", n=battery.cells, chemistry=chemistry_words(battery.chemistry, w))
        why = [advice_words(row, carry.upkeep, w), *why] if row.state in ("now", "soon") else []
    elif job.key == BARRED:
        what = t("carry.do_barred", why=stop.barred)
    else:
        what, why = _looked_at(job, row, t, w)
    return {"item": job.item, "key": job.key, "what": what, "why": why}


def _looked_at(job: Job, row: Row | None, t: words.Words, w: Words) -> tuple[str, list[str]]:
    """A finding's remedy first, since that is what is to be done; then what it says."""
    if job.key == BATTERY:
        return t("carry.do_battery_bare"), []
    if row is None or not job.findings:
        return t("carry.do_look", key=job.key), []
    says, remedy = finding_words(job.findings[0], row, w)
    return remedy, [says]


def _cells(cells: Cells, t: words.Words, w: Words) -> str:
    key = "cells_in_case" if not cells.needed else "cells_spare" if cells.spare else "cells"
    chemistry, capacity = chemistry_words(cells.chemistry, w), f"{cells.capacity_ah:.3g}"
    return t(f"carry.{key}", n=cells.needed, spare=cells.spare, chemistry=chemistry, capacity=capacity)


def _since(since: Since | None, carry: Carry, names: Mapping[TargetId, str], language: str) -> Values:
    t, w = words.words(language), words_of(language)
    if since is None:
        return {"title": t("carry.since_none"), "lines": []}
    before = since.before
    said = _sentences(carry, w)

    def about(item: str) -> dict[str, str]:
        return {"name": _name(target_of(item), names), "what": said.get(item) or _what(item, language)}

    lines = [
        *(t("carry.since_new", **about(item)) for item in since.new),
        *(t("carry.since_gone", **about(item)) for item in since.gone),
        *(t("carry.since_swapped", name=_name(target, names), day=day) for target, day in before.swapped),
        *(t("carry.since_added", name=_name(target, names)) for target in before.added),
        *(t("carry.since_taken_out", name=_name(target, names)) for target in before.taken_out),
        *(t("carry.since_barred", name=_name(target, names)) for target in before.barred),
    ]
    title = t("carry.since", visit=before.visit, day=before.day or "–")
    return {"title": title, "lines": lines or [t("carry.since_nothing")]}


def _what(item: str, language: str) -> str:
    return what_words(item.partition(":")[2], language)


def _name(target: TargetId, names: Mapping[TargetId, str]) -> str:
    return names.get(target) or str(target)
