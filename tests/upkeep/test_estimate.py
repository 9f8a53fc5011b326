"""Charge left: what it rests on, when nothing is claimed, what cold and age do to it."""

from __future__ import annotations

import numpy as np
import pytest

from fieldctl.site import model
from fieldctl.site.model import Battery
from fieldctl.upkeep.curves import CELLS, CHEMISTRIES, TABLE, cold_keeps, curve, rest_v
from fieldctl.upkeep.energy import Calendar, use_of
from fieldctl.upkeep.estimate import believe, estimate, load_v, quantiles
from fieldctl.upkeep.forecast import _chances, _cold, forecast, least_v
from fieldctl.upkeep.readings import Daily

CALENDAR = Calendar(8.0, 2.0, sleeps=False)
ALKALINE = Battery("alkaline", 3, 10.0)


def worn(battery: Battery, shares: np.ndarray, celsius: float = -5.0, run: float = 1.0) -> Daily:
    """Days of a battery that is just as the table has it."""
    n = shares.size
    cold = np.full(n, celsius)
    rest = battery.cells * rest_v(battery.chemistry, shares)
    load = load_v(battery, shares, cold, run)
    used = (1.0 - shares) * battery.capacity_ah
    return Daily(np.arange(n) + 20_000.0, rest, load, cold, cold, used, (rest - load) / battery.load_a, np.zeros(n))


def test_names_of_chemistries_agree() -> None:
    assert set(model.CHEMISTRIES) == set(CHEMISTRIES) == set(CELLS)


def test_every_curve_rises_and_every_row_names_its_source() -> None:
    for chemistry in CHEMISTRIES:
        at, volts = curve(chemistry, "rest")
        assert (at[0], at[-1]) == (0.0, 1.0)
        assert (np.diff(volts) > 0).all()
        cold = cold_keeps(chemistry, np.array([20.0, 0.0, -10.0, -20.0]))
        assert (np.diff(cold) > 0).all()
    assert all(len(row.source) >= len("memory") for row in TABLE)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
@pytest.mark.parametrize("left", [0.85, 0.6, 0.35])
def test_a_battery_by_the_book_is_known(chemistry: str, left: float) -> None:
    battery = Battery(chemistry, 2, 10.0)
    found = estimate(believe(battery, worn(battery, np.linspace(1.0, left, 30)), fresh=True))
    assert found.share == pytest.approx(left, abs=0.05)
    assert found.low is not None
    assert found.high is not None
    assert found.low < left < found.high
    assert found.high - found.low < 0.35


def test_a_flat_curve_rests_on_the_count_and_says_so() -> None:
    battery = Battery("lithium-fr6", 2, 3.0)
    days = worn(battery, np.linspace(1.0, 0.5, 30))
    fresh = estimate(believe(battery, days, fresh=True))
    assert (fresh.basis, fresh.flat) == ("count", True)
    assert fresh.share == pytest.approx(0.5, abs=0.05)
    unknown = estimate(believe(battery, days.part(25, 30), fresh=False))
    assert (unknown.basis, unknown.share, unknown.low, unknown.high) == ("nothing", None, None, None)
    assert unknown.ohm is not None  # resistance is a sign of its own


def test_no_volts_at_all() -> None:
    days = worn(ALKALINE, np.linspace(1.0, 0.7, 20))
    silent = Daily(
        days.day, days.rest_v * np.nan, days.load_v * np.nan, days.celsius, days.coldest_c, days.used_ah,
        days.ohm * np.nan, days.counted_anew,
    )  # fmt: skip
    counted = estimate(believe(ALKALINE, silent, fresh=True))
    assert counted.basis == "count"
    assert counted.share == pytest.approx(0.7, abs=0.05)
    assert counted.ohm is None
    assert estimate(believe(ALKALINE, silent, fresh=False)).basis == "nothing"


def test_resistance_tells_age_from_cold() -> None:
    shares = np.linspace(0.95, 0.75, 30)
    young, warm, cold = (worn(ALKALINE, shares, celsius=c) for c in (-5.0, 15.0, -15.0))
    assert estimate(believe(ALKALINE, warm, True)).ohm < estimate(believe(ALKALINE, cold, True)).ohm  # type: ignore[operator]
    aged = np.where(np.arange(30) < 20, 1.0, 3.0)
    load = young.rest_v - (young.rest_v - young.load_v) * aged
    old = Daily(
        young.day, young.rest_v, load, young.celsius, young.coldest_c, young.used_ah,
        (young.rest_v - load) / ALKALINE.load_a, young.counted_anew,
    )  # fmt: skip
    assert estimate(believe(ALKALINE, young, True)).age == pytest.approx(1.0, abs=0.15)
    assert estimate(believe(ALKALINE, old, True)).age == pytest.approx(3.0, abs=0.5)


def test_quantiles_of_equal_weights_are_numpy_s() -> None:
    values = np.random.default_rng(2).normal(0, 1, 501)
    weight = np.full(501, 2.0)
    assert quantiles(values, weight, 0.5)[0] == pytest.approx(np.median(values))
    assert quantiles(values, weight, 0.05)[0] == pytest.approx(np.quantile(values, 0.05), abs=0.05)


def test_the_forecast_ends_when_the_charge_does() -> None:
    battery = Battery("alkaline", 3, 10.0, least_v=2.7)
    days = worn(battery, np.linspace(1.0, 0.7, 31), celsius=10.0)  # one in a hundred a day, 0.1 Ah
    use = use_of(days, CALENDAR)
    assert use.counted
    assert use.ah_a_day == pytest.approx(0.1, rel=1e-6)
    made = forecast(believe(battery, days, fresh=True), days, use, None, float(days.day[-1]) + 20)
    assert made.last is not None
    usable = 0.7 - float(cold_keeps("alkaline", np.array(8.0)))
    assert made.last - days.day[-1] == pytest.approx(usable / 0.01, abs=12)
    assert made.low_90 <= made.low_50 <= made.last <= made.high_50 <= made.high_90  # type: ignore[operator]
    assert made.lasts is not None
    assert made.lasts > 0.8
    colder = forecast(believe(battery, days, fresh=True), days, use, -12.0, float(days.day[-1]) + 20)
    assert colder.last is not None
    assert colder.last < made.last - 10
    assert (np.diff(made.share) <= 0).all()
    again = forecast(believe(battery, days, fresh=True), days, use, None, float(days.day[-1]) + 20)
    assert (again.last, again.low_90) == (made.last, made.low_90)


def test_cold_spells_come_on_top_of_the_usual_cold() -> None:
    """About one day in seven lies in a spell, some degrees colder: the coming days are colder than the usual cold."""
    days = worn(ALKALINE, np.linspace(1.0, 0.7, 31), celsius=-5.0)
    chance = _chances()
    assert 0.08 < (chance.spells > 0).mean() < 0.2
    cold = _cold(days, -5.0, chance)
    assert -5.0 - 1.2 < cold.mean() < -5.0 - 0.3
    assert np.quantile(cold, 0.02) < -5.0 - 6.0


def test_wild_days_hardly_move_the_use() -> None:
    days = worn(ALKALINE, np.linspace(1.0, 0.7, 31))
    wild = days.used_ah.copy()
    wild[[5, 17]] += 2.0
    moved = Daily(*(wild if name == "used_ah" else getattr(days, name) for name in Daily.__slots__))
    assert use_of(moved, CALENDAR).ah_a_day == pytest.approx(use_of(days, CALENDAR).ah_a_day, rel=0.05)


def test_without_a_count_the_calendar_stands_in() -> None:
    days = worn(ALKALINE, np.linspace(1.0, 0.99, 3))
    use = use_of(days, CALENDAR)
    assert (use.counted, use.ah_a_day) == (False, CALENDAR.ah_a_day)
    asleep = Calendar(8.0, 2.0, sleeps=True)
    assert asleep.ah_a_day < CALENDAR.ah_a_day
    assert 0.07 < CALENDAR.ah_a_day < 0.12  # 3 mA through the day, 1 mA while open, two exercises
    assert least_v(ALKALINE) == pytest.approx(2.7)
