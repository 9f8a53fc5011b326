"""Snow and radio: permittivity, and what a buried radio loses.

Density in g/cm³ (1 is water), wetness as a share of the volume, frequency in Hz, loss in dB. Real parts: Tiuri et al.,
IEEE J. Oceanic Eng. 9:377 (1984), and Mätzler, IEEE TGRS 34:573 (1996), second-hand. The dry loss (Tiuri 1984), the
wet term (Tiuri 1984 with water after Debye) and water's constants at 0 °C are from memory: planning figures.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.physics.dipole import LIGHT_M_PER_S

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

NEPER_dB = 20.0 / np.log(10.0)  # 8.686
MATZLER_DENSITY_MOST = 0.4
WATER_STATIC, WATER_FAST, WATER_RELAXES_HZ = 87.9, 5.2, 9.0e9
"""Debye constants of water at 0 °C (memory)."""


def permittivity_tiuri(density: ArrayLike) -> Floats:
    """Real relative permittivity of dry snow: 1 + 1.7 ρ + 0.7 ρ², ρ in g/cm³ (…) -> (…). Tiuri et al. 1984."""
    rho = np.asarray(density, dtype=np.float64)
    return np.asarray(1.0 + 1.7 * rho + 0.7 * rho * rho)


def permittivity_matzler(density: ArrayLike) -> Floats:
    """Real relative permittivity of dry snow: 1 + 1.5995 ρ + 1.861 ρ³, nan above 0.4 g/cm³. Mätzler 1996."""
    rho = np.asarray(density, dtype=np.float64)
    return np.where(rho <= MATZLER_DENSITY_MOST, 1.0 + 1.5995 * rho + 1.861 * rho**3, np.nan)


def permittivity_water(frequency_Hz: ArrayLike) -> Complexes:
    """Complex relative permittivity of water at 0 °C, imaginary part positive. Debye; constants from memory."""
    f = np.asarray(frequency_Hz, dtype=np.float64)
    return np.asarray(WATER_FAST + (WATER_STATIC - WATER_FAST) / (1.0 - 1j * f / WATER_RELAXES_HZ))


def permittivity(
    frequency_Hz: ArrayLike, density: ArrayLike, wetness: ArrayLike = 0.0, temperature_C: ArrayLike = -10.0
) -> Complexes:
    """Complex relative permittivity of snow, imaginary part positive for loss; broadcasts. Tiuri et al. 1984.

    `density` is that of the dry part; `wetness` the share of the volume that is water, 0 to about 0.1. Temperature
    counts while dry; wet snow is at 0 °C.
    """
    f, rho, wet, cold = (np.asarray(x, dtype=np.float64) for x in (frequency_Hz, density, wetness, temperature_C))
    temperature = np.where(wet > 0.0, 0.0, cold)
    ice = 1.59e6 * (1.0 / f + 1.23e-14 * np.sqrt(f)) * np.exp(0.036 * temperature)
    dry = permittivity_tiuri(rho) + 1j * ice * (0.52 * rho + 0.62 * rho * rho)
    water = (0.1 * wet + 0.8 * wet * wet) * permittivity_water(f)
    return np.asarray(dry + water)


def loss_dB_per_m(
    frequency_Hz: ArrayLike, density: ArrayLike, wetness: ArrayLike = 0.0, temperature_C: ArrayLike = -10.0
) -> Floats:
    """Loss of a plane wave in snow, dB/m: 8.686 (2πf/c) Im √ε. Textbook; broadcasts."""
    f = np.asarray(frequency_Hz, dtype=np.float64)
    index = np.sqrt(permittivity(f, density, wetness, temperature_C))
    return np.asarray(NEPER_dB * 2 * pi * f / LIGHT_M_PER_S * index.imag)


def surface_loss_dB(
    frequency_Hz: ArrayLike, density: ArrayLike, wetness: ArrayLike = 0.0, temperature_C: ArrayLike = -10.0
) -> Floats:
    """Loss by reflection where a wave leaves the snow straight up, dB: −10 log(1 − |(n−1)/(n+1)|²). Textbook."""
    index = np.sqrt(permittivity(frequency_Hz, density, wetness, temperature_C))
    return np.asarray(-10.0 * np.log10(1.0 - np.abs((index - 1.0) / (index + 1.0)) ** 2))


def film_loss_dB(thickness_m: ArrayLike, frequency_Hz: ArrayLike) -> Floats:
    """Loss through a flat film of melt water in air, straight through, dB: a slab by its transfer matrix (textbook).

    A film on the antenna costs more than the dry snow above it (Lachapelle et al., Inside GNSS 2(6), 2007, seen); on an
    antenna it also detunes, which is not in here.
    """
    d, f = np.asarray(thickness_m, dtype=np.float64), np.asarray(frequency_Hz, dtype=np.float64)
    n = np.sqrt(permittivity_water(f))
    phase = 2 * pi * f / LIGHT_M_PER_S * n * d
    passed = 1.0 / (np.cos(phase) - 0.5j * (n + 1.0 / n) * np.sin(phase))
    return np.asarray(-20.0 * np.log10(np.abs(passed)))


def link_loss_dB(
    depth_m: ArrayLike,
    frequency_Hz: ArrayLike,
    density: ArrayLike,
    wetness: ArrayLike = 0.0,
    temperature_C: ArrayLike = -10.0,
    film_m: ArrayLike = 0.0,
) -> Floats:
    """What burying costs a radio link, dB: the snow, its surface, a film of water on the antenna; broadcasts."""
    depth = np.asarray(depth_m, dtype=np.float64)
    snow = (frequency_Hz, density, wetness, temperature_C)
    return np.asarray(depth * loss_dB_per_m(*snow) + surface_loss_dB(*snow) + film_loss_dB(film_m, frequency_Hz))
