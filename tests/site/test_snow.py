"""Depth today: what the stake says, what settling says, and honest bounds around both."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.site.model import Place
from fieldctl.site.snow import burial_today
from fieldctl.units import TargetId

PLACE = Place(TargetId("5ee00001"), "one", "upper", 0, 0, depth_m=1.0, plus_minus_m=0.1, snow_m=2.0)


def test_the_same_snow_is_the_same_depth() -> None:
    today = burial_today(PLACE, 2.0)
    assert today.depth_m == 1.0
    assert today.least_m == pytest.approx(0.9)


def test_new_snow_comes_on_top_and_the_old_may_have_settled() -> None:
    today = burial_today(PLACE, 2.6)
    assert today.depth_m == pytest.approx(1.6)
    assert today.least_m == pytest.approx(1.5)
    assert today.most_m == pytest.approx(2.7)  # settled to the ground, under all of the snow, and the ±


def test_less_snow_has_melted_or_settled() -> None:
    today = burial_today(PLACE, 1.4)
    assert today.depth_m == pytest.approx(0.4)  # melted from the top
    assert today.most_m == pytest.approx(0.7 + 0.1)  # settled evenly: the share above it stays half


def test_what_lies_on_the_ground_is_under_all_of_the_snow() -> None:
    ground = replace(PLACE, depth_m=2.0)
    assert burial_today(ground, 2.5).depth_m == pytest.approx(2.5)
    assert burial_today(ground, 2.5).most_m == pytest.approx(2.6)


def test_without_snow_it_lies_open() -> None:
    today = burial_today(PLACE, 0.0)
    assert (today.depth_m, today.least_m) == (0.0, 0.0)
    assert "open" in today.caution
    assert "open" in burial_today(PLACE, 0.9).caution  # on a stake of one metre it would


@pytest.mark.parametrize(("then", "now", "word"), [(None, 2.0, "survey"), (2.0, None, "today"), (None, None, "today")])
def test_an_unknown_snow_depth_is_said(then: float | None, now: float | None, word: str) -> None:
    today = burial_today(replace(PLACE, snow_m=then), now)
    assert today.depth_m == 1.0
    assert word in today.caution


@given(st.floats(0, 5), st.floats(0.1, 6), st.floats(0, 8))
def test_the_answer_lies_within_its_bounds(depth: float, then: float, now: float) -> None:
    today = burial_today(replace(PLACE, depth_m=depth, snow_m=then), now)
    assert 0 <= today.least_m <= today.depth_m <= today.most_m
