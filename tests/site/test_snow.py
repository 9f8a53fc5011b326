"""Depth today: what the snow's height says, what settling says, honest bounds around both, and what cannot be said."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.physics.probing import HANDS_M, probe_reach_m
from fieldctl.site.model import PROBE_IN_HANDS_M, Place, UpkeepRules
from fieldctl.site.snow import PROBED_M, VAGUE_M, Burial, Reading, Readings, latest, settled_share
from fieldctl.site.snow import burial_now as burial_of
from fieldctl.units import TargetId

DAY = datetime.date(2026, 1, 10)
PLACE = Place(TargetId("5ee00001"), "one", "upper", 0, 0, depth_m=1.0, snow_m=2.0, surveyed_on=DAY)


def after(days: int) -> datetime.date:
    return DAY + datetime.timedelta(days=days)


def burial_now(place: Place, rows: list[Reading], today: datetime.date | None) -> Burial:
    return burial_of(place, Readings(rows, today), today)


def best(rows: list[Reading], zone: str, today: datetime.date) -> Reading | None:
    return latest(Readings(rows, today), zone, today)


def now(place: Place, snow_m: float, days: int = 5, zone: str | None = "upper") -> Burial:
    return burial_now(place, [Reading(after(days), snow_m, zone)], after(days))


def test_on_the_day_of_the_survey_it_is_what_was_surveyed() -> None:
    today = burial_now(PLACE, [], DAY)
    assert today.depth_m == 1.0
    assert today.plus_minus_m == pytest.approx(PROBED_M)
    assert today.why == ()


def test_new_snow_comes_on_top_and_the_old_settles() -> None:
    today = now(PLACE, 2.6)
    held, sunk = 1.6, 2.6 - 1.0 * settled_share(5)
    assert today.depth_m == pytest.approx((held + sunk) / 2)
    assert today.least_m is not None
    assert today.most_m is not None
    assert today.least_m < held
    assert today.most_m > sunk


def test_less_snow_has_melted_or_settled() -> None:
    today = now(PLACE, 1.4)
    assert today.middle_m == pytest.approx((0.4 + 0.7) / 2)  # off the top; or evenly: the share above it stays half


def test_what_lies_on_the_ground_is_under_all_of_the_snow() -> None:
    today = now(replace(PLACE, depth_m=2.0), 2.5, days=60)
    assert today.depth_m == pytest.approx(2.5)
    assert "settling" not in today.why
    dug_in = now(replace(PLACE, depth_m=2.3), 2.5, days=60)
    assert dug_in.depth_m == pytest.approx(2.8)


def test_without_snow_it_lies_bare() -> None:
    today = now(PLACE, 0.0)
    assert (today.depth_m, today.least_m) == (0.0, 0.0)
    assert today.shallower(0.0) in ("sure", "likely")


def test_the_plus_minus_grows_with_the_days_since_the_last_reading() -> None:
    widths = [burial_now(PLACE, [Reading(after(5), 2.2, "upper")], after(days)).plus_minus_m for days in (5, 8, 20, 90)]
    assert widths == sorted(widths)
    assert widths[-1] > 3 * widths[0]
    assert "old-reading" in burial_now(PLACE, [Reading(after(5), 2.2, "upper")], after(20)).why


def test_without_any_reading_since_the_depth_is_the_surveyed_one_with_a_growing_plus_minus() -> None:
    fresh, old = burial_now(PLACE, [], after(1)), burial_now(PLACE, [], after(50))
    assert fresh.middle_m == pytest.approx(1.0, abs=0.05)
    assert old.plus_minus_m > 0.7
    assert "no-reading" in old.why
    earlier = burial_now(PLACE, [Reading(after(-3), 1.2, "upper")], after(50))
    assert earlier == old  # what was read before the survey tells nothing of the days since


def test_without_the_snow_of_the_survey_only_a_bound_is_told() -> None:
    place = replace(PLACE, snow_m=None)
    today = now(place, 1.7)
    assert (today.depth_m, today.least_m) == (None, None)
    assert today.why == ("no-snow-then",)
    assert today.most_m is not None
    assert 1.7 < today.most_m < 2.0
    assert (today.deeper(0.0), today.shallower(9.0)) == (None, None)
    assert burial_now(place, [], after(5)).most_m is None


def test_without_the_day_of_the_survey_it_may_have_settled_to_the_ground() -> None:
    place = replace(PLACE, surveyed_on=None)
    today = now(place, 2.3)
    assert today.why == ("no-day", "settling")
    assert today.least_m is not None
    assert today.most_m is not None
    assert today.least_m < 1.3
    assert today.most_m > 2.3
    assert burial_now(place, [], after(5)).depth_m is None  # neither its age nor the snow since


def test_a_reading_on_the_day_of_the_survey_stands_in_for_its_snow() -> None:
    place = replace(PLACE, snow_m=None)
    readings = [Reading(DAY, 2.0, None, "opening"), Reading(after(5), 2.3, None, "opening")]
    today = burial_now(place, readings, after(5))
    assert today.middle_m == pytest.approx(now(PLACE, 2.3).middle_m)
    assert today.plus_minus_m > now(PLACE, 2.3).plus_minus_m


def test_a_stake_that_shows_another_height_than_the_place_tells_by_how_much_it_changed() -> None:
    readings = [Reading(DAY, 1.5, None), Reading(after(1), 1.9, None)]  # 0.5 m less than at the place
    assert burial_now(PLACE, readings, after(1)).middle_m == pytest.approx(now(PLACE, 2.4, days=1).middle_m)


def test_the_depth_of_an_earlier_day_ages_from_that_day() -> None:
    """A survey of the place alone does not make the depth newer."""
    place = replace(PLACE, surveyed_on=after(60), depth_on=DAY)
    assert burial_now(place, [], after(60)) == burial_now(PLACE, [], after(60))


def test_which_reading_counts() -> None:
    whole, own = Reading(after(5), 1.0, None), Reading(after(5), 2.0, "upper")
    assert best([own, whole], "upper", after(6)) == own
    assert best([Reading(after(1), 1.0, "upper"), whole], "upper", after(6)) == whole  # newer says more
    assert best([Reading(after(5), 9.0, "lower")], "upper", after(6)) is None
    assert best([own], "upper", after(4)) is None  # not yet measured then
    again = replace(own, snow_m=2.2)
    assert best([own, again], "upper", after(6)) == again  # of one day the later entry


def test_without_a_clock_it_says_so() -> None:
    today = burial_now(PLACE, [Reading(after(5), 2.2, "upper")], None)
    assert today.why[0] == "no-clock"
    assert today.middle_m == pytest.approx(now(PLACE, 2.2).middle_m)


def test_how_sure_it_is_by_the_plus_minus() -> None:
    deep = Burial(2.3, 0.2)
    assert [deep.deeper(limit) for limit in (2.05, 2.2, 2.35, 2.5)] == ["sure", "likely", "perhaps", None]
    assert [Burial(m, 0.2).shallower(0.0) for m in (-0.3, -0.1, 0.05, 0.2)] == ["sure", "likely", "perhaps", None]


def test_of_a_vague_depth_only_what_is_likely_is_told() -> None:
    assert Burial(2.0, VAGUE_M).deeper(2.1) == "perhaps"
    assert Burial(2.0, VAGUE_M + 0.01).deeper(2.1) is None
    assert Burial(2.2, VAGUE_M + 0.01).deeper(2.1) == "likely"


@given(st.floats(0, 5), st.floats(0.1, 6), st.floats(0, 8), st.integers(1, 200), st.floats(0, 1))
def test_whatever_share_of_what_settles_the_answer_holds_it(
    depth: float, then: float, snow: float, days: int, share: float
) -> None:
    """Truth: the target's height has shrunk by any share between none and all that settling allows."""
    place = replace(PLACE, depth_m=depth, snow_m=then)
    today = now(place, snow, days)
    height = max(0.0, then - depth)
    least_left = min(settled_share(days), snow / then if snow < then else 1.0)
    left = 1.0 - share * (1.0 - least_left)
    truth = depth + snow - then + height * (1.0 - left)
    assert today.middle_m is not None
    assert abs(truth - today.middle_m) <= today.plus_minus_m
    assert today.depth_m is not None
    assert today.least_m is not None
    assert today.most_m is not None
    assert 0 <= today.least_m <= today.depth_m <= today.most_m


@given(st.floats(0, 300), st.floats(0, 300))
def test_a_layer_only_ever_settles(one: float, other: float) -> None:
    early, late = sorted((one, other))
    assert 0 < settled_share(late) <= settled_share(early) <= 1
    assert settled_share(0) == 1


def test_what_stays_in_the_hands_is_one_figure_everywhere() -> None:
    assert PROBE_IN_HANDS_M == HANDS_M
    assert UpkeepRules().reach_m == pytest.approx(probe_reach_m(2.4))
