"""A worked example of splits, by hand (derived: plain subtraction on paper; no outside source).

A burial that its call ends. 3:20 a false call, 4:10 the probe touches, 5:32 the true call. The false call is voided
afterwards. By hand: found at 5:32 = 332 s; touched and not noticed for 5:32 - 4:10 = 1:22 = 82 s.
"""

from __future__ import annotations

from fieldctl.drill.plan import Burial, Drill
from fieldctl.drill.score import score
from fieldctl.events import CallMade, Corrected, ExerciseStarted, SignalOn, StrikeRecorded
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

MIRA = PersonId("p-mira")
T = TargetId("5ee00001")
PLAN = Drill("one", "One (invented)", 900, (Burial("A", find="call"),))


def at(minutes: int, seconds: int, plus_minus_us: int = 1_000) -> Stamp:
    return Stamp(HostTime("boot", 1_000_000_000 + (minutes * 60 + seconds) * 1_000_000), plus_minus_us)


def test_the_worked_example() -> None:
    facts = [
        ExerciseStarted("x1", "one", {}, 1, {"A": T}, ("p-jon",), MIRA, at(0, 0, 0)),
        SignalOn("x1", "A", T, 1, at(0, 0)),
        CallMade("x1", "false", "A", None, at(3, 20, 1_000_000), MIRA),
        StrikeRecorded(T, BootId(1), 1, NodeTicks(0), at(4, 10), (), "probe", "knock", "x1", "A", "bus"),
        CallMade("x1", "true", "A", None, at(5, 32, 1_000_000), MIRA),
    ]
    first = score(PLAN, facts).burial("A")
    assert first.find is not None
    assert first.find.moment.at_us == 200_000_000  # until somebody says that it was false
    void = Corrected("x1", "c1", "void", "false", MIRA, "it was a buried ski", at(6, 0).at, None, 1)
    result = score(PLAN, [*facts, void]).burial("A")
    assert result.find is not None
    assert result.find.moment.at_us == 332_000_000
    assert result.find.moment.plus_minus_us == 1_000_000
    (hit,) = result.hits
    assert hit.at_us == 250_000_000
    assert result.find.moment.at_us - hit.at_us == 82_000_000
    assert result.in_time is True
