"""The debrief of one exercise, from its facts: pure, recomputed each time, the same in whatever order they arrived.

    debrief(site, drill, facts, names, others=…, walls=…, started=…) -> Debrief

reading.py     the facts read once      gaps.py       signal away, controller dark, gross and net
touching.py    touched, called          stretches.py  where the time went
corrected.py   strikes, corrections     oddities.py   what is odd, what is missing
past.py        earlier times            alive.py      survival          probed.py    a probe line
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from fieldctl.debrief.corrected import corrections_told, strikes_of
from fieldctl.debrief.gaps import controller_gaps, heard_of, lost_us, signal_gaps
from fieldctl.debrief.model import Away, BurialDebrief, Debrief, Judge, Where
from fieldctl.debrief.oddities import anomalies_of, missing_of
from fieldctl.debrief.past import Past, before_of, past_of, usual_of
from fieldctl.debrief.reading import Reading, marks_of, marks_of_all, read
from fieldctl.debrief.stretches import longest_of, stretches_of
from fieldctl.debrief.touching import touches_of
from fieldctl.drill.plan import Burial, Drill
from fieldctl.events import ANYBODY, Fact
from fieldctl.site.model import Site
from fieldctl.units import PersonId, micros


def debrief(
    site: Site,
    drill: Drill,
    facts: Sequence[Fact],
    names: Mapping[PersonId, str],
    *,
    others: Iterable[Past] = (),
    walls: Mapping[str, str] | None = None,
    started: str | None = None,
) -> Debrief:
    """The debrief of the exercise whose facts these are (facts of its targets may be among them).

    `others` are earlier burials to compare with, `walls` wall labels of corrections by their id, `started` that of the
    start. ValueError unless the facts hold one start, KeyError where it names no target for a burial.
    """
    reading = read(drill, facts, names)
    dark = controller_gaps(reading)
    burials = [_burial(site, reading, b, dark) for b in drill.burials]
    technical = any(g.kind == "technical" for g in dark) or reading.result.state == "ledger-failed"
    earlier = tuple(others)
    exercise = reading.started.exercise
    burials = [
        replace(
            b,
            before=before_of(b, exercise, drill.name, earlier),
            usual=usual_of(b, len(burials) > 1, exercise, earlier),
        )
        for b in burials
    ]
    survival = None
    if site.debrief.survival is not None and not _of_the_public(reading):
        from fieldctl.debrief.alive import with_survival  # brings numpy

        rows, survival = with_survival(site.debrief, burials, technical)
        burials = list(rows)
    probe_line = None
    if any(b.signal.kind == "never" for b in drill.burials):
        from fieldctl.debrief.probed import probe_line_of  # brings numpy

        probe_line = probe_line_of(reading)
    strikes = strikes_of(reading)
    gaps = sorted((*dark, *(g for b in drill.burials for g in signal_gaps(reading, b.name, dark))), key=_gap_key)
    scene = drill.scene
    return Debrief(
        exercise=exercise,
        drill=drill.name,
        title=drill.title,
        started=started,
        state=reading.result.state,
        limit_us=micros(drill.limit_s),
        length_us=reading.length_us,
        start_plus_minus_us=reading.times.plus_minus_us,
        shift_us=reading.result.shift_us,
        searchers=tuple(reading.name(who) for who in reading.started.searchers),
        by=reading.name(reading.started.by),
        burials=tuple(burials),
        order=_order(burials),
        marks=marks_of_all(reading),
        strikes=strikes,
        gaps=tuple(gaps),
        corrections=corrections_told(reading, walls or {}),
        longest=longest_of([s for b in burials for s in b.stretches], reading.length_us),
        anomalies=anomalies_of(reading, burials, strikes),
        missing=missing_of(reading, burials),
        to_judge=tuple(Judge(j.source, j.burial, j.at_us, j.why) for j in reading.result.to_judge),
        repeat=technical,
        outline_m=tuple(scene.outline_m),
        entry_m=_entry(scene.outline_m, scene.last_seen_m),
        seen_m=scene.last_seen_m,
        probe_line=probe_line,
        survival=survival,
    )


def past(site: Site, drill: Drill, facts: Sequence[Fact]) -> tuple[Past, ...]:
    """What an earlier exercise is to be compared by; as `debrief`, without its words."""
    reading = read(drill, facts, {})
    dark = controller_gaps(reading)
    burials = [_burial(site, reading, b, dark) for b in drill.burials]
    technical = any(g.kind == "technical" for g in dark) or reading.result.state == "ledger-failed"
    return past_of(reading.started.exercise, drill.name, reading.result.state, technical, burials)


def _of_the_public(reading: Reading) -> bool:
    """Whether children searched, or whoever passed by: nobody is ever shown a survival figure of theirs."""
    return reading.drill.children or reading.started.by == ANYBODY


def _burial(site: Site, reading: Reading, burial: Burial, dark: Sequence[Away]) -> BurialDebrief:
    result = reading.result.burial(burial.name)
    marks = marks_of(reading, burial)
    gaps = (*dark, *signal_gaps(reading, burial.name, dark))
    finds = [
        (b.burial, b.find.moment.at_us)
        for b in reading.result.burials
        if b.find is not None and b.burial != burial.name
    ]
    found, gross, net, search = None, None, None, None
    if result.find is not None:
        m = result.find.moment
        found = next(k for k in marks if k.source == m.source and k.at_us == m.at_us)
        gross = m.at_us
        net = gross - lost_us(gaps, 0, gross)
        begin = 0 if burial.signal.kind == "never" else next((k.at_us for k in marks if k.name == "on"), None)
        if begin is not None and begin <= gross:
            search = gross - begin - lost_us(gaps, begin, gross)
    names = {p.target: p.name for p in site.places}
    return BurialDebrief(
        burial=burial.name,
        target=result.target,
        target_name=names.get(result.target, result.target),
        sends=burial.signal.kind != "never",
        level=burial.level,
        find_by=burial.find,
        sent=heard_of(result.sent, dark),
        marks=marks,
        stretches=stretches_of(reading, burial, marks, gaps, finds),
        found=found,
        find_kind=None if result.find is None else result.find.kind,
        searcher="" if result.find is None else reading.name(result.find.searcher),
        in_time=result.in_time,
        gross_us=gross,
        net_us=net,
        search_us=search,
        touches=touches_of(reading, burial, marks),
        where=_where(site, reading, burial.name),
    )


def _where(site: Site, reading: Reading, burial: str) -> Where | None:
    """Where it lay on that day: as the conditions of the start say, else as the site knows it now."""
    row = reading.started.conditions.get("places", {}).get(burial)
    try:
        if row is not None:
            azimuth, tilt = row.get("azimuth_deg"), row.get("tilt_deg")
            return Where(
                float(row["x_m"]),
                float(row["y_m"]),
                float(row["depth_m"]),
                None if azimuth is None else float(azimuth),
                None if tilt is None else float(tilt),
            )
        place = site.place(reading.started.picks[burial])
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
    axis = place.axis
    return Where(
        place.x_m,
        place.y_m,
        place.depth_m,
        None if axis is None else axis.azimuth_deg,
        None if axis is None else axis.tilt_deg,
    )


def _order(burials: Sequence[BurialDebrief]) -> tuple[tuple[str, ...], ...]:
    """The finds in order; where one lies inside the ± of the one before, which came first is not decided."""
    finds = sorted((b.found.at_us, b.burial, b.found.plus_minus_us) for b in burials if b.found is not None)
    groups: list[list[tuple[int, str, int]]] = []
    for row in finds:
        if groups and row[0] - groups[-1][-1][0] <= row[2] + groups[-1][-1][2]:
            groups[-1].append(row)
        else:
            groups.append([row])
    return tuple(tuple(name for _, name, _ in group) for group in groups)


def _entry(outline: Sequence[tuple[float, float]], seen: tuple[float, float] | None) -> tuple[float, float] | None:
    """Where searchers are taken to set out, as in the rehearsal: the corner nearest to the last-seen point, else the
    lowest one; None without an outline."""
    if len(outline) < 3:
        return None
    if seen is not None:
        return min(outline, key=lambda c: ((c[0] - seen[0]) ** 2 + (c[1] - seen[1]) ** 2, c))
    return min(outline, key=lambda c: (c[1], c[0]))


def _gap_key(gap: Away) -> tuple[int, str, str]:
    return (gap.from_us, gap.kind, gap.burial or "")
