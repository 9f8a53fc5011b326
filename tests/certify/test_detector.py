"""The pad's detector in Python: a second reading of the contract, held to figures worked out by hand."""

import math
from random import Random

import pytest

from fieldctl.strikes.features import SAMPLE_US
from fieldctl.strikes.table import Kind, take_for
from sims.detector import Detector

NOISE = 10.0


def quiet(rng: Random, count: int) -> list[int]:
    return [round(rng.gauss(0, NOISE)) for _ in range(count)]


def with_shape(rng: Random, shape: list[float], after: int = 12_000) -> list[int]:
    samples = quiet(rng, after + len(shape) + 3_000)
    for n, level in enumerate(shape):
        samples[after + n] += round(level)
    return samples


def test_a_rectangle_is_measured_as_it_is() -> None:
    shape = [600.0] * 40  # 60 × the noise for 10 ms
    [(begin, features, _)] = Detector().take(with_shape(Random("rectangle"), shape))
    assert begin == 12_000
    assert features.peak == pytest.approx(600, rel=0.06)  # the noise lies on it
    assert features.width_us == 40 * SAMPLE_US
    assert features.rise_us < 40 * SAMPLE_US
    assert features.envelope[0] == 255
    assert max(features.envelope[1:]) < 30
    decibels = 10 * math.log10(1 + 40 * 600**2 / (800 * NOISE**2))
    assert features.energy == pytest.approx(10 * decibels, abs=6)


@pytest.mark.parametrize(("hz", "slow"), [(10.0, (80, 100)), (300.0, (0, 5))])
def test_what_lies_below_40_hz_is_slow(hz, slow) -> None:
    shape = [800 * math.sin(2 * math.pi * hz * n * SAMPLE_US / 1e6) for n in range(800)]
    [(_, features, _)] = Detector().take(with_shape(Random("slow"), shape))
    assert slow[0] <= features.slow_percent <= slow[1]


def test_a_strike_goes_on_over_short_pauses_and_ends_after_long_ones() -> None:
    knock = [500.0] * 20
    near, apart = [0.0] * 60, [0.0] * 1_000
    assert len(Detector().take(with_shape(Random("near"), knock + near + knock))) == 1
    two = Detector().take(with_shape(Random("apart"), knock + apart + knock))
    assert [features.repeats for _, features, _ in two] == [0, 1]
    assert two[1][1].repeat_ms == (20 + 1_000) * SAMPLE_US // 1000


def test_the_longest_is_cut_off_after_two_seconds() -> None:
    found = Detector().take(with_shape(Random("long"), [500.0] * 9_000))
    assert found[0][1].width_us == 2_000_000


def test_noise_alone_is_no_strike_and_nothing_counts_before_the_noise_is_known() -> None:
    assert Detector().take(quiet(Random("noise"), 240_000)) == []  # a minute
    assert Detector().take([600] * 3 + quiet(Random("early"), 1_000)) == []


def test_a_sharp_blow_is_taken_for_a_probe() -> None:
    blow = [900 * min(1, n / 4) * math.exp(-n / 15) for n in range(200)]
    [(_, features, _)] = Detector().take(with_shape(Random("blow"), blow))
    assert take_for(features, []).kind is Kind.PROBE


def test_pieces_give_what_the_whole_gives() -> None:
    samples = with_shape(Random("pieces"), [700.0] * 30)
    detector = Detector()
    found = [strike for n in range(0, len(samples), 7) for strike in detector.take(samples[n : n + 7])]
    assert found == Detector().take(samples)
    assert len(found) == 1
