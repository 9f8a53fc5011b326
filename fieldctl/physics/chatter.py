"""How loud a bus is at 457 kHz for its bit rate.

The power of random two-level bits at rate b falls as sinc²(f/b)/b with zeros at whole multiples of b (textbook,
derived). Frames are not random and edges not square, and cable, drivers and screening matter more: this ranks bit
rates, and the walk with the bus on and off decides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldctl.keying import CARRIER_HZ

BAND_HALF_HZ = 100.0
"""456.9 to 457.1 kHz: ETSI EN 300 718-1 V2.2.0 (2021). Averaged over, so that an exact zero has a finite level."""

REFERENCE_BIT_RATE = 115_200
USUAL_BIT_RATES = (9_600, 19_200, 38_400, 57_600, 115_200, 230_400, 250_000, 460_800)
_BAND_POINTS = 201


def chatter_power(bit_rate: ArrayLike, *, centre_Hz: float = CARRIER_HZ) -> NDArray[np.float64]:
    """Relative power density of random bits in the 457 kHz band, sinc²(f/b)/b averaged over it: bit/s (…) -> s (…)."""
    b = np.asarray(bit_rate, dtype=np.float64)[..., None]
    f = np.linspace(centre_Hz - BAND_HALF_HZ, centre_Hz + BAND_HALF_HZ, _BAND_POINTS)
    return np.asarray(np.mean(np.sinc(f / b) ** 2 / b, axis=-1))


def chatter_dB(bit_rate: ArrayLike, *, against: float = REFERENCE_BIT_RATE) -> NDArray[np.float64]:
    """Chatter in the 457 kHz band against that at another bit rate, dB; bit/s (…) -> (…)."""
    return np.asarray(10.0 * np.log10(chatter_power(bit_rate) / chatter_power(against)))


def zero_nearest_Hz(bit_rate: ArrayLike, *, centre_Hz: float = CARRIER_HZ) -> NDArray[np.float64]:
    """The zero of the spectrum (a whole multiple of the bit rate) nearest to 457 kHz: bit/s (…) -> Hz (…)."""
    b = np.asarray(bit_rate, dtype=np.float64)
    return np.maximum(1.0, np.round(centre_Hz / b)) * b


def bit_rate_with_zero(multiple: int, *, centre_Hz: float = CARRIER_HZ) -> float:
    """The bit rate whose `multiple`-th zero lies on 457 kHz: 114 250 bit/s for the fourth."""
    return centre_Hz / multiple
