"""The result is a pure function of facts and corrections in any order; nothing is decided inside a ±."""

from __future__ import annotations

from exercise_kit import START_US, Made, drill
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.corrections import CHANGES, fault_of, strike_id
from fieldctl.drill.plan import Burial, Signal
from fieldctl.drill.score import score
from fieldctl.drill.timeline import timeline
from fieldctl.events import Corrected, Fact
from fieldctl.units import HostTime

PLAN = drill(Burial("A"), Burial("B", find="call"), Burial("N", signal=Signal("never")))


def result(make: Made, *facts: Fact):  # type: ignore[no-untyped-def]
    return score(PLAN, [make.started(), make.on("A", 0, 1), make.on("B", 0, 2), *facts])


def test_the_first_hit_that_happened_is_the_find_not_the_first_that_arrived() -> None:
    make = Made(PLAN)
    late, early = make.strike("A", 90), make.strike("A", 80)
    find = result(make, late, early).burial("A").find
    assert find is not None
    assert (find.moment.at_us, find.moment.source, find.kind) == (80_000_000, strike_id(early), "hit")


def test_a_call_ends_what_is_found_by_call_and_a_hit_does_not() -> None:
    make = Made(PLAN)
    got = result(make, make.strike("B", 50), make.call("B", 70, "Jon"))
    find = got.burial("B").find
    assert find is not None
    assert (find.moment.at_us, find.kind, find.searcher) == (70_000_000, "call", "Jon")
    assert [m.at_us for m in got.burial("B").hits] == [50_000_000]


def test_inside_the_plus_minus_of_the_start_a_person_decides() -> None:
    make = Made(PLAN)
    strike = make.strike("A", 0.001, plus_minus_ms=2)
    got = result(make, strike)
    assert got.burial("A").find is None
    assert "inside the ±" in got.to_judge[0].why
    judged = make.correct("judge", strike_id(strike), "probe")
    assert result(make, strike, judged).burial("A").find is not None


def test_a_strike_before_the_start_is_put_before_a_person() -> None:
    make = Made(PLAN)
    got = result(make, make.strike("A", -3))
    assert got.burial("A").find is None
    assert got.to_judge[0].why == "before the start"


def test_the_limit_inside_the_plus_minus_is_undecided() -> None:
    make = Made(PLAN)
    limit = PLAN.limit_s
    rows = ((limit - 1, 2.0, True), (limit + 1, 2.0, False), (limit + 0.001, 2.0, None))
    for at, plus_minus, expected in rows:
        got = result(make, make.strike("A", at, plus_minus_ms=plus_minus))
        assert got.burial("A").in_time is expected


def test_unsure_and_late_strikes_are_on_the_short_list() -> None:
    make = Made(PLAN)
    got = result(make, make.strike("A", 40, "unsure"), make.strike("A", 60, late=True), make.strike("A", 50, "step"))
    assert [j.why for j in got.to_judge] == ["unsure: rule for unsure", "it reached the log long after it happened"]
    find = got.burial("A").find
    assert find is not None
    assert find.moment.at_us == 60_000_000


def test_a_find_before_its_signal_is_an_anomaly() -> None:
    make = Made(PLAN)
    got = score(PLAN, [make.started(), make.on("A", 30, 1), make.strike("A", 20)])
    assert got.burial("A").find is not None
    assert any("before its signal was on" in line for line in got.anomalies)


def test_a_hundred_strikes_on_one_pad_are_one_find() -> None:
    make = Made(PLAN)
    got = result(make, *(make.strike("A", 100 - n / 2) for n in range(100)))
    assert len(got.burial("A").hits) == 100
    find = got.burial("A").find
    assert find is not None
    assert find.moment.at_us == 50_500_000


def test_no_finds_no_facts_invented() -> None:
    make = Made(PLAN)
    got = score(PLAN, [make.started()])
    assert not got.complete
    assert all(b.find is None and b.hits == () and b.in_time is None for b in got.burials)
    assert got.state == "running"


def test_every_correction_and_its_undoing() -> None:
    make = Made(PLAN)
    strike, call = make.strike("A", 80), make.call(None, 90, "Jon")
    other = make.strike("A", 81)

    def find(*facts: Fact, name: str = "A"):  # type: ignore[no-untyped-def]
        return result(make, strike, other, call, *facts).burial(name).find

    void = make.correct("void", strike_id(strike), nth=1)
    assert find(void).moment.at_us == 81_000_000
    undo = make.correct("undo", void.correction, nth=2)
    assert find(void, undo).moment.at_us == 80_000_000
    again = make.correct("undo", undo.correction, nth=3)
    assert find(void, undo, again).moment.at_us == 81_000_000
    merged = make.correct("merge", strike_id(strike), strike_id(other), nth=1)
    assert find(merged).moment.at_us == 81_000_000
    judged = make.correct("judge", strike_id(strike), "step", nth=1)
    assert find(judged).moment.at_us == 81_000_000
    by_hand = make.correct("add-hit", "N", 33.5, nth=1)
    assert (find(by_hand, name="N").moment.at_us, find(by_hand, name="N").kind) == (33_500_000, "by-hand")
    assert find(name="B") is None
    placed = make.correct("place-call", call.call, "B", nth=1)
    assert find(placed, name="B").moment.at_us == 90_000_000
    given_to = make.correct("give", "A", "p-tove", nth=1)
    assert find(given_to).searcher == "p-tove"
    shifted = make.correct("shift-start", "x1", 10.0, nth=1)
    assert find(shifted).moment.at_us == 70_000_000


def test_of_two_that_say_different_things_the_later_counts() -> None:
    make = Made(PLAN)
    strike = make.strike("A", 80)
    first = make.correct("judge", strike_id(strike), "step", s=100, nth=1)
    second = make.correct("judge", strike_id(strike), "probe", s=200, nth=2)
    for order in ((first, second), (second, first)):
        assert result(make, strike, *order).burial("A").find is not None


def test_forms_that_cannot_be() -> None:
    for change, value in (
        ("fly", None),
        ("judge", "bird"),
        ("add-hit", "soon"),
        ("add-hit", float("nan")),
        ("shift-start", None),
        ("merge", 3),
        ("give", None),
    ):
        assert fault_of(change, value), (change, value)
    assert all(fault_of(change, None) is None for change in ("void", "undo"))
    assert set(CHANGES) >= {"void", "judge", "merge", "add-hit", "place-call", "give", "shift-start", "undo"}


def test_a_boot_in_which_it_did_not_go_on_cannot_be_dated() -> None:
    make = Made(PLAN)
    other = Made(PLAN, boot="boot-z", zero_us=5)
    got = result(make, other.strike("A", 50), other.call("B", 60))
    assert got.burial("A").find is None
    assert any("cannot be dated" in j.why for j in got.to_judge)


def test_after_a_reboot_of_the_host_the_clock_goes_on_from_what_was_last_known() -> None:
    make = Made(PLAN)
    last, back = make.at(100), HostTime("boot-b", 40_000_000)
    facts = [make.started(), make.interrupted(last, HostTime("boot-b", 1_000_000)), make.resumed(back)]
    times = timeline(facts)
    assert times.since_start(make.at(100)) == 100_000_000
    assert times.since_start(back) == 100_000_000
    assert times.host("boot-b", 110_000_000) == 50_000_000
    assert times.since_start(HostTime("boot-c", 1)) is None
    assert times.host("boot-a", 0) == START_US


MOMENT = st.floats(-20, 700).map(lambda s: round(s, 3))


@st.composite
def stories(draw: st.DrawFn) -> list[Fact]:
    make = Made(PLAN)
    facts: list[Fact] = [make.started(), make.on("A", 0, 1), make.on("B", 1, 2)]
    strikes = []
    for _ in range(draw(st.integers(0, 6))):
        kind = draw(st.sampled_from(["probe", "step", "unsure", "vehicle"]))
        strikes.append(
            make.strike(draw(st.sampled_from(["A", "B", "N"])), draw(MOMENT), kind, late=draw(st.booleans()))
        )
    calls = [make.call(draw(st.sampled_from(["A", "B", None])), draw(MOMENT)) for _ in range(draw(st.integers(0, 3)))]
    facts += [*strikes, *calls]
    corrections: list[Corrected] = []
    for nth in range(draw(st.integers(0, 5))):
        change = draw(st.sampled_from(sorted(CHANGES)))
        subjects = {
            "void": [*map(strike_id, strikes), *(c.call for c in calls)],
            "judge": [*map(strike_id, strikes)],
            "merge": [*map(strike_id, strikes)],
            "add-hit": ["A", "N"],
            "place-call": [c.call for c in calls],
            "give": ["A", "B"],
            "shift-start": ["x1"],
            "undo": [c.correction for c in corrections],
        }[change]
        if not subjects:
            continue
        values = {
            "judge": st.sampled_from(["probe", "step"]),
            "merge": st.sampled_from([*map(strike_id, strikes)] or ["-"]),
            "add-hit": MOMENT,
            "place-call": st.sampled_from(["A", "B"]),
            "give": st.just("p-jon"),
            "shift-start": st.floats(-5, 5),
        }
        value = draw(values[change]) if change in values else None
        corrections.append(make.correct(change, draw(st.sampled_from(subjects)), value, s=300 + nth, nth=nth + 1))
    return [*facts, *corrections]


@settings(max_examples=200, deadline=None)
@given(stories(), st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_result(facts: list[Fact], chance) -> None:  # type: ignore[no-untyped-def]
    expected = score(PLAN, facts)
    for _ in range(4):
        mixed = list(facts)
        chance.shuffle(mixed)
        assert score(PLAN, mixed) == expected


def test_two_exercises_do_not_mix() -> None:
    one, two = Made(PLAN, "x1"), Made(PLAN, "x2")
    got = result(one, one.strike("A", 40))
    assert score(PLAN, [two.started(), two.on("A", 0, 9)]).burial("A").find is None
    assert got.exercise == "x1"
