"""What went wrong with the field in an exercise, so that its times are not the searchers' own: repeat, never fail.

A controller that is back within one grant is no fault: its targets went on and kept every strike, so there is no hole
in the log. Away for longer it is an interruption, which is one.
"""

from __future__ import annotations

from collections.abc import Sequence

from fieldctl.debrief.summary import AWAY_LEAST_S, away_us
from fieldctl.drill.plan import Drill
from fieldctl.drill.score import Result
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import (
    ExerciseInterrupted,
    Fact,
    SignalDue,
    SignalOn,
    StrikesDropped,
    TargetOdd,
)
from fieldctl.units import HostTime, seconds

LATE_LEAST_S = (
    5.0  # a signal so much later than its moment cost a searcher time; a target far out needs a second or two
)

Fault = tuple[str, str, str]
"""A key of the words' table, the burial that it is about ("" for the whole exercise), and what more there is to say."""


def technical_faults(drill: Drill, facts: Sequence[Fact], beside: Sequence[Fact], result: Result) -> list[Fault]:
    """Every technical fault of an exercise, in a fixed order."""
    times = timeline(facts).shifted(result.shift_us)
    found = [*_whole(facts, result, times), *_signals(drill, facts, result, times), *_targets(beside, result, times)]
    return sorted(set(found))


def _whole(facts: Sequence[Fact], result: Result, times: Timeline) -> list[Fault]:
    found = [("interrupted", "", fact.why) for fact in facts if isinstance(fact, ExerciseInterrupted)]
    if result.state in ("all-off", "ledger-failed"):
        found.append((result.state, "", ""))
    if len(times.boots) > 1:
        found.append(("clock-anew", "", str(len(times.boots) - 1)))
    return found


def _signals(drill: Drill, facts: Sequence[Fact], result: Result, times: Timeline) -> list[Fault]:
    found: list[Fault] = []
    due: dict[str, int] = {}
    began: dict[str, int] = {}
    for fact in facts:
        if isinstance(fact, SignalDue | SignalOn):
            since = times.since_start(fact.at if isinstance(fact, SignalDue) else fact.at.at)
            if since is not None:
                table = due if isinstance(fact, SignalDue) else began
                table[fact.burial] = min(since, table.get(fact.burial, since))
    for row in result.burials:
        name = row.burial
        if drill.burial(name).signal.kind == "never":
            continue
        first = began.get(name)
        expected = due.get(name, 0 if drill.burial(name).signal.kind == "start" else None)
        found_us = None if row.find is None else row.find.moment.at_us
        if first is None:
            if expected is not None and result.state != "running":
                found.append(("never-on", name, ""))
            continue
        if expected is not None and seconds(first - expected) > LATE_LEAST_S:
            found.append(("late-on", name, f"{seconds(first - expected):.1f}"))
        gone_s = seconds(away_us(row, found_us))
        if gone_s > AWAY_LEAST_S:
            found.append(("away", name, f"{gone_s:.1f}"))
        if found_us is not None and found_us < first - (row.find.moment.plus_minus_us if row.find else 0):
            found.append(("found-early", name, ""))
    return found


def _targets(beside: Sequence[Fact], result: Result, times: Timeline) -> list[Fault]:
    """What its targets said of themselves while it went on."""
    burial = {row.target: row.burial for row in result.burials}
    found: list[Fault] = []
    for fact in beside:
        if not isinstance(fact, StrikesDropped | TargetOdd) or fact.target not in burial:
            continue
        if not _meanwhile(fact.at, result, times):
            continue
        if isinstance(fact, StrikesDropped):
            found.append(("dropped", burial[fact.target], str(fact.count)))
        else:
            found.append(("odd", burial[fact.target], f"{fact.what}: {fact.detail}"))
    return found


def _meanwhile(at: HostTime, result: Result, times: Timeline) -> bool:
    since = times.since_start(at)
    if since is None or since < 0:
        return False
    ends = [row.find.moment.at_us for row in result.burials if row.find is not None]
    return len(ends) < len(result.burials) or since <= max(ends)
