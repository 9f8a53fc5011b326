"""A season for other programs: JSON with its schema, and CSV with one row for each burial.

    as_row(season, names) -> dict       what `fieldctl season --json` prints beside the schema number
    csv_lines(season, names)            for a club's own table
    SCHEMA                              JSON Schema of the former (draft 2020-12)

A median stands there only where it is claimed. Times are seconds. People are named where a name is still kept.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from fieldctl.debrief.kaplan import FINDS_LEAST, GROUPS_LEAST, Curve, Ratio
from fieldctl.debrief.season import Person, Season
from fieldctl.debrief.season_words import Names, name_of
from fieldctl.tables import csv_line, list_of, object_of

NUMBER = 1  # of the schema
STEPS_MOST = 200  # of a curve
COLUMNS = (
    "day", "exercise", "drill", "assessed", "state", "searchers", "burial", "signal", "found", "found_s",
    "plus_minus_s", "by", "finder", "in_time", "own_s", "order", "others_on_air", "nearest_signal_m", "depth_m",
    "hit_s", "call_s", "left_out",
)  # fmt: skip


def as_row(season: Season, names: Names) -> dict[str, Any]:
    """The season as JSON-able values."""
    return {
        "what": "fieldctl season",
        "season_schema": NUMBER,
        "since": season.since,
        "until": season.until,
        "first_day": season.first_day,
        "last_day": season.last_day,
        "claims_from": {"finds": FINDS_LEAST, "groups": GROUPS_LEAST},
        "exercises": season.exercises,
        "drills": dict(season.drills),
        "states": dict(season.states),
        "time_to_find": {"signal": _curve(season.signal, steps=True), "probing": _curve(season.probing, steps=True)},
        "kinds": [
            {"kind": k.key, **_curve(k.curve), "rest": _curve(k.rest), "ratio": _ratio(k.ratio), "slow": k.slow}
            for k in season.kinds
        ],
        "people": [_person(one, names) for one in season.people],
        "teams": [
            {
                "people": [name_of(who, names) for who in team.people],
                "ids": list(team.people),
                "exercises": team.exercises,
                **_curve(team.curve),
            }
            for team in season.teams
        ],
        "teams_in_all": season.teams_in_all,
        "left_out": dict(season.left_out),
        "anomalies": season.anomalies,
        "to_judge": season.to_judge,
        "corrections": season.corrections,
        "undated": season.undated,
        "unnamed": season.unnamed,
        "unreadable": [{"exercise": row.exercise, "why": row.why} for row in season.unreadable],
    }


def _person(one: Person, names: Names) -> dict[str, Any]:
    return {
        "person": one.person,
        "name": names.get(one.person),  # type: ignore[call-overload]
        "exercises": one.exercises,
        "hours": round(one.hours, 2),
        "first_day": one.first_day,
        "last_day": one.last_day,
        **_curve(one.curve),
        "progress": _ratio(one.progress.ratio),
    }


def _curve(curve: Curve, *, steps: bool = False) -> dict[str, Any]:
    median = curve.claimed
    row: dict[str, Any] = {
        "looked_for": curve.looked_for,
        "found": curve.found,
        "median_s": None if median is None else median.s,
        "median_low_s": None if median is None else median.low_s,
        "median_high_s": None if median is None else median.high_s,
    }
    if steps:
        few = np.unique(np.linspace(0, curve.times_s.size - 1, min(STEPS_MOST, curve.times_s.size)).astype(int))
        row["steps"] = [
            {
                "s": float(curve.times_s[k]),
                "not_found": round(float(curve.share[k]), 6),
                "low": _maybe(curve.low[k]),
                "high": _maybe(curve.high[k]),
                "still": int(curve.at_risk[k]),
            }
            for k in few
        ]
    return row


def _maybe(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 6)


def _ratio(ratio: Ratio | None) -> dict[str, Any] | None:
    if ratio is None:
        return None
    return {
        "times": round(ratio.times, 4),
        "low": None if ratio.low is None else round(ratio.low, 4),
        "high": None if ratio.high is None else round(ratio.high, 4),
        "sure": ratio.sure,
    }


def csv_lines(season: Season, names: Names) -> Iterator[str]:
    """One line for each burial of each exercise, with a heading; True is 1, False 0, unknown empty."""
    yield csv_line(COLUMNS)
    for row in season.rows:
        for b in row.burials:
            who, finder = name_of(" + ".join(row.searchers), names), name_of(b.searcher, names)
            exercise = (row.day, row.exercise, row.drill, row.assessed, row.state, who)
            find = (b.found, b.found_s, b.plus_minus_s, b.kind, finder, b.in_time)
            rest = (b.own_s, b.order, b.others, b.near_m, b.depth_m, b.hit_s, b.call_s, b.left_out)
            yield csv_line((*exercise, b.burial, b.signal, *find, *rest))


_COUNT = {"type": "integer", "minimum": 0}
_TEXT = {"type": "string"}
_DAY = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
_SECONDS = {"type": ["number", "null"], "minimum": 0}
_SHARE = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
_COUNTS = {"type": "object", "additionalProperties": _COUNT}
_CURVE = {
    "looked_for": _COUNT,
    "found": _COUNT,
    "median_s": _SECONDS,
    "median_low_s": _SECONDS,
    "median_high_s": _SECONDS,
}
_STEP = object_of(s={"type": "number", "minimum": 0}, not_found=_SHARE, low=_SHARE, high=_SHARE, still=_COUNT)
_STEPS = object_of(**_CURVE, steps={"type": "array", "items": _STEP, "maxItems": STEPS_MOST})
_TIMES = {"type": ["number", "null"], "exclusiveMinimum": 0}
_RATIO = {
    "anyOf": [
        {"type": "null"},
        object_of(times={"type": "number", "exclusiveMinimum": 0}, low=_TIMES, high=_TIMES, sure={"type": "boolean"}),
    ]
}


SCHEMA: dict[str, Any] = {
    "title": "fieldctl season",
    **object_of(
        schema={"const": 1},
        what={"const": "fieldctl season"},
        season_schema={"const": NUMBER},
        site=_TEXT,
        version=_TEXT,
        head=_COUNT,
        since=_DAY,
        until=_DAY,
        first_day=_DAY,
        last_day=_DAY,
        claims_from=object_of(finds=_COUNT, groups=_COUNT),
        exercises=_COUNT,
        drills=_COUNTS,
        states=_COUNTS,
        time_to_find=object_of(signal=_STEPS, probing=_STEPS),
        kinds=list_of(
            object_of(kind=_TEXT, **_CURVE, rest=object_of(**_CURVE), ratio=_RATIO, slow={"type": "boolean"})
        ),
        people=list_of(
            object_of(
                person=_TEXT,
                name={"type": ["string", "null"]},
                exercises=_COUNT,
                hours={"type": "number", "minimum": 0},
                first_day=_DAY,
                last_day=_DAY,
                **_CURVE,
                progress=_RATIO,
            )
        ),
        teams=list_of(object_of(people=list_of(_TEXT), ids=list_of(_TEXT), exercises=_COUNT, **_CURVE)),
        teams_in_all=_COUNT,
        left_out=_COUNTS,
        anomalies=_COUNT,
        to_judge=_COUNT,
        corrections=_COUNT,
        undated=_COUNT,
        unnamed=_COUNT,
        unreadable=list_of(object_of(exercise=_TEXT, why=_TEXT)),
    ),
}
"""What `fieldctl season --json` prints; site, version and head are put in by the command."""
