"""Keying in the core: 1 000 periods at every legal corner of EN 300 718-1, refused beyond, quiet when it has to be."""

from __future__ import annotations

import itertools

import pytest
from life import Life, S

from fieldctl.keying import OFF_MIN_MS, ON_MIN_MS, PERIOD_MAX_MS, PERIOD_MIN_MS, Keying, longest_on_ms
from fieldctl.wire import messages as m
from fieldctl.wire.messages import Flags, Reason, Result

CORNERS = [(period, on) for period in (PERIOD_MIN_MS, 1000, PERIOD_MAX_MS) for on in (ON_MIN_MS, longest_on_ms(period))]
BEYOND = [
    (PERIOD_MIN_MS - 1, ON_MIN_MS),
    (PERIOD_MAX_MS + 1, ON_MIN_MS),
    *((period, ON_MIN_MS - 1) for period, _ in CORNERS[::2]),
    *((period, longest_on_ms(period) + 1) for period, _ in CORNERS[::2]),
    (0, 0),
    (65535, 65535),
]
PERIODS = 1000


def grant(life: Life, seconds: float = 30, *, limit_s: float = 14_000, **more: int) -> m.Outcome:
    now = life.ticks + 1000
    good = {"period": 1000, "on": 100, **more}
    said = life.order(m.Grant(life.boot(), 1, 0, 9, now, now + round(seconds * S), now + round(limit_s * S), **good))
    assert isinstance(said, m.Outcome)
    return said


def go_on(life: Life, seconds: float) -> None:
    life.ticks += round(seconds * S)
    life.sim.step(life.ticks)


@pytest.mark.parametrize(("period", "on"), CORNERS)
def test_a_thousand_periods(period, on) -> None:
    life = Life()
    assert grant(life, 100, period=period, on=on).result == Result.DONE
    begin = life.ticks
    while life.ticks < begin + (PERIODS + 1) * period * 1000:
        go_on(life, 30)
        assert life.order(m.Renew(1, 1, 0, 9, life.ticks + 100 * S)).result == Result.DONE
    spans = life.sim.spans()[: PERIODS + 1]
    assert len(spans) == PERIODS + 1
    for n, (opened, closed) in enumerate(spans):
        assert opened == begin + n * period * 1000
        assert closed - opened == on * 1000
        assert closed - opened >= ON_MIN_MS * 1000
    for (_, closed), (opened, _) in itertools.pairwise(spans):
        assert opened - closed >= OFF_MIN_MS * 1000


@pytest.mark.parametrize(("period", "on"), BEYOND)
def test_refused_beyond(period, on) -> None:
    assert not Keying(period, on).legal
    life = Life()
    said = grant(life, period=period, on=on)
    assert (said.result, said.reason) == (Result.REFUSED, Reason.KEYING)
    go_on(life, 20)
    assert life.sim.spans() == []


def test_every_pulse_is_whole_and_inside_the_grant() -> None:
    """One that could not be whole before the end is not begun."""
    life = Life()
    for seconds in (5.05, 5.1, 5.099, 5.101):
        begin = life.ticks + 1000
        before = len(life.sim.spans())
        assert grant(life, seconds).result == Result.DONE
        go_on(life, 10)
        spans = life.sim.spans()[before:]
        assert len(spans) == (6 if seconds >= 5.1 else 5)
        assert all(closed - opened == 100_000 and closed <= begin + seconds * S for opened, closed in spans)


def test_dropping_out_begins_anew_with_each_stretch() -> None:
    life = Life()
    begin = life.ticks + 1000
    assert grant(life, 60, drop_on=25, drop_off=15).result == Result.DONE
    go_on(life, 61)
    opened = [at - begin for at, _ in life.sim.spans()]
    assert opened == [cycle * 4 * S + n * S for cycle in range(15) for n in range(3) if n * S + 100_000 <= 2_500_000]


@pytest.mark.parametrize(("on_s", "off_s"), [(3_600, 3_600), (700, 3_600), (1, 4_294)])
def test_dropping_out_for_as_long_as_a_drill_may(on_s, off_s) -> None:
    """A cycle of more microseconds than 32 bits hold is kept all the same."""
    life = Life()
    begin = life.ticks + 1000
    assert grant(life, 100, drop_on=10 * on_s, drop_off=10 * off_s).result == Result.DONE
    while life.ticks < begin + 13_800 * S:
        go_on(life, 60)
        assert life.order(m.Renew(1, 1, 0, 9, life.ticks + 100 * S)).result == Result.DONE
    cycle = (on_s + off_s) * S
    opened = [at - begin for at, _ in life.sim.spans() if at < begin + 13_800 * S]
    assert opened == [n * S for n in range(13_800) if n * S % cycle + 100_000 <= on_s * S]


@pytest.mark.parametrize("on", [100, 600])
def test_a_stopped_processor_falls_quiet_in_an_eighth_of_a_second(on) -> None:
    life = Life()
    assert grant(life, on=on).result == Result.DONE
    life.sim.step(life.ticks + 30_000)  # and nothing is called from then on
    ((opened, closed),) = life.sim.spans()
    assert closed - opened <= 120_000


@pytest.mark.parametrize("order", [m.Quiet(0, 1, 9), m.AllOff(1), m.Leave(1, 1)])
def test_quiet_in_the_middle_of_a_pulse(order) -> None:
    life = Life()
    assert grant(life, on=600).result == Result.DONE
    go_on(life, 0.3)
    assert life.sim.look().reads_on
    assert life.order(order).result == Result.DONE
    assert not life.sim.look().reads_on
    assert life.sim.spans()[-1][1] == life.ticks
    go_on(life, 40)
    assert life.sim.spans()[-1][1] <= life.ticks - 40 * S


def test_a_grant_that_is_given_again_begins_its_pattern_anew() -> None:
    life = Life()
    assert grant(life, on=600).result == Result.DONE
    go_on(life, 2.2)
    begin = life.ticks + 1000
    assert grant(life, on=100).result == Result.DONE
    go_on(life, 3.5)
    assert [at - begin for at, _ in life.sim.spans() if at >= begin] == [0, S, 2 * S, 3 * S]


def test_a_gate_that_is_stuck_or_lies_is_told() -> None:
    life = Life()
    life.sim.c.gate_stuck = True
    assert life.token().flags & Flags.GATE_ON
    said = grant(life)
    assert (said.result, said.reason) == (Result.REFUSED, Reason.GATE_STUCK)
    life.sim.c.gate_stuck = False
    life.sim.c.gate_lies = True
    assert grant(life).result == Result.DONE
    go_on(life, 1.5)
    assert not life.token().flags & Flags.GATE_ON  # it was ordered, and is not seen


def test_late_steps_lose_no_pattern() -> None:
    """A loop that was held up: a pulse that could only be a short one is left out, the next is in its place."""
    life = Life()
    assert grant(life, 60).result == Result.DONE
    begin = life.ticks
    core, ticks = life.sim, life.ticks
    for late in (950_000, 2_050_000, 4_120_000, 5_000_000, 6_001_500, 7_002_001):
        core.c.next = begin + late  # nobody called before
        core.step(begin + late)
    assert [at - begin for at, _ in core.spans()] == [0, 5_000_000, 6_001_500], ticks
    core.step(begin + 7_500_000)
    assert {closed - opened for opened, closed in core.spans()[1:]} == {100_000}


def test_charge_and_battery_over_hours() -> None:
    life = Life()
    go_on(life, 3_600)
    awake = life.sim.look().charge_mas
    assert awake == pytest.approx(3 * 3_600, abs=5)
    assert grant(life, 100, limit_s=200).result == Result.DONE
    go_on(life, 100)
    assert life.sim.look().charge_mas - awake == pytest.approx(1_500, abs=5)
    go_on(life, 3_600)
    life.again()
    assert life.sim.look().charge_mas > awake
    life.sim.c.load_mv = 2_400
    go_on(life, 601)
    assert life.token().flags & Flags.BATTERY_LOW
    life.sim.c.load_mv = 2_000
    life.counter += 200  # counters are kept ahead of use
    said = life.order(m.Grant(2, 1, 0, 9, life.ticks + 1000, life.ticks + S, life.ticks + 2 * S, 1000, 100))
    assert (said.result, said.reason) == (Result.REFUSED, Reason.BATTERY)
