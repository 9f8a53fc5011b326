"""One exercise in a few numbers: made from its entries alone, so that it can be thrown away and made again.

    summarise(entries) -> Summary        ValueError where the exercise cannot be read
    to_body / from_body                  as JSON text, for `fieldctl.ledger.beside`

Each burial has one time for curves and comparisons, `own_s`: from the moment that its signal was on, or from the find
before it in the same exercise where that is later, to its find; or, where nobody found it, to the end of the exercise.
A burial that was not looked for, or whose time is not its own, is left out of every curve and says why (`left_out`).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from itertools import pairwise
from typing import Any

from fieldctl import __version__
from fieldctl.drill.files import drill_from_plan
from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.score import BurialResult, Result, score
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import Corrected, ExerciseEnded, ExerciseInterrupted, ExerciseStarted, Fact
from fieldctl.ledger.entry import Entry
from fieldctl.units import seconds

FORM = 2  # of this summary: raised when its fields change their meaning, or a result comes out otherwise
CHANGED_RESULTS = (2,)  # forms under which a result may differ from before: each has its reason in because.FORM
VERSION = f"{__version__}+{FORM}"
"""What a summary is kept under: another version makes its own and leaves this one as what was said at the time."""


def form_of(version: str) -> int | None:
    """The form of the summaries that a version kept, None where its name does not tell."""
    form = version.rpartition("+")[2]
    return int(form) if form.isdecimal() and "+" in version else None


AWAY_LEAST_S = 5.0  # a signal away for less cost nobody a strip; longer, and the time is not the searcher's own


@dataclass(frozen=True, slots=True)
class BurialSummary:
    """What became of one burial; times in seconds since the start of the exercise, None where there is none."""

    burial: str
    target: str
    signal: str  # start, delay, after-find, never
    found_s: float | None = None
    plus_minus_s: float | None = None
    kind: str | None = None  # hit, call, by-hand
    searcher: str = ""  # ids joined by " + "
    in_time: bool | None = None
    on_s: float | None = None  # when it could be looked for: its first signal, or the start where it never sends
    away_s: float = 0.0  # its signal was away before the find
    own_s: float | None = None
    order: int = 1  # which find it was, or would have been
    others: int = 0  # other signals on the air while it was looked for
    near_m: float | None = None  # the nearest of those
    depth_m: float | None = None
    tilt_deg: float | None = None
    hit_s: float | None = None
    call_s: float | None = None
    splits: Mapping[str, float] = field(default_factory=dict)  # the first of each name
    left_out: str = ""  # a key of `summary_words`: why it is in no curve

    @property
    def found(self) -> bool:
        """Whether it was found."""
        return self.found_s is not None


@dataclass(frozen=True, slots=True)
class Summary:
    """One exercise; `covers` is the last of its entries that it knows."""

    exercise: str
    covers: int
    drill: str
    title: str
    assessed: bool
    wall: str | None  # when it was started, by the wall's label
    by: str
    searchers: tuple[str, ...]
    state: str
    limit_s: float
    ended_s: float | None  # None while it goes on
    burials: tuple[BurialSummary, ...]
    anomalies: tuple[str, ...] = ()
    to_judge: int = 0
    corrections: int = 0
    under: str = ""  # the version under which it was carried out

    @property
    def day(self) -> str | None:
        """The day by the wall's label (UTC), None where no wall clock was set."""
        return None if self.wall is None else self.wall[:10]


def summarise(entries: Sequence[Entry]) -> Summary:
    """The summary of the exercise whose entries these are; ValueError says why there is none."""
    facts = [entry.fact for entry in entries]
    began = [entry for entry in entries if isinstance(entry.fact, ExerciseStarted)]
    if len(began) != 1:
        what = "no start" if not began else f"{len(began)} starts"
        raise ValueError(f"its entries hold {what} that this version can read")
    started = began[0].fact
    assert isinstance(started, ExerciseStarted)
    try:
        drill = drill_from_plan(started.plan)
        result = score(drill, facts)
        return _summary(drill, started, began[0], entries, facts, result)
    except (KeyError, TypeError, AttributeError, IndexError) as odd:
        raise ValueError(f"its plan cannot be read ({type(odd).__name__}: {odd})") from odd


def _summary(
    drill: Drill,
    started: ExerciseStarted,
    first: Entry,
    entries: Sequence[Entry],
    facts: Sequence[Fact],
    result: Result,
) -> Summary:
    ended_us = _ended_us(facts, result, timeline(facts).shifted(result.shift_us))
    places: Mapping[str, Any] = started.conditions.get("places") or {}
    finds = sorted((b.find.moment.at_us, b.burial) for b in result.burials if b.find is not None)
    rows = [
        _burial(plan, row, result, places, finds, ended_us)
        for plan, row in zip(drill.burials, result.burials, strict=True)
    ]
    return Summary(
        exercise=started.exercise,
        covers=max(entry.seq for entry in entries),
        drill=drill.name,
        title=drill.title,
        assessed=drill.assessed,
        wall=first.wall,
        by=started.by,
        searchers=tuple(started.searchers),
        state=result.state,
        limit_s=drill.limit_s,
        ended_s=None if ended_us is None else seconds(ended_us),
        burials=tuple(rows),
        anomalies=result.anomalies,
        to_judge=len(result.to_judge),
        corrections=sum(isinstance(fact, Corrected) for fact in facts),
        under=str(started.conditions.get("version") or ""),
    )


def _ended_us(facts: Sequence[Fact], result: Result, times: Timeline) -> int | None:
    """When looking ended: the end, or where it was last known before it was cut off; None while it goes on."""
    if result.state == "running":
        return None
    cut = result.state == "interrupted"
    ends = [
        times.since_start(fact.last_known if isinstance(fact, ExerciseInterrupted) else fact.at)
        for fact in facts
        if isinstance(fact, ExerciseInterrupted if cut else ExerciseEnded)
    ]
    known = [us for us in ends if us is not None]
    return max(known) if known else None


def _burial(
    plan: Burial,
    row: BurialResult,
    result: Result,
    places: Mapping[str, Any],
    finds: Sequence[tuple[int, str]],
    ended_us: int | None,
) -> BurialSummary:
    on_us = 0 if plan.signal.kind == "never" else row.sent[0][0] if row.sent else None
    found_us = None if row.find is None else row.find.moment.at_us
    until_us = ended_us if found_us is None else found_us
    before = [us for us, other in finds if other != row.burial and until_us is not None and us <= until_us]
    from_us = None if on_us is None else max(0, on_us, *before)
    others = _others(row, result, from_us, until_us)
    place: Mapping[str, Any] = places.get(row.burial) or {}
    gone_us = away_us(row, until_us)
    splits: dict[str, float] = {}
    for name, moment in row.splits:
        splits.setdefault(name, seconds(moment.at_us))
    left_out = _left_out(plan, result.state, on_us, found_us, until_us, gone_us)
    own_us = None if left_out or from_us is None or until_us is None else until_us - from_us
    if own_us is not None and own_us < 0:
        left_out, own_us = "no-time", None
    return BurialSummary(
        burial=row.burial,
        target=row.target,
        signal=plan.signal.kind,
        found_s=None if found_us is None else seconds(found_us),
        plus_minus_s=None if row.find is None else seconds(row.find.moment.plus_minus_us + result.start_plus_minus_us),
        kind=None if row.find is None else row.find.kind,
        searcher="" if row.find is None else row.find.searcher,
        in_time=row.in_time,
        on_s=None if on_us is None else seconds(on_us),
        away_s=seconds(gone_us),
        own_s=None if own_us is None else seconds(own_us),
        order=1 + len(before),
        others=len(others),
        near_m=_near_m(place, [places.get(name) or {} for name in others]),
        depth_m=_number(place.get("depth_m")),
        tilt_deg=_number(place.get("tilt_deg")),
        hit_s=seconds(row.hits[0].at_us) if row.hits else None,
        call_s=seconds(row.calls[0].at_us) if row.calls else None,
        splits=splits,
        left_out=left_out,
    )


def _left_out(
    plan: Burial, state: str, on_us: int | None, found_us: int | None, until_us: int | None, away_us: int
) -> str:
    """Why a burial is in no curve, "" where it is."""
    if state == "running":
        return "goes-on"
    if on_us is None:
        return "found-unsent" if found_us is not None else "never-sent"
    if until_us is None:
        return "no-end"
    if found_us is not None and plan.signal.kind != "never" and found_us < on_us:
        return "found-early"
    if until_us < on_us:
        return "never-sent"
    return "signal-away" if seconds(away_us) > AWAY_LEAST_S else ""


def away_us(row: BurialResult, until_us: int | None) -> int:
    """How long a signal was away between stretches of sending, before the find or the end."""
    away = 0
    for (_, ended), (again, _) in pairwise(row.sent):
        if ended is not None and (until_us is None or ended < until_us):
            away += max(0, (again if until_us is None else min(again, until_us)) - ended)
    return away


def _others(row: BurialResult, result: Result, from_us: int | None, until_us: int | None) -> list[str]:
    """Other burials that sent while this one was looked for."""
    if from_us is None or until_us is None:
        return []
    return [
        other.burial
        for other in result.burials
        if other.burial != row.burial
        and any(began < until_us and (ended is None or ended > from_us) for began, ended in other.sent)
    ]


def _near_m(place: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> float | None:
    here = (_number(place.get("x_m")), _number(place.get("y_m")))
    distances = []
    for other in others:
        there = (_number(other.get("x_m")), _number(other.get("y_m")))
        if None not in here and None not in there:
            distances.append(math.dist(here, there))  # type: ignore[arg-type]
    return round(min(distances), 2) if distances else None


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def to_body(summary: Summary) -> str:
    """As JSON text; what is as usual is left out."""
    row = asdict(summary)
    row["burials"] = [
        {key: value for key, value in burial.items() if value not in (None, "", {}) or key in ("burial", "target")}
        for burial in row["burials"]
    ]
    return json.dumps(row, ensure_ascii=False, separators=(",", ":"))


def from_body(text: str) -> Summary:
    """The summary of a text of this version; ValueError where it is none."""
    try:
        row = json.loads(text)
        burials = tuple(BurialSummary(**burial) for burial in row.pop("burials"))
        searchers, anomalies = tuple(row.pop("searchers")), tuple(row.pop("anomalies"))
        return Summary(**row, burials=burials, searchers=searchers, anomalies=anomalies)
    except (KeyError, TypeError, AttributeError) as odd:
        raise ValueError(f"no summary of this version: {odd}") from odd
