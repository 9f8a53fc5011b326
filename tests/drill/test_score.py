"""Results from facts alone: finds, what is put before a person, and the same in whatever order facts arrived."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from exercise_kit import Made, Shell, after, drill, target_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldctl.drill.corrections import strike_id
from fieldctl.drill.engine import Committed, step
from fieldctl.drill.plan import Burial, Drill, Signal
from fieldctl.drill.score import Result, score, state_of
from fieldctl.events import Fact, StrikeRecorded
from fieldctl.units import BootId, HostTime, Stamp

PLAN = drill(Burial("A"), Burial("B", find="call"), Burial("N", signal=Signal("never")), limit_s=300)


class Facts:
    """The facts of one exercise whose signals came at the start."""

    def __init__(self, plan: Drill = PLAN, start_plus_minus_ms: float = 0.0) -> None:
        self.plan = plan
        self.make = Made(plan)
        self.all: list[Fact] = [self.make.started(start_plus_minus_ms)]
        for grant, burial in enumerate(plan.burials, start=1):
            if burial.signal.kind != "never":
                self.all.append(self.make.on(burial.name, 0, grant))

    def strike(self, burial: str | None, s: float, kind: str = "probe", ms: float = 2.0, late: bool = False) -> str:
        fact = self.make.strike(burial, s, kind, ms, late)
        self.all.append(fact)
        return strike_id(fact)

    def call(self, burial: str | None, s: float, searcher: str | None = None) -> str:
        fact = self.make.call(burial, s, searcher)
        self.all.append(fact)
        return fact.call

    @property
    def result(self) -> Result:
        return score(self.plan, self.all)

    def found_s(self, name: str) -> float | None:
        find = self.result.burial(name).find
        return None if find is None else find.moment.at_us / 1e6

    def whys(self) -> dict[str, str]:
        return {j.source: j.why for j in self.result.to_judge}


# ---- finds --------------------------------------------------------------------------------------------------


def test_the_first_that_the_drill_asks_for_is_the_find() -> None:
    facts = Facts()
    facts.strike("A", 140)
    first = facts.strike("A", 90)
    facts.call("A", 60)
    facts.strike("B", 50)
    facts.call("B", 130, "Tove")
    facts.call("B", 150, "Mira")
    facts.strike("N", 200)
    result = facts.result
    a, b, n = (result.burial(name) for name in "ABN")
    assert a.find is not None
    assert (a.find.kind, a.find.moment.at_us, a.find.moment.source) == ("hit", 90_000_000, first)
    assert (a.find.searcher, a.find.moment.plus_minus_us) == ("Mira + Tove", 2_000)
    assert [m.at_us for m in a.hits] == [90_000_000, 140_000_000]
    assert [m.at_us for m in a.calls] == [60_000_000]  # called, not touched until 90
    assert b.find is not None
    assert (b.find.kind, b.find.moment.at_us, b.find.searcher) == ("call", 130_000_000, "Tove")
    assert [m.at_us for m in b.hits] == [50_000_000]  # touched, not noticed
    assert n.find is not None
    assert n.sent == ()
    assert result.complete
    assert (a.in_time, b.in_time, n.in_time) == (True, True, True)
    assert result.to_judge == ()
    assert result.anomalies == ()


def test_no_finds() -> None:
    result = Facts().result
    assert [b.find for b in result.burials] == [None, None, None]
    assert [b.in_time for b in result.burials] == [None, None, None]
    assert not result.complete
    assert (result.state, result.to_judge, result.anomalies) == ("running", (), ())
    assert result.burial("A").sent == ((0, None),)
    assert result.burial("A").target == target_of(PLAN, "A")


def test_cut_off_in_the_middle_it_says_so_and_invents_nothing() -> None:
    facts = Facts()
    facts.strike("A", 90)
    facts.all.append(facts.make.interrupted(facts.make.at(120), HostTime("other", 3)))
    result = facts.result
    assert result.state == "interrupted"
    assert facts.found_s("A") == 90
    assert result.burial("B").find is None
    assert result.burial("B").sent == ((0, None),)  # nobody saw it end
    assert result.anomalies == ("the host's clock began anew 1 time: how long it was away is not known",)


@pytest.mark.parametrize("kind", ["step", "vehicle"])
def test_steps_and_vehicles_are_no_hits_and_nobody_is_bothered(kind: str) -> None:
    facts = Facts()
    for s in (-5, 0, 90):
        facts.strike("A", s, kind, late=True)
    assert facts.found_s("A") is None
    assert facts.result.to_judge == ()


def test_a_hundred_strikes_on_one_pad() -> None:
    facts = Facts()
    for n in range(100):
        facts.strike("A", 100 + n * 0.2, "unsure" if n % 3 else "probe")
    result = facts.result
    assert facts.found_s("A") == 100
    assert len(result.burial("A").hits) == 34
    assert len(result.to_judge) == 66  # each is put before a person: nothing is dropped
    assert list(result.to_judge) == sorted(result.to_judge, key=lambda j: (j.at_us, j.source))


def test_facts_without_a_start_or_with_two_are_refused() -> None:
    facts = Facts().all
    with pytest.raises(ValueError, match="no starts"):
        score(PLAN, facts[1:])
    with pytest.raises(ValueError, match="2 starts"):
        score(PLAN, [*facts, Made(PLAN, "x2").started()])


# ---- what is put before a person ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("s", "strike_ms", "start_ms", "why"),
    [
        (-0.020, 2, 5, "before the start"),
        (-0.0071, 2, 5, "before the start"),
        (-0.007, 2, 5, "before or after the start? It lies inside the ±"),
        (0.0, 2, 5, "before or after the start? It lies inside the ±"),
        (0.007, 2, 5, "before or after the start? It lies inside the ±"),
        (0.0071, 2, 5, None),
        (0.9, 2, 1000, "before or after the start? It lies inside the ±"),  # the start was tapped by a thumb
    ],
)
def test_a_strike_about_the_start_is_not_decided(s: float, strike_ms: float, start_ms: float, why: str | None) -> None:
    facts = Facts(start_plus_minus_ms=start_ms)
    strike = facts.strike("N", s, ms=strike_ms)
    assert facts.whys().get(strike) == why
    assert (facts.result.burial("N").find is None) == (why is not None)


def test_a_person_decides_what_lies_about_the_start() -> None:
    facts = Facts(start_plus_minus_ms=5)
    strike = facts.strike("N", 0.003)
    facts.all.append(facts.make.correct("judge", strike, "probe"))
    assert facts.result.burial("N").find is not None
    assert facts.whys() == {}


def test_judged_a_probe_before_the_start_it_still_is_before_the_start() -> None:
    facts = Facts()
    strike = facts.strike("N", -30)
    facts.all.append(facts.make.correct("judge", strike, "probe", nth=1))
    assert facts.whys() == {strike: "before the start"}
    assert facts.result.burial("N").find is None
    facts.all.append(facts.make.correct("judge", strike, "step", nth=2))
    assert facts.whys() == {}
    facts.all.append(facts.make.correct("judge", strike, "probe", nth=3))
    facts.all.append(facts.make.correct("shift-start", "x1", -60, nth=4))  # it began earlier than was recorded
    assert facts.found_s("N") == 30


@pytest.mark.parametrize(
    ("over_s", "start_ms", "in_time"),
    [
        (-0.0021, 0, True), (-0.002, 0, None), (0.0, 0, None), (0.002, 0, None), (0.0021, 0, False),
        (-0.5, 1000, None), (0.5, 1000, None), (-1.1, 1000, True), (1.1, 1000, False),
    ],
)  # fmt: skip
def test_a_limit_inside_the_plus_minus_is_left_to_a_person(over_s: float, start_ms: float, in_time: bool) -> None:
    facts = Facts(start_plus_minus_ms=start_ms)
    facts.strike("A", 300 + over_s)
    assert facts.result.burial("A").in_time is in_time
    assert facts.result.start_plus_minus_us == start_ms * 1000


def test_late_and_unsure_strikes_are_on_the_short_list() -> None:
    facts = Facts()
    late = facts.strike("A", 120, late=True)
    unsure = facts.strike("A", 100, "unsure")
    assert facts.whys() == {unsure: "unsure: rule for unsure", late: "it reached the log long after it happened"}
    assert facts.found_s("A") == 120  # the pad stamped it itself: it counts unless a person says otherwise
    facts.all.append(facts.make.correct("judge", unsure, "probe"))
    assert facts.found_s("A") == 100
    assert set(facts.whys()) == {late}
    facts.all.append(facts.make.correct("judge", late, "probe"))
    assert facts.whys() == {}


def test_a_boot_that_cannot_be_dated() -> None:
    facts = Facts()
    strike = StrikeRecorded(
        target_of(PLAN, "A"), BootId(1), 1, 0, Stamp(HostTime("nowhere", 5), 10), (), "probe", "r", "x1", "A", "s"  # type: ignore[arg-type]
    )  # fmt: skip
    make = Made(PLAN, boot="nowhere")
    call, split = replace(make.call("B", 3), call="c"), replace(make.split("airway", 4, "A"), split="s")
    facts.all += [strike, call, split, make.on("B", 5, 9), make.off("A", 6, 1)]
    undated = "it cannot be dated: the host's clock began anew"
    assert facts.whys() == {strike_id(strike): undated, "c": undated, "s": undated}
    assert [j.at_us for j in facts.result.to_judge] == [None, None, None]
    assert facts.found_s("A") is None
    assert facts.result.burial("A").sent == ((0, None),)
    facts.all.append(facts.make.correct("judge", strike_id(strike), "probe"))
    assert strike_id(strike) in facts.whys()  # no judgement gives it a date
    facts.all.append(facts.make.correct("void", strike_id(strike)))
    assert strike_id(strike) not in facts.whys()


def test_a_call_for_nobody_knows_whom_and_one_about_the_start() -> None:
    facts = Facts()
    loose, odd = facts.call(None, 90), facts.call("Z", 95)
    early, before = facts.call("B", 0.5), facts.call("B", -1.5)
    assert facts.whys() == {
        loose: "for which burial?",
        odd: "for which burial?",
        early: "before or after the start? It lies inside the ±",
        before: "before the start",
    }
    assert facts.found_s("B") is None
    for call in (early, before):
        facts.all.append(facts.make.correct("place-call", call, "B"))
    assert facts.found_s("B") == 0.5  # a person placed it; the other is before the start all the same
    assert set(facts.whys()) == {loose, odd, before}


def test_a_call_after_the_end_is_for_a_person_and_finds_nothing_by_itself() -> None:
    facts = Facts(drill(Burial("A", find="call"), Burial("B", find="call"), Burial("C")))
    facts.all.append(facts.make.ended("stopped", 100))
    before = facts.call("A", 99)
    late, other = facts.call("B", 100.5), facts.call("C", 104)
    assert facts.whys() == {late: "after the end"}
    assert facts.found_s("A") == 99
    assert facts.found_s("B") is None
    assert [m.source for m in facts.result.burial("C").calls] == [other]  # no call ends C
    assert [m.source for m in facts.result.burial("A").calls] == [before]
    facts.all.append(facts.make.correct("place-call", late, "B"))
    assert facts.whys() == {}
    assert facts.found_s("B") == 100.5


def test_a_call_in_the_gap_before_the_end_was_taken_back_is_for_a_person_and_one_after_it_counts() -> None:
    facts = Facts(drill(Burial("A", find="call")))
    facts.all += [facts.make.ended("stopped", 100), facts.make.reopened(110)]
    gap = facts.call("A", 105)
    assert facts.whys() == {gap: "after the end"}
    assert facts.found_s("A") is None
    after = facts.call("A", 120)
    assert facts.found_s("A") == 120
    assert facts.whys() == {gap: "after the end"}
    facts.all.append(facts.make.correct("void", after))
    assert facts.found_s("A") is None


def test_a_second_call_after_the_end_that_the_first_one_brought_changes_nothing() -> None:
    facts = Facts(drill(Burial("A", find="call")))
    first = facts.call("A", 60)
    facts.all.append(facts.make.ended("complete", 60.1))
    second = facts.call("A", 61)
    assert facts.whys() == {}
    assert [m.source for m in facts.result.burial("A").calls] == [first, second]
    assert facts.found_s("A") == 60
    facts.all.append(facts.make.correct("void", first))
    assert facts.found_s("A") is None  # what was tapped after the end finds nothing, whatever was before
    assert facts.whys() == {second: "after the end"}


def test_a_call_that_reached_the_log_long_after_its_tap_is_for_a_person() -> None:
    facts = Facts(drill(Burial("A", find="call")))
    call = facts.call("A", 60)
    facts.all[-1] = replace(facts.all[-1], late=True)  # type: ignore[call-arg]
    assert facts.whys() == {call: "it reached the log long after it happened"}
    assert facts.found_s("A") is None


def test_a_strike_or_split_for_a_burial_that_the_drill_does_not_know() -> None:
    facts = Facts()
    strike = replace(facts.make.strike("A", 50), burial="Z")
    split = facts.make.split("airway", 60, "Z")
    facts.all += [strike, split]
    why = "there is no burial Z in this drill"
    assert facts.whys() == {strike_id(strike): why, split.split: why}


def test_free_splits_of_a_burial_and_of_the_exercise() -> None:
    facts = Facts()
    facts.all += [
        facts.make.split("airway", 90, "A"),
        facts.make.split("coarse", 50, "A"),
        facts.make.split("tools ready", 30),
    ]
    result = facts.result
    assert [(name, m.at_us / 1e6) for name, m in result.burial("A").splits] == [("coarse", 50), ("airway", 90)]
    assert [(name, m.at_us / 1e6) for name, m in result.splits] == [("tools ready", 30)]
    assert {m.plus_minus_us for _, m in result.burial("A").splits} == {1_000_000}


# ---- anomalies ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on_s", "on_ms", "odd"), [(60, 2, True), (50.003, 2, False), (50.005, 2, True), (49, 2, False)]
)
def test_a_find_before_its_signal_is_an_anomaly_outside_both_plus_minus(on_s: float, on_ms: float, odd: bool) -> None:
    facts = Facts()
    facts.all = [facts.make.started(), facts.make.on("A", on_s, 1, on_ms)]
    facts.strike("A", 50)
    assert facts.found_s("A") == 50  # it counts, and is listed
    assert ("A was found before its signal was on" in facts.result.anomalies) is odd


def test_found_though_it_never_sent() -> None:
    facts = Facts()
    facts.all = facts.all[:1]
    facts.strike("A", 50)
    facts.strike("N", 60)
    assert facts.result.anomalies == ("A was found before its signal was on",)


def test_stretches_of_sending() -> None:
    facts = Facts()
    make = facts.make
    facts.all += [make.off("A", 20, 1), make.off("A", 20.5, 1), make.on("A", 34, 7), make.off("B", 40, 2)]
    result = facts.result
    assert result.burial("A").sent == ((0, 20_000_000), (34_000_000, None))
    assert result.burial("B").sent == ((0, 40_000_000),)
    assert result.anomalies == ("A's signal was away between 2 stretches of sending",)


def test_stretches_that_began_at_one_moment_have_one_order() -> None:
    make = Made(PLAN)
    grants = [(1, 7.0), (2, 5.0), (3, None)]
    expected = ((0, 5_000_000), (0, 7_000_000), (0, None))
    for order in permutations(grants):
        facts: list[Fact] = [make.started(), *(make.on("A", 0, grant) for grant, _ in order)]
        facts += [make.off("A", s, grant) for grant, s in grants if s is not None]
        assert score(PLAN, facts).burial("A").sent == expected


# ---- where an exercise stands -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("moves", "state"),
    [
        ("", "running"),
        ("complete", "complete"),
        ("stopped time-up", "stopped"),
        ("stopped reopened", "running"),
        ("stopped reopened time-up", "time-up"),
        ("interrupted", "interrupted"),
        ("interrupted resumed", "running"),
        ("interrupted stopped", "stopped"),
        ("interrupted all-off resumed", "all-off"),
        ("stopped resumed", "stopped"),
        ("stopped interrupted", "stopped"),
        ("resumed", "running"),
        ("interrupted reopened", "running"),
        ("complete ledger-failed", "complete"),
    ],
)
def test_where_it_stands(moves: str, state: str) -> None:
    make = Made(PLAN)
    facts: list[Fact] = [make.started()]
    for n, move in enumerate(moves.split(), start=1):
        at = make.at(n)
        made = {
            "reopened": make.reopened(n), "resumed": make.resumed(at), "interrupted": make.interrupted(at, at)
        }  # fmt: skip
        facts.append(made.get(move) or make.ended(move, n))
    assert state_of(facts) == state
    assert state_of(facts[::-1]) == state
    assert score(PLAN, facts[::-1]).state == state


# ---- whatever order -----------------------------------------------------------------------------------------

ANY = drill(Burial("A"), Burial("B", find="call", signal=after("A", 5)), Burial("N", signal=Signal("never")))
SECONDS = st.sampled_from([-3.0, -0.001, 0.0, 0.001, 0.5, 10.0, 10.0, 20.0, 60.0, 599.999, 600.0, 700.0])
BOOTS = st.sampled_from(["boot-a", "boot-a", "b", "c", "nowhere"])
NAMES = st.sampled_from(["A", "A", "B", "N", "Z"])
KINDS = st.sampled_from(["probe", "probe", "unsure", "step"])
CHANGED = st.sampled_from(
    ["void", "judge", "merge", "add-hit", "place-call", "give", "shift-start", "undo", "undo", "erase"]
)


@st.composite
def exercises(draw: st.DrawFn) -> list[Fact]:
    """Anything that a season may write about one exercise: several boots, strange corrections, doubled moments."""
    make = Made(ANY)
    facts: list[Fact] = [make.started(draw(st.sampled_from([0, 5])))]
    if draw(st.booleans()):
        facts += [make.interrupted(make.at(30), HostTime("b", 7)), make.resumed(HostTime("b", 5_000_000))]
        facts += [make.interrupted(HostTime("b", 9_000_000), HostTime("c", 1)), make.resumed(HostTime("c", 2_000_000))]
    strikes: list[str] = []
    calls: list[str] = []
    corrections: list[str] = []
    for what in draw(
        st.lists(st.sampled_from(["strike", "strike", "call", "split", "on", "off", "end", "fix"]), max_size=12)
    ):
        make.boot, s, name = draw(BOOTS), draw(SECONDS), draw(NAMES)
        match what:
            case "strike":
                known = name if name != "Z" else "A"
                strike = make.strike(known, s, draw(KINDS), draw(st.sampled_from([0, 2, 900])), draw(st.booleans()))
                facts.append(replace(strike, burial=name))
                strikes.append(strike_id(strike))
            case "call":
                call = make.call(draw(st.sampled_from([None, name])), s, draw(st.sampled_from([None, "Tove"])))
                facts.append(call)
                calls.append(call.call)
            case "split":
                facts.append(make.split("airway", s, draw(st.sampled_from([None, name]))))
            case "on" if name != "Z":
                facts.append(make.on(name, s, draw(st.integers(1, 3))))
            case "off" if name != "Z":
                facts.append(make.off(name, s, draw(st.integers(1, 3))))
            case "end":
                how = draw(st.sampled_from(["stopped", "time-up"]))
                facts.append(make.reopened(s) if draw(st.booleans()) else make.ended(how, s))
            case "fix":
                change = draw(CHANGED)
                things = [*strikes, *calls, *corrections, "A", "Z"]
                value = {"judge": draw(KINDS), "add-hit": s, "shift-start": draw(st.sampled_from([1, 1, -2.5, "x"])),
                         "merge": draw(st.sampled_from([*strikes, "nowhere"])), "place-call": name,
                         "give": draw(st.sampled_from(["Jon", "Mira"]))}.get(change)  # fmt: skip
                fix = make.correct(change, draw(st.sampled_from(things)), value, abs(s), draw(st.integers(0, 2)))
                facts.append(fix)
                corrections.append(fix.correction)
    return facts


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(exercises(), st.data())
def test_the_result_is_the_same_in_whatever_order_facts_arrived(facts: list[Fact], data: st.DataObject) -> None:
    expected = score(ANY, facts)
    assert score(ANY, data.draw(st.permutations(facts))) == expected
    assert score(ANY, facts[::-1]) == expected


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(exercises())
def test_whatever_is_written_each_strike_and_call_is_somewhere(facts: list[Fact]) -> None:
    """A hit, on the short list, taken for something else, void or merged: nothing is dropped silently."""
    result = score(ANY, facts)
    shown = {m.source for b in result.burials for m in (*b.hits, *b.calls)} | {j.source for j in result.to_judge}
    amended = {f.about for f in facts if type(f).__name__ == "Corrected"}
    for fact in facts:
        if isinstance(fact, StrikeRecorded) and strike_id(fact) not in amended:
            assert (strike_id(fact) in shown) == (fact.taken_for in ("probe", "unsure"))
        if type(fact).__name__ == "CallMade" and fact.call not in amended:  # type: ignore[attr-defined]
            assert fact.call in shown  # type: ignore[attr-defined]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(exercises())
def test_the_engine_survives_whatever_is_written(facts: list[Fact]) -> None:
    shell = Shell(ANY, start=False)
    for fact in facts:
        shell.engine, _ = step(shell.engine, Committed(fact))
    assert shell.engine.result == score(ANY, shell.engine.facts)
    assert shell.engine.status == shell.engine.result.state
