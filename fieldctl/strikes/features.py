"""What a target measures of one strike, in a few whole numbers: on the wire, in the ledger, and for judging again.

How a target measures (the contract for firmware and for the simulated pad):

* It samples its pad at 4 kHz, so that a sample lasts 250 µs; the sensor's band is about 5 Hz to 1.5 kHz.
* It tracks the baseline (mean over the last 2 s) and the noise (root mean square about the baseline over the last
  2 s), and holds both while a strike goes on, so that a strike never counts as noise. The noise is never taken as
  less than one step of the converter.
* A strike begins when a sample leaves the baseline by more than 7 × the noise, and is stamped there. It ends when the
  signal has stayed under a quarter of its peak for 20 ms, or after 2 s; another strike can begin afterwards.
  After one that lasted 2 s, baseline and noise are learned anew for half a second first: it was a new rest.
* Nothing is judged in the target: all that it reports is taken for something here, where the rules can be changed and
  old strikes judged again.

Rates and spans of one strike are about the pad's own noise, because pads differ in size, depth and snow above them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SAMPLE_US = 250  # 4 kHz: a hammer's pulse with a medium tip lasts about 1 ms (second-hand), four samples
BEGIN_NOISE = (
    7  # times the noise: Gaussian noise at 4 kHz starts it once in three years, at 6 every other day (derived)
)
END_QUIET_US = 20_000  # under a quarter of the peak for so long
LONGEST_US = 2_000_000
LOOK_BACK_MS = 3_000  # for `repeats`: four steps at the usual pace
ENVELOPE_SLOTS = 8
ENVELOPE_SLOT_US = 25_000  # 8 slots: the first 200 ms, so that a step (over 120 ms) and a knock look different

_LIMITS = (
    ("peak", 65_535),
    ("rise_us", LONGEST_US),
    ("width_us", LONGEST_US),
    ("energy", 2_000),
    ("slow_percent", 100),
    ("repeats", 255),
    ("repeat_ms", LOOK_BACK_MS),
)


@dataclass(frozen=True, slots=True)
class StrikeFeatures:
    """One strike as its target reports it; ValueError for numbers outside their range.

    peak: greatest distance from the baseline, in tenths of the noise (85 is 8.5 ×);
    rise_us: from the begin to the peak; width_us: from the begin until it stayed under a quarter of the peak;
    energy: of the first 200 ms over that of as much noise, in tenths of a dB;
    slow_percent: share of that energy below 40 Hz;
    repeats: strikes at least a third as high that began in the 3 s before; repeat_ms: time from the last of these to
    this one, 0 when there was none;
    envelope: nothing, or the greatest distance in each of eight slots of 25 ms, 255 being the peak.
    """

    peak: int
    rise_us: int
    width_us: int
    energy: int = 0
    slow_percent: int = 0
    repeats: int = 0
    repeat_ms: int = 0
    envelope: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        for name, most in _LIMITS:
            value = getattr(self, name)
            if not isinstance(value, int) or not 0 <= value <= most:
                raise ValueError(f"{name} of a strike is a whole number from 0 to {most}, not {value!r}")
        if len(self.envelope) not in (0, ENVELOPE_SLOTS):
            raise ValueError(f"the envelope of a strike has no slots or {ENVELOPE_SLOTS}, not {len(self.envelope)}")
        if not all(isinstance(slot, int) and 0 <= slot <= 255 for slot in self.envelope):
            raise ValueError(f"a slot of an envelope is a whole number from 0 to 255, not one of {self.envelope!r}")

    def as_ints(self) -> tuple[int, ...]:
        """Seven numbers, and eight more with an envelope: at most 39 bytes of CBOR."""
        fixed = (self.peak, self.rise_us, self.width_us, self.energy, self.slow_percent, self.repeats, self.repeat_ms)
        return fixed + self.envelope

    @classmethod
    def from_ints(cls, ints: Sequence[int]) -> StrikeFeatures:
        """The features of `as_ints`; numbers that a later version appends are passed over. ValueError otherwise."""
        fixed = len(_LIMITS)
        if len(ints) != fixed and len(ints) < fixed + ENVELOPE_SLOTS:
            raise ValueError(f"a strike has {fixed} numbers, or {fixed + ENVELOPE_SLOTS} and more, not {len(ints)}")
        peak, rise_us, width_us, energy, slow_percent, repeats, repeat_ms = ints[:fixed]
        envelope = tuple(ints[fixed : fixed + ENVELOPE_SLOTS])
        return cls(peak, rise_us, width_us, energy, slow_percent, repeats, repeat_ms, envelope)
