"""What the demo takes for the truth about an emulated board: it can be wrong about nothing that it has to find."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from fieldctl.wire import messages
from fieldctl.wire.messages import Outcome, Reason, Result
from sims import pad
from sims.board_pad import waveform
from sims.board_truth import NEVER, Permits, Pulse, TickMap
from sims.detector import Detector

S = 1_000_000


def looked(*, rate: float = 1.0, late_us: int = 40) -> TickMap:
    """A board whose tick 0 was at monotonic 5 s; raw time runs at another rate and from another zero."""
    clock, rng = TickMap(), Random(1)
    for mono in range(5 * S, 65 * S, 10_000):
        stale = rng.randrange(late_us, 5_000)
        clock.seen(mono - 5 * S - stale, mono, round(100 * S + (mono - 5 * S) * rate))
    return clock


@pytest.mark.parametrize("rate", [1.0, 1.000_040, 0.999_900])
def test_ticks_come_out_as_true_time_to_the_staleness_of_the_best_look(rate: float) -> None:
    clock = looked(rate=rate)
    for ticks in (0, 12_345_678, 59 * S):
        assert 0 <= clock.true_us(ticks) - round(100 * S + ticks * rate) <= 60
    times = [clock.true_us(ticks) for ticks in range(0, 60 * S, 777_777)]
    assert all(a < b for a, b in pairwise(times))


def test_what_lies_ahead_of_the_last_look_goes_on_at_its_rate() -> None:
    clock = looked(rate=1.000_100)
    assert abs(clock.true_us(70 * S) - round(100 * S + 70 * S * 1.000_100)) <= 100


def grant(until_s: float, limit_s: float = 100) -> messages.Grant:
    return messages.Grant(1, 1, 0, 7, S, round(until_s * S), round(limit_s * S), 1000, 100)


def outcome(re: int, result: Result = Result.DONE) -> Outcome:
    return Outcome(1, 0, 0, 1, 0, 7, int(result), int(Reason.NONE), 0, re)


def pulse(on_s: float, off_s: float) -> Pulse:
    return Pulse(round((100 + on_s) * S), round((100 + off_s) * S))


def at(s: float) -> int:
    return round((100 + s) * S)


def test_a_pulse_after_the_end_of_its_grant_is_found() -> None:
    clock, permits = looked(), Permits()
    permits.ordered(5, grant(10), at(0.5))
    permits.said(outcome(5), at(0.6), clock)
    assert permits.past_us([pulse(1, 1.1), pulse(9.8, 9.9)]) <= 0
    assert permits.past_us([pulse(1, 1.1), pulse(10, 10.1)]) == pytest.approx(0.1 * S, abs=100)


def test_what_was_refused_or_never_ordered_permits_nothing() -> None:
    clock, permits = looked(), Permits()
    assert permits.past_us([]) == NEVER
    permits.ordered(5, grant(10), at(0.5))
    permits.said(outcome(5, Result.REFUSED), at(0.6), clock)
    assert permits.past_us([pulse(2, 2.1)]) > 100 * S


def test_a_renewal_lengthens_and_only_to_the_limit() -> None:
    clock, permits = looked(), Permits()
    permits.ordered(5, grant(10, 30), at(0.5))
    permits.said(outcome(5), at(0.6), clock)
    permits.ordered(6, messages.Renew(1, 1, 0, 7, 40 * S), at(5))
    permits.said(outcome(6), at(5.1), clock)
    assert permits.past_us([pulse(29.8, 29.9)]) <= 0
    assert permits.past_us([pulse(30.0, 30.1)]) > 0


@pytest.mark.parametrize("order", [messages.Quiet(0, 1, 0), messages.AllOff(3), messages.Leave(1, 1)])
def test_whoever_said_that_it_is_quiet_must_be(order: messages.Message) -> None:
    clock, permits = looked(), Permits()
    permits.ordered(5, grant(60), at(0.5))
    permits.said(outcome(5), at(0.6), clock)
    permits.ordered(6, order, at(5))
    permits.said(outcome(6), at(5.1), clock)
    assert permits.past_us([pulse(4.9, 5.0)]) <= 0
    assert permits.past_us([pulse(5.1, 5.2)]) == pytest.approx(0.1 * S, abs=100)


def test_quiet_at_a_tick_ends_there_and_a_reboot_ends_everything() -> None:
    clock, permits = looked(), Permits()
    permits.ordered(5, grant(60), at(0.5))
    permits.said(outcome(5), at(0.6), clock)
    permits.ordered(6, messages.Quiet(20 * S, 1, 7), at(5))
    permits.said(outcome(6), at(5.1), clock)
    assert permits.past_us([pulse(19.8, 19.9)]) <= 0
    assert permits.past_us([pulse(20.0, 20.1)]) > 0
    permits.ended(at(8))
    assert permits.past_us([pulse(9, 9.1)]) == pytest.approx(1.1 * S, abs=100)


@pytest.mark.parametrize("seed", range(8))
def test_the_invented_events_are_strikes_where_they_are_said_to_begin(seed: int) -> None:
    """By a second reading of the contract (`sims.detector`): each touch one strike, sharp ones to two samples."""
    rng, noise = Random(seed), 4.0
    for touches in (pad.probe(rng), pad.steps(rng)):
        samples, sharp = waveform(touches, noise)
        quiet = [round(rng.gauss(0, noise)) for _ in range(12_000)]
        heard = [*quiet, *(level + round(rng.gauss(0, noise)) for level in [*samples, *[0] * 2_000])]
        found = Detector().take(heard)
        assert len(found) == len(touches)
        begins = [begin - len(quiet) for begin, *_ in found]
        assert all(any(abs(begin - at) <= 2 for begin in begins) for at in sharp)
