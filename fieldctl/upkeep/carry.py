"""The carry list: where to go on this visit and in which order, what to do there, what to take along, what is new.

    carry_of(upkeep, site, snow, barred, names, before, box) -> Carry     pure; `carry_read` reads what it needs

A target is on the way where its battery is to be changed now or soon, where it is barred until it is dug out, or where
something was found, likely or sure, that can only be put right there; what may wait is done where somebody goes anyway.
What is mended at the desk, and what waits at targets where nobody goes, is a list of its own. Cells are counted by
kind, the club's kit among them, with a spare set for every ten targets (a set is changed whole, and one may be
dropped), and sets in case for what may turn out to be the battery. What a signed retrieval brought in is in the box:
nobody walks for it, and it is named apart.
"""

from __future__ import annotations

import datetime
import math
from collections import Counter
from collections.abc import Collection, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldctl.site.model import PROBE_IN_HANDS_M, Battery, Site, Stake
from fieldctl.site.whereabouts import Snow, Whereabouts, whereabouts
from fieldctl.units import TargetId
from fieldctl.upkeep.account import Finding, Row, Upkeep
from fieldctl.upkeep.kit import KitRow
from fieldctl.upkeep.route import Point, length_m, walk
from fieldctl.upkeep.visits import BATTERY, target_of

BARRED = "barred"  # the key of the item that is to dig a barred target out
AT_THE_DESK = frozenset(
    (
        *("kind-unknown", "never-read", "too-many-volts", "load-above-rest", "thermometer", "uses-more"),
        *("done-not-ticked", "outside-no-go", "under-blade", "unproved", "never-proved", "line-loses"),
    )
)
"""Findings whose remedy needs no walk, or not this one; whatever is not named here is looked at on the spot."""

SURVEYS = ("depth-", "creep")  # begin the findings that want a survey: made where somebody is anyway

IN_CASE = frozenset(("silent", "no-volts", "wrong-way-round", "may-freeze", "ticked-not-done"))
"""Findings that may turn out to be the battery: a set is taken along."""

PARTS = {"pad": "pad", "link": "cable", "housing": "housing"}  # what a finding about it may need
SPARE_EVERY = 10  # targets for which one more set is taken along


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to do at a target; `findings` are what speaks for it."""

    item: str  # "target:key"
    findings: tuple[Finding, ...] = ()

    @property
    def key(self) -> str:
        """What is to be done: "battery", "barred", or the key of a finding."""
        return self.item.partition(":")[2]


@dataclass(frozen=True, slots=True)
class Stop:
    """One target on the way; `row` and `where` are None where it has no account or was not surveyed."""

    target: TargetId
    name: str
    zone: str
    where: Whereabouts | None
    row: Row | None
    barred: str  # why, "" where it is not
    jobs: tuple[Job, ...]


@dataclass(frozen=True, slots=True)
class Cells:
    """Cells of one kind to take along: to put in, and to have."""

    chemistry: str
    capacity_ah: float
    targets: int
    needed: int
    spare: int


@dataclass(frozen=True, slots=True)
class Before:
    """What was known when the last signed visit began, and what happened after that."""

    visit: str
    day: str
    found: tuple[str, ...]
    swapped: tuple[tuple[TargetId, str], ...] = ()
    added: tuple[TargetId, ...] = ()
    taken_out: tuple[TargetId, ...] = ()
    barred: tuple[TargetId, ...] = ()


@dataclass(frozen=True, slots=True)
class Since:
    """What is otherwise than at the last signed visit; findings as "target:key"."""

    before: Before
    new: tuple[str, ...]
    gone: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Carry:
    """The whole list."""

    today: datetime.date
    upkeep: Upkeep
    start: str  # the stake that the way begins at, "" where there is none
    way_m: float
    stops: tuple[Stop, ...]
    desk: tuple[tuple[Row, Finding], ...]
    cells: tuple[Cells, ...]
    parts: tuple[tuple[str, int], ...]
    tools: tuple[str, ...]
    probe_m: float
    found: tuple[str, ...]
    since: Since | None
    box: tuple[tuple[TargetId, str, str], ...]  # what a retrieval brought in, its name, and since when
    there: Mapping[TargetId, Whereabouts]  # every place of the site, whether or not anybody goes there

    @property
    def items(self) -> tuple[str, ...]:
        """Everything that is to be ticked, in walking order."""
        return tuple(job.item for stop in self.stops for job in stop.jobs)


def carry_of(
    upkeep: Upkeep,
    site: Site,
    snow: Snow,
    barred: Mapping[TargetId, str],
    names: Mapping[TargetId, str],
    before: Before | None,
    box: Mapping[TargetId, str],
) -> Carry:
    """The list of this visit. `barred` gives why, `names` what people call targets that have no account any more,
    `box` since when a target is in the box.
    """
    boxed = tuple((target, _called(target, names, site), day) for target, day in box.items())
    upkeep = replace(upkeep, rows=tuple(row for row in upkeep.rows if row.place.target not in box))
    barred = {target: why for target, why in barred.items() if target not in box}
    if before is not None:
        before = replace(before, found=tuple(item for item in before.found if target_of(item) not in box))
    there = {place.target: whereabouts(site, place.target, snow, upkeep.today) for place in site.places}
    stops = [
        Stop(target, row.place.name, row.place.zone, there.get(target), row, barred.get(target, ""), _jobs(row, barred))
        for row in upkeep.rows
        for target in [row.place.target]
    ]
    for target in sorted(set(barred) - {stop.target for stop in stops}):  # taken out, and never dug out
        where = there.get(target)
        name = _called(target, names, site)
        zone = "" if where is None else where.place.zone
        stops.append(Stop(target, name, zone, where, None, barred[target], (Job(f"{target}:{BARRED}"),)))
    on_the_way = _in_order([stop for stop in stops if stop.jobs], site)
    found = {f"{row.place.target}:{finding.key}" for row in upkeep.rows for finding in row.findings}
    found |= {job.item for stop in on_the_way for job in stop.jobs}
    start, way = _start(site), [point for stop in on_the_way if (point := _point(stop.where)) is not None]
    return Carry(
        upkeep.today,
        upkeep,
        "" if start is None else start.name,
        length_m(_from(start, way), way),
        tuple(on_the_way),
        _desk(upkeep, {stop.target for stop in on_the_way}),
        _cells(on_the_way, upkeep.kit),
        _parts(on_the_way),
        _tools(on_the_way),
        _probe_m(on_the_way, site),
        tuple(sorted(found)),
        None if before is None else since(before, found),
        boxed,
        there,
    )


def _called(target: TargetId, names: Mapping[TargetId, str], site: Site) -> str:
    surveyed = (place.name for place in site.places if place.target == target)
    return names.get(target) or next(surveyed, str(target))


def _desk(upkeep: Upkeep, on_the_way: Container[TargetId]) -> tuple[tuple[Row, Finding], ...]:
    """What needs no walk, and what may be nothing at targets where nobody goes."""
    return tuple(
        (row, finding)
        for row in upkeep.rows
        for finding in row.findings
        if at_the_desk(finding) or row.place.target not in on_the_way
    )


def at_the_desk(finding: Finding) -> bool:
    """Whether its remedy needs no walk."""
    return finding.key in AT_THE_DESK


def may_wait(finding: Finding) -> bool:
    """Whether nobody goes there for this alone: it may be nothing, or is a survey."""
    return finding.sure == "perhaps" or finding.key.startswith(SURVEYS)


def since(before: Before, found: Collection[str]) -> Since:
    """What was found since a visit began, and what is found no more."""
    return Since(before, tuple(sorted(set(found) - set(before.found))), tuple(sorted(set(before.found) - set(found))))


def _jobs(row: Row, barred: Container[TargetId]) -> tuple[Job, ...]:
    target = row.place.target
    jobs = [Job(f"{target}:{BARRED}")] if target in barred else []
    here = [finding for finding in row.findings if not at_the_desk(finding)]
    change = row.state in ("now", "soon") and row.battery is not None
    if not change and not jobs and all(may_wait(finding) for finding in here):
        return ()
    if change:
        jobs.append(Job(f"{target}:{BATTERY}", tuple(f for f in here if f.about == "battery")))
    seen: set[str] = set()
    for finding in here:
        if finding.key not in seen and not (change and finding.about == "battery"):
            seen.add(finding.key)
            jobs.append(Job(f"{target}:{finding.key}", (finding,)))
    return tuple(jobs)


def _start(site: Site) -> Stake | None:
    return site.stakes[0] if site.stakes else None


def _from(start: Stake | None, way: Sequence[Point]) -> Point:
    if start is not None:
        return start.x_m, start.y_m
    return way[0] if way else (0.0, 0.0)


def _point(where: Whereabouts | None) -> Point | None:
    return None if where is None else (where.place.x_m, where.place.y_m)


def _in_order(stops: Sequence[Stop], site: Site) -> list[Stop]:
    way = walking_order([stop.target for stop in stops], {stop.target: stop.where for stop in stops}, site)
    return sorted(stops, key=lambda stop: way.index(stop.target))


def walking_order(
    targets: Iterable[TargetId], there: Mapping[TargetId, Whereabouts | None], site: Site
) -> list[TargetId]:
    """From the first stake (the first target where there is none); what has no place comes last."""
    file_order = {target: n for n, target in enumerate(site.targets)}
    ordered = sorted(targets, key=lambda target: (file_order.get(target, len(file_order)), target))
    placed = [(target, point) for target in ordered if (point := _point(there.get(target))) is not None]
    points = [point for _, point in placed]
    way = [placed[i][0] for i in walk(_from(_start(site), points), points)]
    return [*way, *(target for target in ordered if target not in set(way))]


def _probe_m(stops: Sequence[Stop], site: Site) -> float:
    """A probe that reaches the deepest of them as far as anybody can say, and no shorter than the site's usual one."""
    deepest = 0.0
    for stop in stops:
        if stop.where is not None:
            most = None if stop.where.burial is None else stop.where.burial.most_m
            deepest = max(deepest, stop.where.place.depth_m if most is None else most)
    return max(site.upkeep.probe_m, math.ceil((deepest + PROBE_IN_HANDS_M) * 10) / 10)


def _cells(stops: Sequence[Stop], kit: Sequence[KitRow] = ()) -> tuple[Cells, ...]:
    put_in: dict[tuple[str, float], list[Battery]] = {}
    in_case: dict[tuple[str, float], list[Battery]] = {}
    for stop in stops:
        battery = None if stop.row is None else stop.row.battery
        if battery is None:
            continue
        kind = (battery.chemistry, battery.capacity_ah)
        if any(job.key == BATTERY for job in stop.jobs):
            put_in.setdefault(kind, []).append(battery)
        elif any(finding.key in IN_CASE for job in stop.jobs for finding in job.findings):
            in_case.setdefault(kind, []).append(battery)
    lent: dict[tuple[str, float], int] = {}  # changed in the hut, where nothing is dropped into the snow: no spares
    for item in kit:
        if item.wants_cells and item.battery is not None:
            kind = (item.battery.chemistry, item.battery.capacity_ah)
            lent[kind] = lent.get(kind, 0) + item.battery.cells
    made = []
    for kind in sorted({*put_in, *in_case, *lent}):
        sure, perhaps = put_in.get(kind, []), in_case.get(kind, [])
        largest = max((battery.cells for battery in (*sure, *perhaps)), default=0)
        spare = math.ceil(len(sure) / SPARE_EVERY) * largest + sum(battery.cells for battery in perhaps)
        needed = sum(battery.cells for battery in sure) + lent.get(kind, 0)
        made.append(Cells(*kind, len(sure), needed, spare))
    return tuple(made)


def _parts(stops: Sequence[Stop]) -> tuple[tuple[str, int], ...]:
    found: Counter[str] = Counter()
    for stop in stops:
        found.update({PARTS[f.about] for job in stop.jobs for f in job.findings if f.about in PARTS})
    return tuple(sorted(found.items()))


def _tools(stops: Sequence[Stop]) -> tuple[str, ...]:
    """By key, in the order in which they are packed; the receiver is for the listening walk on every visit."""
    if not stops:
        return ("receiver",)
    return ("receiver", "probe", "shovel", *(("meter", "labels") if _cells(stops) else ()))
