"""The day as a fold of facts, and what is in the way of opening and closing."""

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.events import (
    AllOffReleased,
    DayClosed,
    DayOpened,
    Fact,
    ManualIn,
    ManualOut,
    StrikeRecorded,
    SurfaceRenewed,
    TargetAdded,
    TargetBarred,
    TargetCleared,
    TargetTakenOut,
)
from fieldctl.site.checks import Closing, Opening, Quiet, bars, closing_problems, opening_problems
from fieldctl.site.day import Day, fold, step
from fieldctl.site.files import read_site
from fieldctl.site.new import templates
from fieldctl.units import BootId, HostTime, NodeTicks, PersonId, Stamp, TargetId

SITE = read_site(dict(templates())["site.toml"])
ZONES = SITE.zone_of()
ALL = SITE.targets
MIRA, TOVE = PersonId("mira"), PersonId("tove")
ONE, TWO, SIX = ALL[0], ALL[1], ALL[5]  # upper, upper, lower


def at(us: int) -> HostTime:
    return HostTime("host-1", us)


OPENED = DayOpened(MIRA, at(10), "moderate, slope north", 2.1, ALL, (), ALL, "nothing heard")
CLOSED = DayClosed(TOVE, at(90), True, "Tove, all of it, nothing", (), ("quiet:5ee00001",), "Tove")


def strike(target: TargetId, number: int = 1, exercise: str | None = "ex-1") -> StrikeRecorded:
    stamp = Stamp(at(50), 1000)
    return StrikeRecorded(target, BootId(1), number, NodeTicks(5), stamp, (), "probe", "r", exercise, None, "bus")


def after(*facts: Fact) -> Day:
    return fold(facts, ZONES)


def test_a_day_about_which_nothing_is_known_is_closed() -> None:
    assert not after().open
    assert not after(AllOffReleased(1, MIRA, "drill", at(1))).open


def test_opening_and_closing() -> None:
    day = after(OPENED)
    assert (day.open, day.in_charge, day.since, day.snow_m) == (True, MIRA, at(10), 2.1)
    day = after(OPENED, CLOSED)
    assert (day.open, day.in_charge, day.since) == (False, None, at(90))
    assert day.closed_with == ("quiet:5ee00001",)
    assert after(OPENED, CLOSED, OPENED).open


def test_strikes_make_targets_less_fresh_until_the_surface_is_renewed_in_their_zone() -> None:
    struck = (OPENED, strike(ONE), strike(ONE, 2), strike(SIX))
    day = after(*struck)
    assert [day.struck_since_renewed(t) for t in (ONE, TWO, SIX)] == [2, 0, 1]
    assert day.fresh_left(SITE) == {"upper": 5, "lower": 5}
    lower = after(*struck, SurfaceRenewed("lower", "tilled", MIRA, at(60)))
    assert [lower.struck_since_renewed(t) for t in (ONE, SIX)] == [2, 0]
    everywhere = after(*struck, SurfaceRenewed(None, "snow", MIRA, at(60)))
    assert everywhere.fresh_left(SITE) == {"upper": 6, "lower": 6}


def test_the_touch_before_opening_makes_nothing_less_fresh_but_a_late_strike_of_an_exercise_does() -> None:
    assert after(strike(ONE, exercise=None), OPENED).struck_since_renewed(ONE) == 0
    assert after(OPENED, strike(ONE, exercise=None)).struck_since_renewed(ONE) == 1
    assert after(OPENED, CLOSED, strike(ONE)).struck_since_renewed(ONE) == 1


def test_barred_targets_stay_on_the_list_until_they_are_cleared() -> None:
    bar = TargetBarred(ONE, "heard though it says quiet", MIRA)
    day = after(bar, OPENED, CLOSED, TargetTakenOut(ONE, "lost", "upper", MIRA, "gone"))
    assert "heard though it says quiet" in day.why_not(ONE)
    assert not day.usable(ONE)
    day = after(bar, TargetCleared(ONE, "dug out, quiet", MIRA))
    assert day.usable(ONE)
    assert day.why_not(ONE) == ""


def test_what_was_taken_out_is_not_fresh_and_may_come_back() -> None:
    out = after(TargetTakenOut(ONE, "taken-out", "upper", MIRA, "repair"))
    assert out.fresh_left(SITE)["upper"] == 5
    assert out.why_not(ONE) == "taken out of the field"
    assert step(out, TargetAdded(ONE, "hw", "bus", 2, MIRA), ZONES).usable(ONE)


def test_manual_units_are_counted_out_and_in() -> None:
    out = ManualOut("hand 1", "upper", "by the larch", MIRA, at(20))
    assert after(out).manual_out == {"hand 1": out}
    assert after(out, ManualIn("hand 1", True, MIRA, at(30))) == Day()
    unseen = after(out, ManualIn("hand 1", False, MIRA, at(30)))
    assert (dict(unseen.manual_out), unseen.manual_unseen) == ({}, {"hand 1"})
    assert after(out, ManualIn("hand 1", False, MIRA, at(30)), ManualIn("hand 1", True, MIRA, at(31))) == Day()


@given(st.lists(st.sampled_from([strike(ONE), strike(SIX), SurfaceRenewed("upper", "x", MIRA, at(1)), OPENED, CLOSED])))
def test_the_fold_is_the_steps_one_by_one_and_never_changes_what_was(facts: list[Fact]) -> None:
    day, copies = Day(), []
    for fact in facts:
        copies.append((day, dict(day.struck)))
        day = step(day, fact, ZONES)
    assert day == fold(facts, ZONES)
    assert all(dict(state.struck) == struck for state, struck in copies)
    assert sum(day.fresh_left(SITE).values()) == 12 - len(day.struck)


# ---- opening -------------------------------------------------------------------------------------------------

GOOD = Opening(MIRA, "moderate, slope north", 2.1, ALL, ALL, "nothing heard")


def keys(opening: Opening, day: Day | None = None) -> list[str]:
    problems = opening_problems(SITE, day or Day(), opening)
    assert all(p.wrong.endswith(".") and p.remedy.endswith(".") for p in problems)
    return [p.key for p in problems]


def test_a_complete_opening_has_nothing_in_the_way() -> None:
    assert keys(GOOD) == []


@pytest.mark.parametrize(
    ("opening", "key"),
    [
        (replace(GOOD, hazard="  "), "hazard"),
        (replace(GOOD, snow_m=None), "snow"),
        (replace(GOOD, snow_m=210.0), "snow"),
        (replace(GOOD, snow_m=float("nan")), "snow"),
        (replace(GOOD, by=PersonId("")), "in-charge"),
        (replace(GOOD, by=PersonId("anybody")), "in-charge"),
        (replace(GOOD, heard=ALL[1:], touched=ALL[1:]), "roll-call:5ee00001"),
        (replace(GOOD, touched=ALL[:-1]), "touch:5ee0000c"),
        (replace(GOOD, stray_sweep=""), "stray-sweep"),
        (replace(GOOD, heard=(*ALL, TargetId("0badcafe"))), "unknown:0badcafe"),
        (replace(GOOD, exceptions=("touch:5ee00001",)), "exception:touch:5ee00001"),
    ],
)
def test_each_thing_in_the_way_of_opening(opening: Opening, key: str) -> None:
    assert keys(opening) == [key]


def test_an_open_field_is_not_opened_again() -> None:
    assert keys(GOOD, after(OPENED)) == ["open"]


def test_what_may_be_signed_for_and_what_not() -> None:
    silent = replace(GOOD, heard=ALL[1:], touched=ALL[1:], hazard="", exceptions=("roll-call:5ee00001", "hazard"))
    assert keys(silent) == ["hazard"]


def test_barred_targets_are_not_asked_for() -> None:
    day = after(TargetBarred(ONE, "heard", MIRA))
    assert keys(replace(GOOD, heard=ALL[1:], touched=ALL[1:]), day) == []


def test_units_still_out_from_the_day_before() -> None:
    out = ManualOut("hand 1", "upper", "by the larch", MIRA, at(20))
    assert keys(GOOD, after(out)) == ["manual-out:hand 1"]
    assert keys(replace(GOOD, exceptions=("manual-out:hand 1",)), after(out)) == []
    assert keys(GOOD, after(out, ManualIn("hand 1", False, MIRA, at(30)))) == ["manual-on:hand 1"]


# ---- closing -------------------------------------------------------------------------------------------------

WELL = Closing(TOVE, True, "Tove, both zones, nothing heard", (), (), "Tove")
QUIET = Quiet((), ALL)


def closing_keys(closing: Closing, day: Day | None = None, quiet: Quiet = QUIET) -> list[str]:
    problems = closing_problems(SITE, day or after(OPENED), closing, quiet)
    assert all(p.wrong.endswith(".") and p.remedy.endswith(".") for p in problems)
    return [p.key for p in problems]


def test_a_complete_closing_has_nothing_in_the_way() -> None:
    assert closing_keys(WELL) == []


@pytest.mark.parametrize(
    ("closing", "quiet", "key"),
    [
        (replace(WELL, by=PersonId("field")), QUIET, "in-charge"),
        (replace(WELL, own_units_back=False), QUIET, "own-units"),
        (replace(WELL, listening_walk=" "), QUIET, "listening-walk"),
        (replace(WELL, signed=""), QUIET, "signature"),
        (replace(WELL, heard_sending=(ONE,)), QUIET, "heard:5ee00001"),
        (replace(WELL, exceptions=("hazard",)), QUIET, "exception:hazard"),
        (WELL, Quiet(("ex-1",), ALL), "exercise:ex-1"),
        (WELL, Quiet((), ALL[1:]), "quiet:5ee00001"),
    ],
)
def test_each_thing_in_the_way_of_closing(closing: Closing, quiet: Quiet, key: str) -> None:
    assert closing_keys(closing, quiet=quiet) == [key]


def test_a_closed_field_is_not_closed_again() -> None:
    assert closing_keys(WELL, Day()) == ["closed"]


def test_hand_buried_units_are_counted_in_or_named() -> None:
    day = after(OPENED, ManualOut("hand 1", "upper", "by the larch", MIRA, at(20)))
    assert closing_keys(WELL, day) == ["manual-out:hand 1"]
    assert closing_keys(replace(WELL, exceptions=("manual-out:hand 1",)), day) == []


def test_a_target_heard_though_it_says_quiet_is_a_person_first_then_barred_by_name() -> None:
    heard = replace(WELL, heard_sending=(SIX, SIX))
    (problem, *_) = closing_problems(SITE, after(OPENED), heard, QUIET)
    assert "says quiet" in problem.wrong
    assert re.search("person until proved otherwise", problem.remedy)
    (bar,) = bars(after(OPENED), heard)
    assert (bar.target, bar.by) == (SIX, TOVE)
    day = after(OPENED, bar)
    assert "listening walk" in day.why_not(SIX)
    assert bars(day, heard) == ()


def test_a_walk_or_a_signature_cannot_be_signed_away() -> None:
    careless = replace(WELL, listening_walk="", signed="", exceptions=("listening-walk", "signature"))
    assert closing_keys(careless) == ["listening-walk", "signature"]
