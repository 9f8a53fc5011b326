"""From rows of the file to one clean line a day."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from fieldctl.ledger.store import Ledger
from fieldctl.ledger.telemetry import Telemetry
from fieldctl.site.model import Battery
from fieldctl.units import HostTime, TargetId
from fieldctl.upkeep.curves import rest_v
from fieldctl.upkeep.readings import Hours, clean, daily, date_of, day_number
from fieldctl.upkeep.told import told_of

ONE = TargetId("0a1b2c3d")
FR6 = Battery("lithium-fr6", 2, 3.0)
JANUARY = float(day_number(datetime.date(2026, 1, 10)))
JULY = float(day_number(datetime.date(2026, 7, 10)))
HOUR_US = 3_600_000_000


def hours(rest: list[float], load: list[float], celsius: list[float], day: float = JANUARY) -> Hours:
    n = len(rest)
    return Hours(day + np.arange(n) / 24, np.array(rest), np.array(load), np.array(celsius), np.arange(n) * 3600.0)


@pytest.mark.parametrize(
    ("rest", "load", "celsius", "key"),
    [
        (-1.4, -1.5, -5.0, "wrong-way-round"),
        (0.0, 0.0, -5.0, "no-volts"),
        (19.9, 3.2, -5.0, "too-many-volts"),
        (3.4, 3.9, -5.0, "load-above-rest"),
        (3.4, 0.0, -5.0, "no-load-volts"),
        (3.4, -0.3, -5.0, "no-load-volts"),
        (3.4, 3.2, 60.0, "thermometer"),
    ],
)
def test_what_cannot_be_is_kept_out_and_told(rest: float, load: float, celsius: float, key: str) -> None:
    found = clean(hours([3.4, rest, 3.4], [3.2, load, 3.2], [-5.0, celsius, -5.0]), FR6)
    assert [each.key for each in found.kept_out] == [key]
    assert found.kept_out[0].times == 1
    assert found.kept_out[0].last_day == JANUARY
    kept = [found.hours.rest_v[1], found.hours.load_v[1], found.hours.celsius[1]]
    gone = {"thermometer": [False, False, True], "no-load-volts": [False, True, False]}.get(key, [True, True, False])
    assert np.isnan(kept).tolist() == gone
    day = daily(found.hours, 0.12)
    assert day.rest_v.tolist() == [pytest.approx(3.4)]
    assert day.load_v.tolist() == [pytest.approx(3.2)]
    assert day.celsius.tolist() == [pytest.approx(-5.0)]
    assert day.coldest_c.tolist() == [pytest.approx(-5.0)]


@pytest.mark.parametrize(
    ("chemistry", "cells", "volts"),
    [("alkaline", 3, 1.55), ("alkaline", 4, 1.55), ("lithium-fr6", 4, 1.78), ("lithium-thionyl", 3, 3.66),
     ("li-ion", 3, 4.1), ("li-ion", 4, 3.6), ("lifepo4", 4, 3.3), ("lead-acid", 6, 2.1), ("lead-acid", 6, 2.0)],
)  # fmt: skip
def test_one_cell_of_several_the_wrong_way_round(chemistry: str, cells: int, volts: float) -> None:
    """What a set with one cell turned has cannot be what an empty one has that stands right, and that has enough."""
    battery = Battery(chemistry, cells, 3.0)
    turned, right = ((cells - 2) * volts, cells * volts)
    found = clean(hours([right, turned, turned, turned], [v - 0.1 for v in (right, turned, turned, turned)], [0.0] * 4),
                  battery)  # fmt: skip
    assert [(each.key, each.times) for each in found.kept_out] == [("wrong-way-round", 3)]
    assert found.turned
    again = clean(hours([turned, turned, turned, right], [1.0, 1.0, 1.0, right - 0.1], [0.0] * 4), battery)
    assert not again.turned
    empty = cells * float(rest_v(battery.chemistry, np.array(0.0)))
    assert clean(hours([empty], [empty - 0.1], [0.0]), battery).kept_out == ()


def test_one_of_two_cells_the_wrong_way_round_leaves_nothing() -> None:
    found = clean(hours([3.4, 0.01, 0.0, 0.02], [3.2, 0.0, 0.0, 0.0], [0.0] * 4), FR6)
    assert [each.key for each in found.kept_out] == ["no-volts"]
    assert found.turned


def test_what_comes_seldom_in_a_season_is_not_often() -> None:
    """Three wild readings within a week are no accident; 25 in a winter may be."""
    n = 24 * 100
    seldom, often = np.full(n, 3.4), np.full(n, 3.4)
    seldom[:: 24 * 4] = 19.9
    often[-30::10] = 19.9
    for rest, lately in ((seldom, 1), (often, 3)):
        (kept,) = clean(hours(rest.tolist(), [3.2] * n, [-5.0] * n), FR6).kept_out
        assert kept.lately == lately
    assert clean(hours(seldom.tolist(), [3.2] * n, [-5.0] * n), FR6).kept_out[0].times == 25


def test_a_wild_count_is_kept_out_and_told() -> None:
    given = hours([3.4] * 40, [3.2] * 40, [-5.0] * 40)
    counted = given.counted_mas + 3e6
    counted[20] = float(0xFFFFFFFF)
    found = clean(Hours(given.day, given.rest_v, given.load_v, given.celsius, counted), FR6)
    assert [(each.key, each.times, round(each.value)) for each in found.kept_out] == [("wild-count", 1, 1193)]
    assert daily(found.hours, 0.12).used_ah[-1] == pytest.approx(39 * 3600 / 3.6e6)


def test_a_warm_hut_in_july_is_no_fault() -> None:
    assert clean(hours([3.4], [3.2], [38.0], JULY), FR6).kept_out == ()
    assert clean(hours([3.4], [3.2], [38.0], JANUARY), FR6).kept_out != ()


def test_medians_of_days_as_numpy_has_them() -> None:
    chance = np.random.default_rng(1)
    n = 400
    day = np.sort(JANUARY + chance.integers(0, 30, n) + chance.random(n) * 0.9)
    rest = np.where(chance.random(n) < 0.2, np.nan, chance.normal(3.4, 0.1, n))
    given = Hours(day, rest, rest - 0.1, chance.normal(-5, 2, n), np.arange(n) * 1000.0)
    found = daily(given, 0.1)
    for at, number in enumerate(found.day):
        mine = np.floor(day) == number
        assert found.rest_v[at] == pytest.approx(np.nanmedian(rest[mine]))
        assert found.coldest_c[at] == pytest.approx(given.celsius[mine].min())
        assert found.used_ah[at] == pytest.approx(np.flatnonzero(mine)[-1] * 1000 / 3.6e6)
    assert np.nanmedian(found.ohm) == pytest.approx(1.0)


def test_a_counter_that_begins_anew_loses_nothing() -> None:
    counted = np.array([0.0, 3.6e6, np.nan, 7.2e6, 1.8e6, 3.6e6])
    day = JANUARY + np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    flat = np.full(6, 3.4)
    found = daily(Hours(day, flat, flat, flat, counted), 0.1)
    assert found.used_ah.tolist() == pytest.approx([0, 1, 1, 2, 2.5, 3.0])
    assert found.counted_anew.tolist() == [0, 0, 0, 0, 1, 0]


def test_nothing_at_all_is_no_error() -> None:
    empty = np.empty(0)
    found = daily(clean(Hours(empty, empty, empty, empty, empty), FR6).hours, 0.1)
    assert found.size == 0


def wall(hour: int) -> str:
    moment = datetime.datetime(2026, 1, 10, tzinfo=datetime.UTC) + datetime.timedelta(hours=hour)
    return moment.isoformat().replace("+00:00", "Z")


def test_thinning_changes_nothing_that_is_read() -> None:
    """The first row of an hour is what is read and what is kept; the clock may be set late within a boot."""
    with Ledger.open(":memory:", inline=True) as ledger:
        for minute in range(0, 60 * 30, 7):
            at = HostTime("b", minute * 60_000_000)
            label = wall(minute // 60) if minute > 600 and minute % 60 == 0 else None
            ledger.put_telemetry(
                [Telemetry(ONE, at, label, 3.4 - minute / 1e4, 3.2, -5.0, 1.0, {"charge_mas": minute})]
            )
        ledger.put_telemetry([Telemetry(ONE, HostTime("no-clock", 5), None, 3.4, 3.2, -5.0, 1.0, {"charge_mas": 1})])
        ledger.flush_telemetry()
        before = sorted(ledger.telemetry_hours())
        log = told_of(before)
        found = log.targets
        assert log.lost == 1
        assert found[ONE].charge_mas[:3].tolist() == [0, 63, 126]
        assert found[ONE].day.size == 30
        assert found[ONE].day[0] == pytest.approx(JANUARY, abs=1e-6)
        assert date_of(found[ONE].day[-1]) == datetime.date(2026, 1, 11)
        gone = ledger.thin_telemetry(HostTime("b", 40 * 24 * HOUR_US))
        assert gone > 100
        assert sorted(ledger.telemetry_hours()) == before


def test_a_wall_clock_that_was_wrong_for_a_while_moves_nothing() -> None:
    rows = [(ONE, "b", h * HOUR_US, wall(h), 3.4, 3.2, -5.0, 1.0, "{}") for h in range(20)]
    wrong = [(ONE, "b", h * HOUR_US, wall(h + 9000) if h < 4 else label, *rest) for (_, _, _, label, *rest), h in
             zip(rows, range(20), strict=True)]  # fmt: skip
    days = [told_of(each).targets[ONE].day.tolist() for each in (wrong, rows)]
    assert days[0] == pytest.approx(days[1])
