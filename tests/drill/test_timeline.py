"""One clock through several boots of the host, from facts in any order."""

from __future__ import annotations

import pytest
from exercise_kit import Made, drill
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldctl.drill.plan import Burial
from fieldctl.drill.score import state_of
from fieldctl.drill.timeline import Timeline, timeline
from fieldctl.events import Fact
from fieldctl.units import US_PER_S, HostTime, Stamp

PLAN = drill(Burial("A"))


def at(boot: str, s: float) -> HostTime:
    return HostTime(boot, round(s * US_PER_S))


def made() -> Made:
    return Made(PLAN, boot="m", zero_us=100 * US_PER_S)


def since_s(times: Timeline, boot: str, s: float) -> float | None:
    us = times.since_start(at(boot, s))
    return None if us is None else us / US_PER_S


def test_one_boot() -> None:
    times = timeline([made().started(plus_minus_ms=5)])
    assert (times.zeros, times.plus_minus_us, times.boots) == ((("m", 100_000_000),), 5_000, ("m",))
    assert since_s(times, "m", 160) == 60
    assert times.host("m", 60_000_000) == 160_000_000
    assert since_s(times, "z", 160) is None
    assert times.host("z", 0) is None


@pytest.mark.parametrize("starts", [0, 2])
def test_exactly_one_start(starts: int) -> None:
    with pytest.raises(ValueError, match="starts of an exercise"):
        timeline([made().started()] * starts)


def test_an_interruption_within_one_boot_is_a_measured_gap() -> None:
    make = made()
    times = timeline([make.started(), make.interrupted(at("m", 150), at("m", 300)), make.resumed(at("m", 320))])
    assert since_s(times, "m", 330) == 230  # the clock of the host went on, so the exercise's did


def test_after_a_reboot_it_goes_on_where_it_was_last_known() -> None:
    make = made()
    facts: list[Fact] = [make.started(), make.interrupted(at("m", 150), at("b", 20))]
    assert since_s(timeline(facts), "b", 25) is None  # nobody has let it go on
    times = timeline([*facts, make.resumed(at("b", 60))])
    assert since_s(times, "b", 60) == 50
    assert since_s(times, "b", 70) == 60
    assert times.host("b", 60_000_000) == 70_000_000
    assert times.boots == ("m", "b")


def through_four_boots() -> list[Fact]:
    """m to 50 s; in b on from 50 to 80 s; noticed in a and never gone on with; noticed again in c, and on from 80 s."""
    make = made()
    return [
        make.started(),
        make.interrupted(at("m", 150), at("b", 20)),
        make.resumed(at("b", 60)),
        make.resumed(at("b", 70)),  # after a short gap, later in the same boot
        make.interrupted(at("b", 90), at("a", 5)),
        make.interrupted(at("a", 7), at("c", 3)),
        make.resumed(at("c", 10)),
    ]


@given(st.permutations(through_four_boots()))
def test_a_chain_of_boots_in_any_order(facts: list[Fact]) -> None:
    times = timeline(facts)
    assert times.boots == ("m", "b", "a", "c")  # not the order of their names
    assert since_s(times, "b", 60) == 50
    assert since_s(times, "a", 6) is None
    assert since_s(times, "c", 10) == 80
    assert since_s(times, "c", 30) == 100


@pytest.mark.parametrize("turned", [False, True])
def test_of_two_interruptions_noticed_in_one_boot_the_first_tells_where_the_clock_stood(turned: bool) -> None:
    make = made()
    noticed = [make.interrupted(at("m", 150), at("b", 20)), make.interrupted(at("m", 140), at("b", 40))]
    times = timeline([*(noticed[::-1] if turned else noticed), make.started(), make.resumed(at("b", 60))])
    assert since_s(times, "b", 60) == 50


def test_resumed_in_a_boot_that_noticed_no_interruption() -> None:
    """The controller was told to stop, the host switched off, and a person goes on the next morning."""
    make = made()
    times = timeline([make.started(), make.interrupted(at("m", 150), at("m", 150)), make.resumed(at("b", 8))])
    assert since_s(times, "b", 8) == 50


def test_reopened_in_another_boot_goes_on_from_its_end() -> None:
    make = made()
    times = timeline([make.started(), make.ended("stopped", 30), make.reopened(35)])
    assert since_s(times, "m", 140) == 40
    other = Made(PLAN, boot="b", zero_us=0)
    times = timeline([make.started(), make.ended("stopped", 30), other.reopened(12)])
    assert since_s(times, "b", 12) == 30


@pytest.mark.parametrize(("first", "second"), [("b", "c"), ("c", "b")])
@pytest.mark.parametrize("how", ["stopped", "crashed"])
def test_names_of_boots_have_no_order(first: str, second: str, how: str) -> None:
    """On in one boot after a clean stop, then in the next: the one between is not lost by its name."""
    make = made()
    last = at(first, 20)
    noticed = last if how == "stopped" else at(second, 2)
    facts = [
        make.started(), make.interrupted(at("m", 150), at("m", 150)), make.resumed(at(first, 8)),
        make.interrupted(last, noticed), make.resumed(at(second, 9)),
    ]  # fmt: skip
    times = timeline(facts)
    assert times.boots == ("m", first, second)
    assert (since_s(times, first, 8), since_s(times, second, 9)) == (50, 62)


def test_ended_in_a_boot_of_its_own_and_reopened_in_another() -> None:
    """Nobody let it go on in b, a person stopped it there: that comes before it was reopened in a."""
    make, b, a = made(), Made(PLAN, boot="b", zero_us=0), Made(PLAN, boot="a", zero_us=0)
    facts = [make.started(), make.interrupted(at("m", 150), at("m", 150)), b.ended("stopped", 9), a.reopened(12)]
    times = timeline(facts)
    assert times.boots == ("m", "b", "a")
    assert since_s(times, "b", 9) is None
    assert since_s(times, "a", 12) == 50
    assert state_of(facts[:3]) == "stopped"
    assert state_of(facts) == state_of(facts[::-1]) == "running"


class Season:
    """One exercise through the lives of controllers and hosts; what is true is kept beside the facts."""

    def __init__(self, boots: list[str]) -> None:
        self.boots = boots
        self.make = Made(PLAN, boot="m", zero_us=0)
        self.now_s = 100
        self.last_s = 0  # when it was last known in this boot
        self.status = "running"
        self.zeros = {"m": 100}
        self.stood_s = 0
        self.grants = 0
        self.facts: list[Fact] = [made().started()]
        self.gives()

    def gives(self) -> None:
        self.grants += 1
        self.facts.append(self.make.given("A", self.grants, self.make.at(self.now_s + 500)))

    def interrupted(self, last: HostTime) -> None:
        self.facts.append(self.make.interrupted(last, self.make.at(self.now_s)))
        self.status = "interrupted"

    def reboots(self, now_s: int) -> None:
        if self.make.boot in self.zeros:
            self.stood_s = self.last_s - self.zeros[self.make.boot]
        self.make.boot, self.now_s, self.last_s = self.boots.pop(), now_s, 0

    def lives(self, what: str, wait_s: int) -> None:
        """What may happen where it stands; the rest is no move of a controller."""
        before, before_s = self.make.at(self.now_s), self.now_s
        self.now_s += 1 + wait_s
        now = self.make.at(self.now_s)
        match what, self.status:
            case "clean stop", "running":
                self.last_s = self.now_s
                self.interrupted(now)
            case "long gap", "running":
                self.last_s = before_s
                self.interrupted(before)
            case "short gap", "running":
                self.facts.append(self.make.resumed(now))
            case "crash", "running" if self.boots:
                self.last_s = self.now_s
                self.reboots(1 + wait_s)
                self.interrupted(now)
            case "end", "running" | "interrupted":
                self.last_s = self.now_s
                self.facts.append(self.make.ended("stopped", self.now_s))
                self.status = "stopped"
            case "reboot", "interrupted" | "stopped" if self.boots:
                self.reboots(1 + wait_s)
            case "on", "interrupted" | "stopped":
                self.zeros.setdefault(self.make.boot, self.now_s - self.stood_s)
                stopped = self.status == "stopped"
                self.facts.append(self.make.reopened(self.now_s) if stopped else self.make.resumed(now))
                self.status = "running"
                self.gives()


LIFE = st.sampled_from(["clean stop", "crash", "long gap", "short gap", "end", "reboot", "reboot", "on", "on", "on"])


@settings(max_examples=200, deadline=None)
@given(st.permutations(list("abcdefz")), st.lists(st.tuples(LIFE, st.integers(0, 9)), max_size=25), st.data())
def test_any_season_has_its_true_clock_in_any_order(
    boots: list[str], lives: list[tuple[str, int]], data: st.DataObject
) -> None:
    season = Season(boots)
    for what, wait_s in lives:
        season.lives(what, wait_s)
    facts = data.draw(st.permutations(season.facts))
    times = timeline(facts)
    assert {boot: zero // US_PER_S for boot, zero in times.zeros} == season.zeros
    assert state_of(facts) == season.status


def test_a_boot_out_of_nowhere_has_no_time() -> None:
    make = made()
    times = timeline([make.started(), make.resumed(at("z", 12))])  # nothing tells where the clock stood
    assert since_s(times, "z", 12) is None
    assert times.rank(at("m", 500)) < times.rank(at("z", 1))


def test_rank_orders_by_boot_then_clock() -> None:
    times = timeline(through_four_boots())
    moments = [at("m", 999), at("b", 1), at("b", 2), at("a", 1), at("c", 0), at("zzz", 0)]
    assert sorted((moments[i] for i in (3, 0, 5, 2, 4, 1)), key=times.rank) == moments


def test_shifted_moves_every_boot() -> None:
    times = timeline(through_four_boots()).shifted(5 * US_PER_S)
    assert since_s(times, "m", 110) == 5
    assert since_s(times, "c", 10) == 75
    assert times.boots == ("m", "b", "a", "c")


@pytest.mark.parametrize(("us", "surely"), [(-7_001, True), (-7_000, False), (0, False)])
def test_surely_before_the_start_is_outside_both_plus_minus(us: int, surely: bool) -> None:
    times = timeline([made().started(plus_minus_ms=5)])
    assert times.surely_before_start(Stamp(HostTime("m", 100 * US_PER_S + us), 2_000)) is surely


def test_what_has_no_date_is_not_surely_before() -> None:
    assert not timeline([made().started()]).surely_before_start(Stamp(at("z", -1000), 0))
