"""The core's detector: how often noise alone begins a strike, and what the host's table makes of the invented corpus.

Every waveform is invented (`sims.board_pad`, after `sims.pad`): nothing published was found on a probe striking a pad.
"""

from __future__ import annotations

import os
from collections import Counter
from random import Random

import numpy as np
import pytest
from life import Life, S
from scipy import stats

from fieldctl.strikes.features import SAMPLE_US
from fieldctl.strikes.table import Kind, take_for_ints
from fieldctl.wire import messages as m
from sims import board_pad, pad
from sims.detector import Detector

RATE = 1_000_000 // SAMPLE_US
# samples: a quarter of so low a peak lies inside the noise, so that a strike ends after the longest, 2 s, and then the
# noise is learned anew
DEAD = 8000 + 2048
NOISE = 40.0  # steps
LONG = bool(os.environ.get("FIELDCTL_TESTS_LONG"))


class Pad:
    """An armed target whose pad is shown samples, and the strikes that it tells of."""

    def __init__(self, threshold: int = 0) -> None:
        self.life = Life()
        self.life.order(m.Arm(1, 1, True, threshold))
        self.told: list[m.Strike] = []
        self.life.sim.step(self.life.ticks + 1)

    def show(self, samples: np.ndarray) -> None:
        life = self.life
        data = np.clip(np.rint(samples), -2048, 2047).astype(np.int16)
        for part in np.array_split(data, max(1, len(data) // (30 * RATE))):
            life.sim.lib.fc_sim_samples(life.sim.c, life.sim.ffi.from_buffer("int16_t[]", part), len(part), life.ticks)
            life.ticks += len(part) * SAMPLE_US
            self.fetch()

    def fetch(self) -> None:
        """As a controller would: each is told, and acknowledged."""
        while isinstance(told := self.life.token(), m.Strike):
            self.told.append(told)
            self.life.order(m.Ack(told.strike_boot, told.number))

    def dropped(self) -> int:
        return self.life.sim.look().dropped


def noise(seed: int, seconds: float, sigma: float = NOISE) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, sigma, round(seconds * RATE))


@pytest.mark.parametrize("threshold", [35, 40, 45])
def test_false_alarms_on_gaussian_noise_agree_with_the_normal_tail(threshold) -> None:
    """At these thresholds they come often enough to count; while one goes on no other begins."""
    seconds = 6_000 if LONG else 1_500
    listening = Pad(threshold)
    listening.show(noise(threshold, 3))
    assert listening.dropped() == 0
    before = len(listening.told)
    for part in range(seconds // 5):  # so few at once that the log has room
        listening.show(noise(1000 * threshold + part, 5))
    seen = len(listening.told) - before
    assert listening.dropped() == 0
    a_sample = 2 * stats.norm.sf(threshold / 10)
    expected = seconds * RATE * a_sample / (1 + a_sample * DEAD)
    assert abs(seen - expected) < 4 * np.sqrt(expected), (seen, expected)


def test_at_the_default_noise_alone_begins_nothing() -> None:
    listening = Pad()
    for seed in range(60 if LONG else 12):
        listening.show(noise(seed, 30))
    assert listening.told == []
    assert listening.life.sim.look().noise == pytest.approx(NOISE, rel=0.05)


@pytest.mark.parametrize("sigma", [0.0, 0.4, 1.0, 3.0, 300.0])
def test_the_noise_is_measured_and_never_less_than_a_step(sigma) -> None:
    listening = Pad()
    listening.show(noise(3, 20, sigma) + 500)
    rounded = np.sqrt(sigma**2 + 1 / 12) if sigma else 0.0
    assert listening.life.sim.look().noise == pytest.approx(rounded, abs=0.6, rel=0.05)
    assert listening.told == []
    blow = np.zeros(RATE)
    blow[100:104] = max(sigma, 1.0) * np.array([5.0, 12.0, 9.0, 6.0])
    if sigma < 100:
        listening.show(blow + 500)
        (told,) = listening.told
        assert told.features[0] == pytest.approx(120, abs=15)


LOW = 10.0  # steps: ten times as loud has to lie within the converter's range
OTHER_RESTS = [(10, 0), (6, 0), (4, 0), (1, 15), (1, -60), (6, 60)]  # times as loud, and by how much elsewhere


def other_rest(seed: int, seconds: float, louder: float, away: float) -> np.ndarray:
    return noise(seed, seconds, louder * LOW) + away * LOW


def blow(samples: np.ndarray, at: int, louder: float) -> np.ndarray:
    samples[at : at + 3] += np.array([12, 18, 6]) * louder * LOW
    return samples


@pytest.mark.parametrize(("louder", "away"), OTHER_RESTS)
def test_a_rest_that_becomes_another_is_one_long_strike_and_blows_are_seen_again(louder, away) -> None:
    """Rain, a generator, somebody standing there: for 3 s nothing is told apart, and then everything again."""
    listening = Pad()
    listening.show(noise(21, 5, LOW))
    begin = listening.life.ticks
    listening.show(other_rest(22, 20, louder, away))
    (long,) = listening.told
    assert long.features[2] > 1_800_000
    assert begin <= long.strike_ticks < begin + S
    assert listening.life.sim.look().noise == pytest.approx(louder * LOW, rel=0.1)
    for n in range(5):
        at = listening.life.ticks + 3000 * SAMPLE_US
        listening.show(blow(other_rest(30 + n, 2, louder, away), 3000, louder))
        assert [told.strike_ticks for told in listening.told[1 + n :]] == [at]
        assert listening.told[-1].features[0] == pytest.approx(180, rel=0.25)


@pytest.mark.parametrize(("louder", "away"), OTHER_RESTS)
def test_the_other_reading_of_the_contract_does_the_same(louder, away) -> None:
    samples = np.concatenate([noise(21, 5, LOW), blow(other_rest(23, 30, louder, away), 80_000, louder)])
    (first, long, _), (second, short, _) = Detector().take(np.rint(samples).astype(int).tolist())
    assert first >= 20_000
    assert long.width_us > 1_800_000
    assert (second, short.width_us) == (100_000, 750)


def test_a_strike_is_stamped_where_it_leaves_the_baseline() -> None:
    listening = Pad()
    listening.show(noise(5, 5))
    samples = noise(6, 2)
    samples[3000:3003] += (20 * NOISE, 30 * NOISE, 10 * NOISE)
    begin = listening.life.ticks
    listening.show(samples)
    (told,) = listening.told
    assert told.strike_ticks == begin + 3000 * SAMPLE_US
    peak, rise_us, width_us, *_ = told.features
    assert peak == pytest.approx(300, rel=0.1)
    assert (rise_us, width_us) == (250, 750)


def play(rng: Random, touches: list[pad.Touch]) -> list[m.Strike]:
    """One invented event at a pad that has listened for 3 s."""
    listening = Pad()
    wave, _ = board_pad.waveform(touches, NOISE)
    seed = rng.getrandbits(32)
    listening.show(noise(seed, 3))
    listening.show(noise(seed + 1, len(wave) / RATE) + np.array(wave, dtype=float))
    listening.show(noise(seed + 2, 2.5))
    return listening.told


def kinds(told: list[m.Strike]) -> Counter[Kind]:
    """What the host's table takes each for, with those before it."""
    found: Counter[Kind] = Counter()
    for n, strike in enumerate(told):
        recent = [(strike.strike_ticks - other.strike_ticks, other.features) for other in told[:n]]
        found[take_for_ints(strike.features, recent).kind] += 1
    return found


def test_probe_strikes_are_caught() -> None:
    """99.5 % of them: detected, and taken for what they are."""
    count = 2_000 if LONG else 400
    rng = Random(11)
    caught = sum(kinds(play(rng, pad.probe(rng)))[Kind.PROBE] == 1 for _ in range(count))
    assert caught >= 0.995 * count, caught


def test_steps_are_taken_for_steps() -> None:
    """At least 95 of 100, the first step of each walk included; none for a probe."""
    rng = Random(12)
    found: Counter[Kind] = Counter()
    made = 0
    for _ in range(40):
        touches = pad.steps(rng)
        made += len(touches)
        found += kinds(play(rng, touches))
    assert found[Kind.STEP] >= 0.95 * made, found
    assert found[Kind.PROBE] == 0


def test_a_day_of_exercises_has_at_most_one_false_hit() -> None:
    """Six hours armed, with walkers and vehicles again and again: no probe ever touches the pad."""
    rng = Random(13)
    listening = Pad()
    for n in range(180):
        touches = pad.steps(rng) if n % 2 else pad.vehicle(rng)
        wave, _ = board_pad.waveform(touches, NOISE)
        listening.show(noise(n, 112.0))
        listening.show(noise(5000 + n, len(wave) / RATE) + np.array(wave, dtype=float))
    assert listening.dropped() == 0
    found: Counter[Kind] = Counter()
    for n, strike in enumerate(listening.told):
        recent = [
            (strike.strike_ticks - other.strike_ticks, other.features)
            for other in listening.told[max(0, n - 20) : n]
            if strike.strike_ticks - other.strike_ticks < 5 * S
        ]
        found[take_for_ints(strike.features, recent).kind] += 1
    assert found[Kind.PROBE] <= 1, found
    assert found.total() > 200


def test_nothing_is_noticed_while_it_is_not_armed_or_asleep() -> None:
    listening = Pad()
    listening.show(noise(1, 3))
    listening.life.order(m.Arm(1, 1, False, 0))
    blow = noise(2, 1)
    blow[100:110] += 60 * NOISE
    listening.show(blow)
    assert listening.told == []
    assert not listening.life.sim.c.pad_on
