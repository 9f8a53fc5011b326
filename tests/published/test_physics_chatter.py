"""Bus chatter at 457 kHz: sinc²(f/b)/b against its tabled values and against a spectrum of simulated bits."""

import numpy as np
import pytest

from fieldctl.physics.chatter import bit_rate_with_zero, chatter_dB, chatter_power, zero_nearest_Hz


@pytest.mark.parametrize(("bit_rate", "tabled_dB"), [(9_600, 8), (38_400, 5), (230_400, -3), (250_000, 17)])
def test_tabled_levels(bit_rate, tabled_dB):
    """Against 115 200 baud; derived, tabled in whole decibels."""
    assert round(float(chatter_dB(bit_rate))) == tabled_dB


def test_zeros():
    """4 × 115 200 = 460.8 kHz lies close; 114 250 puts the zero on 457 kHz. Derived."""
    assert zero_nearest_Hz(115_200) == 460_800
    assert bit_rate_with_zero(4) == 114_250
    assert chatter_dB(114_250) < -30


def test_against_the_spectrum_of_random_bits():
    """Another route: the periodogram of simulated two-level bits, averaged near 457 kHz, for two bit rates."""
    rng = np.random.default_rng(11)
    rate_Hz, seconds = 16_000_000, 0.02
    seen = {}
    for bit_rate in (100_000, 250_000):
        each = rate_Hz // bit_rate
        powers = []
        for _ in range(60):
            bits = rng.choice([-1.0, 1.0], int(seconds * bit_rate))
            wave = np.repeat(bits, each)
            bins = np.abs(np.fft.rfft(wave)) ** 2
            f = np.fft.rfftfreq(len(wave), 1 / rate_Hz)
            powers.append(bins[np.abs(f - 457_000) < 1_000].mean())
        seen[bit_rate] = np.mean(powers)
    measured = 10 * np.log10(seen[250_000] / seen[100_000])
    formula = 10 * np.log10(chatter_power(250_000) / chatter_power(100_000))
    assert measured == pytest.approx(float(formula), abs=0.6)
