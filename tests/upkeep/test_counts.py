"""A counter that goes wild, leaps, forgets or begins anew."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldctl.upkeep.counts import LOOK, sound
from fieldctl.upkeep.curves import Array

LOAD_A = 0.12
HOUR_MAS = 3.0 * 3600  # 3 mA for an hour
FAR = 400 * HOUR_MAS  # so much was counted before: more than any hour can take
ERASED = float(0xFFFFFFFF)


def hourly(n: int) -> tuple[Array, Array]:
    return 20_000.0 + np.arange(n) / 24, FAR + HOUR_MAS * np.arange(n, dtype=np.float64)


def used(counted: Array) -> float:
    known = counted[~np.isnan(counted)]
    return float(np.maximum(np.diff(known), 0.0).sum())


@pytest.mark.parametrize("value", [ERASED, 0.0, FAR * 1000, 5.0])
@pytest.mark.parametrize("at", [0, 1, 30, 58, 59])
def test_one_wild_count_changes_nothing(value: float, at: int) -> None:
    day, counted = hourly(60)
    counted[at] = value
    good, wild = sound(day, counted, LOAD_A)
    assert used(good) == pytest.approx(HOUR_MAS * 59, abs=2 * HOUR_MAS)
    assert (np.diff(good[~np.isnan(good)]) >= 0).all()
    last_fall = at == 59 and value < FAR  # one more has to come before anybody can say what it was
    assert np.flatnonzero(wild).tolist() == ([] if last_fall else [at])


def test_a_counter_that_begins_anew_is_left_as_it_is() -> None:
    day, counted = hourly(120)
    counted[60:] = HOUR_MAS * np.arange(60)
    good, wild = sound(day, counted, LOAD_A)
    assert good.tolist() == counted.tolist()
    assert not wild.any()


@pytest.mark.parametrize("value", [ERASED, 0.0])
def test_a_memory_that_fails_for_half_a_day_changes_nothing(value: float) -> None:
    day, counted = hourly(60)
    counted[30:42] = value
    good, wild = sound(day, counted, LOAD_A)
    assert used(good) == pytest.approx(HOUR_MAS * 59)
    assert (np.diff(good[~np.isnan(good)]) >= 0).all()
    assert np.flatnonzero(wild).tolist() == list(range(30, 42))


def test_a_gap_may_hold_much_use() -> None:
    day, counted = hourly(60)
    day[30:] += 20.0
    counted[30:] += 20 * 24 * HOUR_MAS
    good, wild = sound(day, counted, LOAD_A)
    assert good.tolist() == counted.tolist()
    assert not wild.any()


@pytest.mark.parametrize("leap", [ERASED / 2, FAR, -FAR / 2])
def test_a_leap_takes_nothing_and_is_told_once(leap: float) -> None:
    """A unit that was given another's memory, or lost what it had not written down: it counts on from there."""
    day, counted = hourly(120)
    counted[60:] += leap
    good, wild = sound(day, counted, LOAD_A)
    assert used(good) == pytest.approx(HOUR_MAS * 118)
    assert (np.diff(good) >= 0).all()
    assert np.flatnonzero(wild).tolist() == [60]


@given(st.data())
def test_any_few_wild_counts_change_the_use_little(data: Any) -> None:
    n = 80
    day, counted = hourly(n)
    places = data.draw(st.sets(st.integers(2, n - LOOK - 2), max_size=6))
    for at in places:
        counted[at] = data.draw(st.sampled_from((0.0, 7.0, ERASED, 1e9, -4.0)))
    good, wild = sound(day, counted, LOAD_A)
    assert used(good) == pytest.approx(HOUR_MAS * (n - 1))
    assert set(np.flatnonzero(wild).tolist()) == places


def test_nothing_said_is_nothing_wild() -> None:
    silent = np.full(5, np.nan)
    good, wild = sound(np.arange(5.0), silent, LOAD_A)
    assert np.isnan(good).all()
    assert not wild.any()
