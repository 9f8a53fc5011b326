"""Preview of a drill: how long each find is likely to take, how often it is made within the limit, what makes it hard.

    preview(site, drill, picks) -> Preview         an estimate by simulated searchers, and said to be one
    beside_recorded(preview, times) -> Preview     … beside the site's own times, once there are ten or more

Percentiles run over all repetitions, so that a burial found by three in four has no 90th: None means "not within the
limit". Times count from the start of the drill.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from types import MappingProxyType
from typing import Any

from fieldctl.drill.candidate import Picks
from fieldctl.drill.plan import Drill
from fieldctl.errors import BadInput
from fieldctl.rehearsal import skill as skills
from fieldctl.rehearsal.close_in import PAD_M, PROBE_M
from fieldctl.rehearsal.hard import Reason, minutes, reasons_for
from fieldctl.rehearsal.rehearse import Progress, check_wishes, rehearse
from fieldctl.rehearsal.scene import Assumed, Depths, OutlineFrom, Scene, scene_of
from fieldctl.rehearsal.strips import strip_width_for
from fieldctl.site.model import Site
from fieldctl.site.sending import MOMENT_FULL_AM2

SCHEMA = 1
RECORDED_LEAST = 10  # fewer say little, and show whose they were
SHARES = (0.1, 0.5, 0.9)
_NONE_LEFT_OUT: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds from the start by which 10, 50 and 90 % had found it, None: not within the limit; `share` found at all;
    `count` of how many."""

    p10_s: float | None
    p50_s: float | None
    p90_s: float | None
    share: float
    count: int

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {"p10_s": self.p10_s, "p50_s": self.p50_s, "p90_s": self.p90_s, "share": self.share, "count": self.count}


@dataclass(frozen=True, slots=True)
class BurialPreview:
    """One burial: `rehearsed` times, of which `share_by_line` was found by a probe line; `hard` why it is hard;
    `recorded` the site's own times, None below ten, and how many there are, `recorded_count`; `left_out` how many more
    are of a burial or a limit that was another then."""

    name: str
    target: str
    depth_m: float
    rehearsed: Times
    share_by_line: float
    hard: tuple[Reason, ...]
    recorded: Times | None = None
    recorded_count: int = 0
    left_out: int = 0

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "name": self.name,
            "target": self.target,
            "depth_m": self.depth_m,
            "rehearsed": self.rehearsed.as_json(),
            "share_by_line": self.share_by_line,
            "hard": [{"kind": reason.kind, "text": reason.text} for reason in self.hard],
            "recorded": None if self.recorded is None else self.recorded.as_json(),
            "recorded_count": self.recorded_count,
            "left_out": self.left_out,
        }


@dataclass(frozen=True, slots=True)
class Preview:
    """A rehearsed drill; `said` is what every page must show with the figures."""

    site: str
    drill: str
    title: str
    runs: int
    skill: str
    searchers: int
    seed: int
    limit_s: float
    outline_from: OutlineFrom
    strip_m: float
    burials: tuple[BurialPreview, ...]
    assumed: tuple[Assumed, ...]
    assumptions: tuple[str, ...]
    said: str

    def burial(self, name: str) -> BurialPreview:
        """The burial of that name; KeyError when there is none."""
        for burial in self.burials:
            if burial.name == name:
                return burial
        raise KeyError(name)

    def as_json(self) -> dict[str, Any]:
        """The preview as a JSON object with stable keys."""
        return {
            "schema": SCHEMA,
            "site": self.site,
            "drill": self.drill,
            "title": self.title,
            "runs": self.runs,
            "skill": self.skill,
            "searchers": self.searchers,
            "seed": self.seed,
            "limit_s": self.limit_s,
            "outline_from": self.outline_from,
            "strip_m": self.strip_m,
            "burials": [burial.as_json() for burial in self.burials],
            "assumed": [{"burial": a.burial, "what": a.what, "taken": a.taken} for a in self.assumed],
            "assumptions": list(self.assumptions),
            "said": self.said,
        }


def preview(
    site: Site,
    drill: Drill,
    picks: Picks,
    *,
    runs: int = 1000,
    skill: str = "trained",
    searchers: int = 1,
    seed: int = 0,
    progress: Progress | None = None,
    workers: int = 1,
    depths_m: Depths | None = None,
) -> Preview:
    """Rehearse a staffed drill. `progress` is told the share done; `workers` are processes, and change no figure.

    BadInput for values out of bounds and for a drill that this field cannot play, each with the nearest that can be
    had; NotFound for a burial without a target.
    """
    check_wishes(runs, searchers, seed, workers)
    level = skills.skill_of(skill)
    scene = scene_of(site, drill, picks, depths_m)
    tally = rehearse(scene, level, runs=runs, searchers=searchers, seed=seed, workers=workers, progress=progress)
    shares, times = tally.share(), [tally.time_to(share) for share in SHARES]
    burials = tuple(
        BurialPreview(
            name=name,
            target=scene.targets[k],
            depth_m=float(scene.depths_m[k]),
            rehearsed=Times(times[0][k], times[1][k], times[2][k], float(shares[k]), runs),
            share_by_line=float(tally.by_line[k] / runs),
            hard=reasons_for(scene, tally, k),
        )
        for k, name in enumerate(scene.names)
    )
    return Preview(
        site=site.name,
        drill=drill.name,
        title=drill.title,
        runs=runs,
        skill=level.name,
        searchers=searchers,
        seed=seed,
        limit_s=drill.limit_s,
        outline_from=scene.outline_from,
        strip_m=strip_width_for(MOMENT_FULL_AM2),
        burials=burials,
        assumed=scene.assumed,
        assumptions=_assumptions(scene, searchers, today=depths_m is not None),
        said=_said(runs, level.name, searchers),
    )


def _said(runs: int, skill: str, searchers: int) -> str:
    people = "1 simulated searcher" if searchers == 1 else f"{searchers} simulated searchers"
    return (
        f"An estimate by {people} ({skill}) in {runs} rehearsals on paper. Real people on real snow differ; "
        "it promises nothing and measures nobody."
    )


def _assumptions(scene: Scene, searchers: int, *, today: bool) -> tuple[str, ...]:
    """What every rehearsal takes for granted, in words."""
    rows = [
        skills.SAID[0].upper() + skills.SAID[1:],
        "the surface is level, and walking is equally easy everywhere",
        "depths are those of today, by the snow as it was last measured"
        if today
        else "depths are those of the day of the survey",
        f"a full signal has {1000 * MOMENT_FULL_AM2:.1f}e-3 A·m², the middle of what the published field limits allow",
        "receivers have three antennas and hear down to 80 nA/m (EN 282:1991, second-hand), give or take their spread",
        f"search strips are at most {strip_width_for(MOMENT_FULL_AM2):.0f} m wide",
        f"pads are round, level and {100 * PAD_M:.0f} cm wide; probes are {PROBE_M} m long",
        "everybody is there from the start and is not told how many are buried; the scene's cues are not played",
        "nobody digs: times end with the hit or the call",
    ]
    if (~scene.sends).any():
        rows.append("who has walked all strips joins a probe line, three holes a step on 60 × 70 cm")
        rows.append("a pad is smaller than a person, so that a probe line passes it by more often")
    if searchers > 1:
        rows.append("searchers share out the strips, tell each other what they find, and lend a probe when idle")
    return tuple(rows)


def beside_recorded(
    of: Preview, recorded: Mapping[str, Sequence[float | None]], left_out: Mapping[str, int] = _NONE_LEFT_OUT
) -> Preview:
    """The preview with the site's own recorded times beside it: by burial, seconds from the start of each exercise,
    None where the burial was not found. A burial with fewer than ten has only their number. `left_out`: by burial, how
    many more are of another plan. BadInput for a burial that the drill does not have, or a time below 0."""
    names = {burial.name for burial in of.burials}
    for name, times in recorded.items():
        if name not in names:
            raise BadInput(
                f"times were given for burial {name!r}, which this drill does not have.",
                expected=", ".join(sorted(names)),
                remedy="Give the times of this drill.",
            )
        if any(t is not None and not t >= 0.0 for t in times):
            raise BadInput(
                f"a recorded time of burial {name} is below 0.", expected="seconds from the start", remedy="Mend it."
            )
    burials = tuple(
        replace(
            b,
            recorded=recorded_times(recorded.get(b.name, ())),
            recorded_count=len(recorded.get(b.name, ())),
            left_out=left_out.get(b.name, 0),
        )
        for b in of.burials
    )
    return replace(of, burials=burials)


def recorded_times(times: Sequence[float | None]) -> Times | None:
    """Percentiles of recorded times, counted as those of the rehearsal are; None below ten."""
    if len(times) < RECORDED_LEAST:
        return None
    found = sorted(t for t in times if t is not None)

    def by(share: float) -> float | None:
        place = ceil(share * len(times) - 1e-9)
        return found[place - 1] if place <= len(found) else None

    return Times(by(0.1), by(0.5), by(0.9), len(found) / len(times), len(times))


def as_lines(of: Preview) -> tuple[str, ...]:
    """The preview as lines of text for a terminal or an alternative to the picture."""

    def times(of: Times) -> str:
        rows = ((10, of.p10_s), (50, of.p50_s), (90, of.p90_s))
        return ", ".join(f"{n} % {'not within the limit' if s is None else 'by ' + minutes(s)}" for n, s in rows)

    lines = [f"{of.title}: {of.said}"]
    for b in of.burials:
        share = 100 * b.rehearsed.share
        lines.append(f"{b.name}: found by {share:.0f} % within {minutes(of.limit_s)}; {times(b.rehearsed)}")
        if b.recorded is not None:
            own = b.recorded
            lines.append(f"  recorded here, {own.count} times: found by {100 * own.share:.0f} %; {times(own)}")
        if b.left_out:
            lines.append(f"  recorded here and left out, as the burial or the limit was another then: {b.left_out}")
        lines.extend(f"  {reason.text}" for reason in b.hard)
    lines.extend(f"Assumed: {a}" for a in of.assumed)
    lines.extend(f"In every rehearsal: {a}." for a in of.assumptions)
    return tuple(lines)
