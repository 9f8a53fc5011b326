"""An assessment's sheet: conditions that day, what the field measured and an observer saw, a verdict, two signatures.

    sheet_of(facts, beside, candidate) -> Sheet     made from the log alone; plain values, people by id
    standing(facts, beside, candidate) -> Standing  the sheet as it was decided, who signed it, what changed since

The field proposes, a person decides:

    what there is                                            proposal
    something technical                                      repeat   (never failed)
    a find inside the ± of the limit, something to judge,
      a call where no pad was touched                        assessor
    every burial found in time                               passed
    anything else                                            failed

The sheet that was decided lies whole in the log, and what is signed is its digest: a later survey or another version of
this program makes another sheet, never this one. What they would say now is shown beside it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldctl import __version__
from fieldctl.debrief.technical import technical_faults
from fieldctl.drill.corrections import in_force
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.plan import Drill
from fieldctl.drill.score import BurialResult, Result, score
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import (
    AssessmentDecided,
    AssessmentSigned,
    AssessmentTicked,
    Corrected,
    ExerciseEnded,
    ExerciseStarted,
    Fact,
)
from fieldctl.units import seconds

FORM = 1  # of the sheet
PASSED, FAILED, REPEAT, ASSESSOR, NOT_OVER = "passed", "failed", "repeat", "assessor", "not-over"
VERDICTS = (PASSED, FAILED, REPEAT)
ROLES = ("assessor", "second")
VALUES = ("yes", "no", "not seen")
ITEMS = (
    "hazard", "alarm", "switched", "eyes", "strips", "coarse", "fine", "probing", "marking", "digging", "airway",
    "lead",
)  # fmt: skip
"""What an observer may tick; words of the trade, free ones are taken as well."""

Sheet = dict[str, Any]


def sheet_of(facts: Sequence[Fact], beside: Iterable[Fact], candidate: str) -> Sheet:
    """The sheet of one candidate as it is now; ValueError where the exercise cannot be read or was not assessed.

    `beside` are facts about its targets that name no exercise (strikes that were dropped, odd targets).
    """
    started = next((fact for fact in facts if isinstance(fact, ExerciseStarted)), None)
    if started is None:
        raise ValueError("its start is not in the log, or was written by a newer version")
    drill = drill_from_plan(started.plan)
    if not drill.assessed:
        raise ValueError(f"its drill {drill.name} is not marked as assessed")
    if candidate not in started.searchers:
        raise ValueError(f"{candidate} does not search in it")
    result = score(drill, facts)
    times = timeline(facts)
    faults = technical_faults(drill, facts, tuple(beside), result)
    burials = [_burial(drill, row, result, started) for row in result.burials]
    early = _stopped_early(drill, result, times, facts)
    proposal, because = _proposal(result, faults, burials, early=early)
    return {
        "form": FORM,
        "version": __version__,
        "exercise": started.exercise,
        "candidate": candidate,
        "searchers": list(started.searchers),
        "drill": drill.name,
        "title": drill.title,
        "limit_s": drill.limit_s,
        "seed": started.seed,
        "state": result.state,
        "conditions": _plain(started.conditions),
        "plan": _plain(started.plan),
        "start_plus_minus_s": seconds(result.start_plus_minus_us),
        "shift_s": seconds(result.shift_us),
        "burials": burials,
        "splits": [_moment(name, moment) for name, moment in result.splits],
        "technical": [{"key": key, "about": about, "says": says} for key, about, says in faults],
        "to_judge": [{"source": row.source, "burial": row.burial, "why": row.why} for row in result.to_judge],
        "corrections": [
            {"change": c.change, "about": c.about, "value": c.value, "by": c.by, "why": c.why}
            for c in in_force([fact for fact in facts if isinstance(fact, Corrected)], times)
        ],
        "ticks": [
            {"item": tick.item, "value": tick.value, "why": tick.why, "by": tick.by, "by_hand": tick.by_hand}
            for tick in ticks_of(facts, candidate)
        ],
        "proposal": proposal,
        "because": because,
    }


def ticks_of(facts: Iterable[Fact], candidate: str) -> list[AssessmentTicked]:
    """The latest tick of each item, in the order of the items, free ones last."""
    latest: dict[str, AssessmentTicked] = {}
    ticks = [f for f in facts if isinstance(f, AssessmentTicked) and f.candidate == candidate]
    for tick in sorted(ticks, key=lambda tick: (tick.nth, tick.tick)):
        latest[tick.item] = tick
    place = {item: n for n, item in enumerate(ITEMS)}
    return sorted(latest.values(), key=lambda tick: (place.get(tick.item, len(place)), tick.item))


def _burial(drill: Drill, row: BurialResult, result: Result, started: ExerciseStarted) -> dict[str, Any]:
    plan, find = drill.burial(row.burial), row.find
    limit = "not-found" if find is None else {True: "kept", False: "not-kept", None: "inside"}[row.in_time]
    place = (started.conditions.get("places") or {}).get(row.burial) or {}
    return {
        "burial": row.burial,
        "target": row.target,
        "signal": plan.signal.kind,
        "level": plan.level,
        "keying": {"period_ms": plan.keying.period_ms, "on_ms": plan.keying.on_ms},
        "depth_m": place.get("depth_m"),
        "azimuth_deg": place.get("azimuth_deg"),
        "tilt_deg": place.get("tilt_deg"),
        "found_s": None if find is None else seconds(find.moment.at_us),
        "plus_minus_s": None if find is None else seconds(find.moment.plus_minus_us + result.start_plus_minus_us),
        "kind": None if find is None else find.kind,
        "finder": None if find is None else find.searcher,
        "limit": limit,
        "hit_s": seconds(row.hits[0].at_us) if row.hits else None,
        "call_s": seconds(row.calls[0].at_us) if row.calls else None,
        "untouched": bool(row.calls) and not row.hits,
        "splits": [_moment(name, moment) for name, moment in row.splits],
    }


def _moment(name: str, moment: Any) -> dict[str, Any]:
    return {"name": name, "s": seconds(moment.at_us), "plus_minus_s": seconds(moment.plus_minus_us)}


def _stopped_early(drill: Drill, result: Result, times: Timeline, facts: Iterable[Fact]) -> bool:
    """Whether a person stopped it before its limit, so that nobody had the whole time."""
    if result.state != "stopped":
        return False
    ends = [times.since_start(f.at) for f in facts if isinstance(f, ExerciseEnded) and f.how == "stopped"]
    return any(end is None or seconds(end - result.shift_us) < drill.limit_s for end in ends[-1:])


def _proposal(
    result: Result, faults: Sequence[Any], burials: Sequence[Mapping[str, Any]], *, early: bool
) -> tuple[str, list[str]]:
    """What the field proposes, and the keys of why."""
    if result.state == "running":
        return NOT_OVER, ["running"]
    if faults:
        return REPEAT, ["technical"]
    open_ends = [key for key, there in _open_ends(result, burials, early) if there]
    if open_ends:
        return ASSESSOR, open_ends
    limits = {row["limit"] for row in burials}
    if limits == {"kept"}:
        return PASSED, ["in-time"]
    return FAILED, sorted(limits - {"kept"})


def _open_ends(result: Result, burials: Sequence[Mapping[str, Any]], early: bool) -> Iterable[tuple[str, bool]]:
    yield "stopped", early and any(row["limit"] == "not-found" for row in burials)
    yield "inside", any(row["limit"] == "inside" for row in burials)
    yield "to-judge", bool(result.to_judge)
    yield "untouched", any(row["untouched"] for row in burials)


def _plain(value: Any) -> Any:
    """Plain JSON values: what comes from a ledger holds tuples."""
    return json.loads(json.dumps(value, default=dict))


def digest_of(sheet: Mapping[str, Any]) -> str:
    """What is signed: SHA-256 of the sheet in one spelling, 64 hexadecimal digits."""
    text = json.dumps(sheet, sort_keys=True, separators=(",", ":"), ensure_ascii=True, default=dict)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one candidate's assessment stands; `sheet` is the decided one, else as it would be decided now."""

    sheet: Sheet
    digest: str
    decided: AssessmentDecided | None
    signed: Mapping[str, AssessmentSigned]  # by role: those under this very sheet
    void: int  # signatures under an earlier sheet
    altered: bool  # the sheet on file is not the one that was decided
    now: tuple[str, ...]  # what would be another value now, dotted names; () where nothing would

    @property
    def final(self) -> bool:
        """Whether it is decided and signed by two people."""
        both = len(self.signed) == len({row.by for row in self.signed.values()}) == len(ROLES)
        return self.decided is not None and not self.altered and both


def standing(facts: Sequence[Fact], beside: Iterable[Fact], candidate: str) -> Standing:
    """Where it stands; ValueError as `sheet_of`, unless it is decided: a decided sheet can always be shown."""
    decisions = [f for f in facts if isinstance(f, AssessmentDecided) and f.candidate == candidate]
    decided = max(decisions, key=lambda fact: (fact.nth, fact.digest), default=None)
    try:
        now: Sheet | None = sheet_of(facts, beside, candidate)
    except (ValueError, KeyError, TypeError, AttributeError):
        if decided is None:
            raise
        now = None
    if decided is None:
        assert now is not None
        return Standing(now, digest_of(now), None, {}, 0, altered=False, now=())
    sheet: Sheet = _plain(decided.sheet)
    signatures = [f for f in facts if isinstance(f, AssessmentSigned) and f.candidate == candidate]
    signed = {f.role: f for f in signatures if f.digest == decided.digest and f.role in ROLES}
    changed = ("everything",) if now is None else tuple(_changed(sheet, now))
    return Standing(
        sheet,
        decided.digest,
        decided,
        signed,
        sum(f.digest != decided.digest for f in signatures),
        altered=digest_of(sheet) != decided.digest,
        now=changed,
    )


def _changed(then: Any, now: Any, under: str = "") -> Iterable[str]:
    if isinstance(then, dict) and isinstance(now, dict):
        for key in sorted(then.keys() | now.keys()):
            yield from _changed(then.get(key), now.get(key), f"{under}.{key}" if under else key)
    elif then != now:
        yield under
