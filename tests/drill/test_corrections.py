"""Corrections: which are in force, what each does, what cannot be used; in any order of arrival."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan

import pytest
from exercise_kit import MIRA, Made, drill
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.drill.corrections import CHANGES, STRIKE_KINDS, amend, fault_of, in_force, next_nth, strike_id
from fieldctl.drill.plan import Burial
from fieldctl.drill.score import Result, score
from fieldctl.drill.timeline import timeline
from fieldctl.events import Corrected, Fact
from fieldctl.units import HostTime

PLAN = drill(Burial("A"), Burial("B", find="call"))


def made() -> Made:
    return Made(PLAN)


def undo(correction: str, about: str, s: float = 400) -> Corrected:
    return Corrected("x1", correction, "undo", about, MIRA, "", HostTime("boot-a", round(s * 1e6)))


def void(correction: str, about: str = "s", s: float = 300, boot: str = "boot-a", nth: int = 0) -> Corrected:
    return Corrected("x1", correction, "void", about, MIRA, "", HostTime(boot, round(s * 1e6)), None, nth)


def names(rows: list[Corrected]) -> list[str]:
    return [row.correction for row in rows]


TIMES = timeline([made().started()])


# ---- which are in force -------------------------------------------------------------------------------------


def test_an_undone_one_is_not_in_force_and_an_undone_undo_brings_it_back() -> None:
    rows = [void("v"), undo("u1", "v"), undo("u2", "u1"), undo("u3", "u2")]
    for length, expected in ((1, ["v"]), (2, []), (3, ["v"]), (4, [])):
        assert names(in_force(rows[:length], TIMES)) == expected


def test_two_undos_of_one_and_one_of_them_undone() -> None:
    rows = [void("v"), undo("u1", "v"), undo("u2", "v"), undo("u3", "u1")]
    assert names(in_force(rows, TIMES)) == []  # u2 still undoes it


def test_undos_in_a_ring_count_for_nothing() -> None:
    rows = [void("v"), undo("a", "b"), undo("b", "a"), undo("a2", "v"), undo("self", "self")]
    assert names(in_force(rows, TIMES)) == []
    assert names(in_force(rows[:3], TIMES)) == ["v"]
    assert names(in_force([void("v"), undo("a", "b"), undo("b", "a"), undo("c", "a")], TIMES)) == ["v"]


def test_ten_thousand_changes_of_mind_do_not_fall_over() -> None:
    rows = [void("u0"), *(undo(f"u{i}", f"u{i - 1}") for i in range(1, 10_001))]
    assert names(in_force(rows, TIMES)) == ["u0"]  # an even number of undos
    assert names(in_force(rows[:-1], TIMES)) == []


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), max_size=7, unique_by=lambda t: t[0]), st.data())
def test_in_force_is_the_same_in_any_order_and_as_a_slow_reading_says(
    pairs: list[tuple[int, int]], data: st.DataObject
) -> None:
    rows = [void("0"), *(undo(str(a + 1), str(b)) for a, b in pairs if b < a + 1)]  # an undo is of an earlier one

    def stands(name: str) -> bool:
        return not any(stands(r.correction) for r in rows if r.change == "undo" and r.about == name)

    expected = ["0"] if stands("0") else []
    assert names(in_force(data.draw(st.permutations(rows)), TIMES)) == expected


def test_later_is_by_number_then_by_boot_and_clock_then_by_id() -> None:
    make = made()
    times = timeline([make.started(), make.interrupted(make.at(50), HostTime("a-boot", 5)),
                      make.resumed(HostTime("a-boot", 9))])  # fmt: skip
    rows = [
        void("e", s=1, boot="boot-a"),
        void("c", s=2, boot="boot-a"),
        void("b", s=0.5, boot="a-boot"),  # a later boot, whatever its name and clock
        void("a", s=9, boot="zz-boot"),
        void("x", s=0.1, boot="aa-boot", nth=1),  # days later, in a boot that the exercise never met
        void("w", s=0.1, boot="aa-boot", nth=2),
        void("y", s=0.1, boot="aa-boot", nth=2),
    ]
    assert names(in_force(reversed(rows), times)) == ["e", "c", "b", "a", "x", "w", "y"]


def test_the_next_number_is_after_all_before() -> None:
    make = made()
    assert next_nth([make.started()]) == 1
    assert next_nth([make.started(), void("a", nth=4), void("b", nth=2)]) == 5


# ---- their form ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "value", "says"),
    [
        ("erase", None, "there is no change 'erase'; there are void, judge"),
        ("judge", "bear", "a strike is taken for one of probe, step, vehicle, unsure, not 'bear'"),
        ("judge", None, "not None"),
        ("add-hit", "soon", "add-hit needs a number of seconds, not 'soon'"),
        ("add-hit", None, "needs a number"),
        ("add-hit", nan, "needs a number"),
        ("shift-start", inf, "needs a number"),
        ("merge", 3, "merge needs a name, not 3"),
        ("place-call", None, "needs a name"),
        ("give", 1.5, "needs a name"),
    ],
)
def test_a_form_that_cannot_be_used_is_told_in_words(change: str, value: str | float | None, says: str) -> None:
    fault = fault_of(change, value)
    assert fault is not None
    assert says in fault


def test_every_change_has_a_form_that_can_be_used() -> None:
    values = {"judge": "step", "merge": "s", "add-hit": 12.5, "place-call": "A", "give": "Mira", "shift-start": -3}
    for change in CHANGES:
        assert fault_of(change, values.get(change)) is None
    assert all(fault_of("judge", kind) is None for kind in STRIKE_KINDS)


# ---- what each does -----------------------------------------------------------------------------------------


class Played:
    """Two strikes on A, two calls (one for nobody), a split, all well after the start and the signals."""

    def __init__(self) -> None:
        self.make = made()
        self.one = self.make.strike("A", 100)
        self.two = self.make.strike("A", 130)
        self.odd = self.make.strike("A", 80, "unsure")
        self.call = self.make.call("B", 150, "Tove")
        self.loose = self.make.call(None, 140)
        self.split = self.make.split("airway", 170, "A")
        self.facts: list[Fact] = [
            self.make.started(), self.make.on("A", 0, 1), self.make.on("B", 0, 2),
            self.one, self.two, self.odd, self.call, self.loose, self.split,
        ]  # fmt: skip

    def correct(self, change: str, about: str, value: str | float | None = None) -> Corrected:
        nth = next_nth(self.facts)
        fact = replace(self.make.correct(change, about, value), nth=nth)
        self.facts.append(fact)
        return fact

    @property
    def result(self) -> Result:
        return score(PLAN, self.facts)

    def found_s(self, name: str) -> float | None:
        find = self.result.burial(name).find
        return None if find is None else find.moment.at_us / 1e6


def test_without_corrections() -> None:
    p = Played()
    assert (p.found_s("A"), p.found_s("B")) == (100, 150)
    assert [j.source for j in p.result.to_judge] == [strike_id(p.odd), p.loose.call]


def test_void() -> None:
    p = Played()
    p.correct("void", strike_id(p.one))
    assert p.found_s("A") == 130
    p.correct("void", strike_id(p.two))
    assert p.found_s("A") is None
    p.correct("void", strike_id(p.odd))
    p.correct("void", p.call.call)
    p.correct("void", p.loose.call)
    p.correct("void", p.split.split)
    assert p.found_s("B") is None
    assert p.result.burial("A").splits == ()
    assert p.result.to_judge == ()


def test_what_can_be_used_is_no_anomaly() -> None:
    p = Played()
    void = p.correct("void", strike_id(p.one))
    p.correct("undo", void.correction)
    p.correct("judge", strike_id(p.odd), "step")
    p.correct("merge", strike_id(p.two), strike_id(p.one))
    p.correct("add-hit", "A", 62.5)
    p.correct("place-call", p.loose.call, "B")
    p.correct("give", "B", "Jon")
    p.correct("shift-start", "x1", 1)
    p.correct("void", p.split.split)
    assert p.result.anomalies == ()


def test_judge_and_judge_again() -> None:
    p = Played()
    p.correct("judge", strike_id(p.odd), "probe")
    assert p.found_s("A") == 80
    assert strike_id(p.odd) not in [j.source for j in p.result.to_judge]
    p.correct("judge", strike_id(p.odd), "step")  # the later counts
    assert p.found_s("A") == 100
    assert strike_id(p.odd) not in [j.source for j in p.result.to_judge]
    p.correct("judge", strike_id(p.one), "unsure")
    assert p.found_s("A") == 130


def test_merge_keeps_the_other() -> None:
    p = Played()
    first = p.correct("merge", strike_id(p.two), strike_id(p.one))
    assert [m.source for m in p.result.burial("A").hits] == [strike_id(p.one)]
    p.correct("merge", strike_id(p.one), strike_id(p.two))  # the other way round: the later counts, neither is lost
    assert [m.source for m in p.result.burial("A").hits] == [strike_id(p.two)]
    p.correct("undo", p.facts[-1].correction)  # type: ignore[attr-defined]
    p.correct("undo", first.correction)
    assert len(p.result.burial("A").hits) == 2


def test_merge_into_itself_or_round_a_ring_loses_no_strike() -> None:
    p = Played()
    p.correct("merge", strike_id(p.one), strike_id(p.one))
    assert p.found_s("A") == 100
    p.correct("judge", strike_id(p.odd), "probe")
    for a, b in ((p.one, p.two), (p.two, p.odd), (p.odd, p.one)):
        p.correct("merge", strike_id(a), strike_id(b))
    assert [m.source for m in p.result.burial("A").hits] == [strike_id(p.one)]


def test_a_chain_of_merges_leaves_its_end() -> None:
    p = Played()
    p.correct("judge", strike_id(p.odd), "probe")
    p.correct("merge", strike_id(p.two), strike_id(p.one))
    p.correct("merge", strike_id(p.odd), strike_id(p.two))
    assert [m.source for m in p.result.burial("A").hits] == [strike_id(p.one)]


def test_add_hit_by_hand() -> None:
    p = Played()
    added = p.correct("add-hit", "A", 62.5)
    find = p.result.burial("A").find
    assert find is not None
    assert (find.kind, find.moment.at_us, find.moment.plus_minus_us) == ("by-hand", 62_500_000, 1_000_000)
    assert find.moment.source == added.correction
    p.correct("add-hit", "A", 50)  # they add up
    assert p.found_s("A") == 50
    assert len(p.result.burial("A").hits) == 4
    p.correct("undo", added.correction)
    assert len(p.result.burial("A").hits) == 3


def test_place_call_and_give() -> None:
    p = Played()
    p.correct("place-call", p.loose.call, "B")
    assert p.found_s("B") == 140
    find = p.result.burial("B").find
    assert find is not None
    assert find.searcher == "Mira + Tove"
    p.correct("give", "B", "Jon")
    p.correct("give", "B", "Ansel")
    find = p.result.burial("B").find
    assert find is not None
    assert find.searcher == "Ansel"
    p.correct("place-call", p.loose.call, "A")
    assert p.found_s("B") == 150
    assert [m.source for m in p.result.burial("A").calls] == [p.loose.call]


def test_a_second_shift_of_the_start_replaces_the_first() -> None:
    p = Played()
    p.correct("shift-start", "x1", 10)
    assert (p.found_s("A"), p.found_s("B")) == (90, 140)
    p.correct("shift-start", "x1", -5)
    assert p.found_s("A") == 105
    assert p.result.shift_us == -5_000_000
    assert p.result.burial("A").sent == ((5_000_000, None),)
    assert [m.at_us for _, m in p.result.burial("A").splits] == [175_000_000]
    p.correct("undo", p.facts[-1].correction)  # type: ignore[attr-defined]
    assert p.found_s("A") == 90


def test_a_hit_by_hand_moves_with_a_start_that_is_shifted_after_it() -> None:
    p = Played()
    p.correct("add-hit", "A", 62.5)
    assert p.found_s("A") == 62.5
    first = p.correct("shift-start", "x1", 10)
    assert p.found_s("A") == 52.5  # the same moment as before: by the new clock it is ten seconds earlier
    p.correct("add-hit", "A", 40)  # by the clock as it is now
    assert p.found_s("A") == 40
    p.correct("undo", first.correction)
    assert [m.at_us for m in p.result.burial("A").hits][:2] == [50_000_000, 62_500_000]
    p.correct("shift-start", "x1", nan)  # cannot be used, so it moves nothing
    assert p.found_s("A") == 50


@pytest.mark.parametrize(
    ("change", "about", "value", "says"),
    [
        ("void", "nothing", None, "nothing is no strike, call or split of this exercise"),
        ("judge", "nothing", "step", "nothing is no strike of this exercise"),
        ("add-hit", "Z", 3, "Z is no burial of this exercise"),
        ("add-hit", "A", "soon", "needs a number of seconds"),
        ("add-hit", "A", nan, "needs a number of seconds"),
        ("give", "Z", "Mira", "Z is no burial of this exercise"),
        ("place-call", "nothing", "A", "nothing is no call of this exercise"),
        ("erase", "A", None, "there is no change 'erase'"),
        ("undo", "nothing", None, "undoes nothing, which is not in this exercise"),
    ],
)
def test_what_cannot_be_used_is_listed_and_changes_nothing(
    change: str, about: str, value: str | float | None, says: str
) -> None:
    p = Played()
    before = p.result
    p.correct(change, about, value)
    after = p.result
    assert says in "\n".join(after.anomalies)
    assert replace(after, anomalies=before.anomalies) == before


def test_a_merge_or_a_placing_into_nowhere_is_listed_and_loses_nothing() -> None:
    p = Played()
    p.correct("merge", strike_id(p.one), "nowhere")
    p.correct("place-call", p.call.call, "Z")
    assert (p.found_s("A"), p.found_s("B")) == (100, 150)
    assert len([line for line in p.result.anomalies if "cannot be used" in line]) == 2


def test_nothing_amended_without_corrections() -> None:
    amended = amend(PLAN, [made().started()], TIMES)
    assert not any((amended.void, amended.judged, amended.merged, amended.by_hand, amended.shift_us, amended.unusable))


@given(st.permutations(range(6)))
def test_conflicting_corrections_across_host_boots_in_any_order(order: list[int]) -> None:
    p = Played()
    one = strike_id(p.one)
    facts: list[Corrected] = []
    for nth, (boot, s, change, about, value) in enumerate(
        [
            ("boot-a", 900.0, "judge", one, "step"),
            ("zz", 5.0, "judge", one, "probe"),
            ("aa", 1.0, "give", "A", "Jon"),
            ("zz", 9.0, "give", "A", "Tove"),
            ("bb", 0.0, "shift-start", "x1", 40.0),
            ("aa", 0.0, "shift-start", "x1", 20.0),
        ]
    ):
        facts.append(Corrected("x1", f"c{nth}", change, about, MIRA, "", HostTime(boot, round(s * 1e6)), value, nth))
    result = score(PLAN, [*(facts[i] for i in order), *p.facts])
    find = result.burial("A").find
    assert find is not None
    assert (find.moment.at_us, find.searcher) == (80_000_000, "Tove")
