"""Ticks of phones that were without the field: what stands does not depend on whose arrives first, and none is lost."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.events import BatterySwapped, Fact, SwapTakenBack, VisitBegun, VisitTicked, VisitUnticked
from fieldctl.units import HostTime, PersonId, TargetId
from fieldctl.upkeep.visits import Item, fold, swaps_in_force

HERE = HostTime("invented", 1)
TOVE = PersonId("p-tove")
ITEM = "5ee00001:deaf"
BEGUN = VisitBegun("v1", (ITEM,), (), TOVE, HERE, "2026-01-24")


def tick(name: str, done: bool, knew: tuple[str, ...] = (), item: str = ITEM) -> VisitTicked:
    return VisitTicked("v1", name, item, done, "" if done else "ice", knew, None, "2026-01-24", TOVE, HERE)


def item(*facts: Fact) -> Item:
    return fold([BEGUN, *facts])["v1"].items[0]


@st.composite
def phones(draw: st.DrawFn) -> tuple[list[VisitTicked], list[VisitTicked]]:
    """Two phones that do not hear of each other; each knows what it ticked itself before."""
    made = []
    for phone in "ab":
        says = draw(st.lists(st.booleans(), min_size=1, max_size=4))
        names = [f"{phone}{n}" for n in range(len(says))]
        made.append(
            [tick(name, done, tuple(names[:n])) for n, (name, done) in enumerate(zip(names, says, strict=True))]
        )
    return made[0], made[1]


@given(both=phones(), turns=st.lists(st.booleans(), min_size=8, max_size=8))
@settings(max_examples=200, deadline=None)
def test_the_order_of_arrival_changes_nothing(
    both: tuple[list[VisitTicked], list[VisitTicked]], turns: list[bool]
) -> None:
    first, second = both
    mixed, left = [], [list(first), list(second)]
    for turn in turns:
        if left[turn]:
            mixed.append(left[turn].pop(0))
    mixed += left[0] + left[1]
    found, usual = item(*mixed), item(*first, *second)
    assert {one.said.tick for one in found.ticks} == {first[-1].tick, second[-1].tick}
    assert found.state == usual.state
    assert (found.state == "conflict") == (first[-1].done != second[-1].done)
    settled = item(*mixed, tick("c", True, (first[-1].tick, second[-1].tick)))
    assert (settled.state, len(settled.ticks)) == ("done", 1)


def test_the_same_tick_twice_is_one_and_an_undone_one_is_none() -> None:
    one = tick("a", True)
    assert len(item(one, one).ticks) == 1
    assert item(one, VisitUnticked("v1", "a", TOVE, HERE)).state == "open"
    assert item(one, VisitUnticked("v1", "b", TOVE, HERE)).state == "done"


def test_ticks_of_nobody_s_visit_are_left_alone_and_what_was_not_listed_comes_last() -> None:
    found = fold([BEGUN, replace(tick("a", True), visit="v9"), tick("b", True, item="5ee00002:battery")])
    assert list(found) == ["v1"]
    assert [one.item for one in found["v1"].items] == [ITEM, "5ee00002:battery"]
    assert found["v1"].left == (ITEM,)


def test_swaps_in_force() -> None:
    target = TargetId("5ee00001")

    def swap(day: str) -> BatterySwapped:
        return BatterySwapped(target, day, "", 0, 0.0, TOVE, HERE)

    back = SwapTakenBack(target, "2026-01-24", TOVE, HERE)
    assert swaps_in_force([swap("2026-01-24"), swap("2026-02-01"), back]) == [swap("2026-02-01")]
    assert swaps_in_force([back, swap("2026-01-24")]) == [swap("2026-01-24")], "said anew afterwards"
