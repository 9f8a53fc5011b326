"""Splits of one search worked out by hand, and the same from the ledger's facts.

Sources. No published set of moments with its splits was at hand. The example is the one that the plan for the debrief
names (a false call at 3:20, a hit at 4:10, the true call at 5:32), worked out on paper below: derived.

    clock   host s    what happened                      on the sheet
    0:00    1 000     start, the signal is on            -
    1:05    1 065     first signal, tapped               signal  65 s ± 1 s
    2:30    1 150     within about 10 m, tapped          coarse  150 s ± 1 s, 85 s after the signal
    3:20    1 200     "here", but nothing is there       void: no call
    3:45    1 225     surface fixed, probing, tapped     fine    225 s ± 1 s, 75 s after the coarse search
    4:10    1 250     the probe touches, by the pad      hit     250 s ± 2 ms, 25 s after the fine search
    5:32    1 332     "here", and it is                  call    332 s ± 1 s, 82 s after the hit
                      no airway tapped                   no airway, and nothing reckoned for it

The 82 s between touching and noticing are 332 - 250. With a limit of 5:32 the call lies inside its ± of a thumb (1 s)
and is not decided; with 5:33.001 it is in time, with 5:30.999 it is not.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.drill.score import BurialResult, score
from fieldctl.events import CallMade, Corrected, ExerciseStarted, Fact, SignalOff, SignalOn, SplitMade, StrikeRecorded
from fieldctl.units import US_PER_S, BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

TARGET = TargetId("0a1b2c3d")
TOVE = PersonId("p-tove")


def at(minutes: int, seconds: float) -> HostTime:
    return HostTime("h", round((1_000 + 60 * minutes + seconds) * US_PER_S))


def by_thumb(minutes: int, seconds: float) -> Stamp:
    return Stamp(at(minutes, seconds), US_PER_S)


def tapped(name: str, minutes: int, seconds: float) -> SplitMade:
    return SplitMade("x1", f"tap-{name}", name, "A", by_thumb(minutes, seconds), TOVE)


def called(call: str, minutes: int, seconds: float) -> CallMade:
    return CallMade("x1", call, "A", "Jon", by_thumb(minutes, seconds), TOVE)


def drill(limit_s: float) -> Drill:
    return Drill("worked", "Worked by hand", limit_s, (Burial("A", Signal("start"), find="call"),))


FALSE_CALL = called("call-1", 3, 20)
VOID = Corrected("x1", "c-1", "void", "call-1", TOVE, "nothing was there", at(3, 34))
FACTS: list[Fact] = [
    ExerciseStarted("x1", "worked", {}, 1, {"A": TARGET}, ("Jon",), TOVE, Stamp(at(0, 0), 0)),
    SignalOn("x1", "A", TARGET, 1, Stamp(at(0, 0), 2_000)),
    tapped("signal", 1, 5),
    tapped("coarse", 2, 30),
    FALSE_CALL,
    VOID,
    tapped("fine", 3, 45),
    StrikeRecorded(
        TARGET, BootId(2), 7, NodeTicks(0), Stamp(at(4, 10), 2_000), (), "probe", "sharp", "x1", "A", "serial"
    ),
    called("call-2", 5, 32),
]


def sheet(facts: list[Fact], limit_s: float = 900) -> BurialResult:
    return score(drill(limit_s), facts).burial("A")


@given(st.permutations(FACTS))
def test_the_worked_example_in_whatever_order_it_was_written(facts: list[Fact]) -> None:
    a = sheet(facts)
    assert [(name, m.at_us, m.plus_minus_us) for name, m in a.splits] == [
        ("signal", 65_000_000, 1_000_000),
        ("coarse", 150_000_000, 1_000_000),
        ("fine", 225_000_000, 1_000_000),
    ]
    assert [(m.at_us, m.plus_minus_us) for m in a.hits] == [(250_000_000, 2_000)]
    assert [(m.at_us, m.plus_minus_us) for m in a.calls] == [(332_000_000, 1_000_000)]
    assert a.find is not None
    assert (a.find.kind, a.find.moment.at_us, a.find.searcher) == ("call", 332_000_000, "Jon")


def test_the_82_seconds_between_touching_and_noticing() -> None:
    a = sheet(FACTS)
    assert a.calls[0].at_us - a.hits[0].at_us == 82_000_000
    steps = [65, 150, 225, 250, 332]
    moments = [*(m.at_us for _, m in a.splits), a.hits[0].at_us, a.calls[0].at_us]
    assert moments == [s * 1_000_000 for s in steps]
    assert [later - sooner for sooner, later in pairwise(moments)] == [
        85_000_000,
        75_000_000,
        25_000_000,
        82_000_000,
    ]
    assert "airway" not in [name for name, _ in a.splits]


def test_before_the_false_call_was_voided_it_was_the_find() -> None:
    a = sheet([fact for fact in FACTS if fact is not VOID])
    assert a.find is not None
    assert a.find.moment.at_us == 200_000_000  # 3:20
    assert [m.at_us for m in a.calls] == [200_000_000, 332_000_000]


@pytest.mark.parametrize(
    ("limit_s", "in_time"), [(333.001, True), (333, None), (332, None), (331, None), (330.999, False)]
)
def test_a_limit_within_the_thumb_is_not_decided(limit_s: float, in_time: bool | None) -> None:
    assert sheet(FACTS, limit_s).in_time is in_time


def test_gross_and_net_of_a_find_that_was_voided_after_14_seconds() -> None:
    """A hit at 2:00 let the signal fall quiet; void at 2:14, it sends again; found at 4:10: 250 s gross, 236 s net."""
    quiet = Drill("worked", "Worked by hand", 900, (Burial("A", after_find="falls-quiet"),))
    strike = FACTS[7]
    assert isinstance(strike, StrikeRecorded)
    false_hit = replace(strike, number=6, at=Stamp(at(2, 0), 2_000))
    facts: list[Fact] = [
        *FACTS[:2],
        false_hit,
        SignalOff("x1", "A", TARGET, 1, Stamp(at(2, 0), 2_000), "found"),
        Corrected("x1", "c-2", "void", f"{TARGET}-2-6", TOVE, "the probe hit a root", at(2, 14)),
        SignalOn("x1", "A", TARGET, 2, Stamp(at(2, 14), 2_000)),
        strike,
        SignalOff("x1", "A", TARGET, 2, Stamp(at(4, 11), 2_000), "found"),
    ]
    a = score(quiet, facts).burial("A")
    assert a.sent == ((0, 120_000_000), (134_000_000, 251_000_000))
    assert a.find is not None
    gross = a.find.moment.at_us
    away = a.sent[1][0] - a.sent[0][1]
    assert (gross, away, gross - away) == (250_000_000, 14_000_000, 236_000_000)
