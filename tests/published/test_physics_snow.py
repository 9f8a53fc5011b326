"""Permittivity of snow: Tiuri against Mätzler and PyPI's smrt; radio loss against the tabled planning figures."""

import warnings

import numpy as np
import pytest

from fieldctl.physics.snow import (
    film_loss_dB,
    loss_dB_per_m,
    permittivity,
    permittivity_matzler,
    permittivity_tiuri,
    permittivity_water,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what the outside reference says when it is loaded is not our affair
    from smrt.permittivity.snow_mixing_formula import drysnow_permittivity_maetzler96
    from smrt.permittivity.water import water_permittivity_maetzler87


def test_tiuri_against_matzler():
    """Two fits to two sets of measurements agree within 3 % over natural dry snow (both second-hand)."""
    density = np.linspace(0.05, 0.4, 50)
    np.testing.assert_allclose(permittivity_tiuri(density), permittivity_matzler(density), rtol=0.03)


def test_worked_values():
    """1 + 1.7ρ + 0.7ρ² (Tiuri 1984) and 1 + 1.5995ρ + 1.861ρ³ for ρ < 0.4 (Mätzler 1996), by hand at 0.3 g/cm³."""
    assert permittivity_tiuri(0.3) == pytest.approx(1.573, abs=1e-9)
    assert permittivity_matzler(0.3) == pytest.approx(1.530097, abs=1e-9)
    assert np.isnan(permittivity_matzler(0.41))


@pytest.mark.parametrize("density", [0.05, 0.1, 0.2, 0.3, 0.39])
def test_against_smrt(density):
    """Outside reference: PyPI's smrt, which goes from the shape of grains and the permittivity of ice (Mätzler 1996)
    and so comes by another way: Mätzler's own fit lies within 0.5 % of it, Tiuri's, from other snow, within 3 %."""
    theirs = float(np.real(drysnow_permittivity_maetzler96(density * 1000)))
    assert permittivity_matzler(density) == pytest.approx(theirs, rel=0.005)
    assert permittivity_tiuri(density) == pytest.approx(theirs, rel=0.03)


@pytest.mark.parametrize("frequency", [868e6, 2.4e9])
def test_water_against_smrt(frequency):
    """Our Debye constants are from memory; smrt's water after Mätzler (1987) at 0 °C is the outside reference."""
    theirs = complex(np.ravel(water_permittivity_maetzler87(frequency, 273.15))[0])
    ours = complex(permittivity_water(frequency))
    assert ours.real == pytest.approx(theirs.real, rel=0.02)
    assert ours.imag == pytest.approx(theirs.imag, rel=0.06)


@pytest.mark.parametrize(
    ("frequency", "dry", "wet"),
    [(2.4e9, 0.04, (3.0, 11.5, 20.0, 35.0)), (868e6, 0.02, (0.5, 1.6, 2.8, 4.7))],
)
def test_tabled_losses(frequency, dry, wet):
    """Loss by model, dB/m: derived, the wet term from memory, rounded in the table. Dry at 0.3 g/cm³, wet at 0.45."""
    assert loss_dB_per_m(frequency, 0.30) == pytest.approx(dry, abs=0.005)
    ours = loss_dB_per_m(frequency, 0.45, [0.01, 0.03, 0.05, 0.08])
    np.testing.assert_allclose(ours[1:], wet[1:], rtol=0.025)
    assert ours[0] == pytest.approx(wet[0], rel=0.2), "tabled as 'about'"


def test_a_melt_film_costs_more_than_dry_snow_above_it():
    """Lachapelle et al., Inside GNSS 2(6), 2007; seen. Half a millimetre of water against 2 m of dry snow."""
    for frequency in (868e6, 1.575e9, 2.4e9):
        assert film_loss_dB(0.5e-3, frequency) > 2.0 * loss_dB_per_m(frequency, 0.3)


def test_loss_in_dry_snow_at_457_khz_is_negligible():
    """Derived from Tiuri 1984: 2 m of dense dry snow cost less than 0.1 dB, under 2 % of the field."""
    assert 2.0 * loss_dB_per_m(457e3, 0.4) < 0.1


def test_loss_by_the_attenuation_constant():
    """Another route for the loss: α = k₀ √(½ (√(ε′² + ε″²) − ε′)), textbook."""
    e = permittivity(2.4e9, 0.4, 0.03)
    alpha = 2 * np.pi * 2.4e9 / 299_792_458 * np.sqrt(0.5 * (np.abs(e) - e.real))
    assert loss_dB_per_m(2.4e9, 0.4, 0.03) == pytest.approx(float(20 * np.log10(np.e) * alpha), rel=1e-9)


def test_film_by_summing_reflections():
    """Another route for the film: a slab as the endless sum of what is thrown to and fro in it, textbook."""
    f, d = 2.4e9, 0.7e-3
    n = np.sqrt(permittivity_water(f))
    phase = 2 * np.pi * f / 299_792_458 * n * d
    r = (n - 1) / (n + 1)
    once = (1 - r**2) * np.exp(1j * phase)
    passed = sum(once * (r * np.exp(1j * phase)) ** (2 * k) for k in range(400))
    assert film_loss_dB(d, f) == pytest.approx(float(-20 * np.log10(abs(passed))), rel=1e-6)
