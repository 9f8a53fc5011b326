"""What an emulated board's pad shows, sample by sample: the invented events of `sims.pad` as waveforms.

Nothing published was found on a probe that strikes a pad; every shape here is invented. A sample is 250 µs; levels are
in steps of the converter about the pad's rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from random import Random

from fieldctl.strikes.features import BEGIN_NOISE, SAMPLE_US, StrikeFeatures
from fieldctl.wire import trace
from sims import pad
from sims.pad import Touch

INVENTED = True
RINGS_HZ = 180.0  # a plate that was knocked
SHARP_RISE_US = 5_000
REST_NOISE = 4.0  # root mean square at rest where there is no bench that says so, in steps


def waveform(touches: Sequence[Touch], noise: float) -> tuple[list[int], list[int]]:
    """Samples of a whole event, and which of them begin a sharp strike; `noise` is the root mean square at rest.

    A strike begins where it leaves the noise behind, as the contract in `strikes.features` has it.
    """
    last_us, last = touches[-1]
    samples = [0.0] * ((last_us + 2 * last.width_us) // SAMPLE_US + 400)
    sharp = []
    for after_us, features in touches:
        first = after_us // SAMPLE_US
        is_sharp = features.rise_us < SHARP_RISE_US
        one = _knock(features, noise) if is_sharp else _swell(features, noise)
        if is_sharp:
            sharp.append(first + next(i for i, level in enumerate(one) if abs(level) > BEGIN_NOISE * noise))
        for i, level in enumerate(one[: len(samples) - first]):
            samples[first + i] += level
    return [round(level) for level in samples], sharp


def probe(rng: Random, noise: float) -> tuple[list[int], list[int]]:
    """One sharp, short blow."""
    return waveform(pad.probe(rng), noise)


def raw(features: Sequence[int], seed: str) -> trace.Raw | None:
    """The raw trace of a strike of which only the features are known; None where these are none."""
    try:
        known = StrikeFeatures.from_ints(features)
    except ValueError:
        return None
    rng = Random(f"trace {seed}")
    wave, sharp = waveform([(0, known)], REST_NOISE)
    begins = BEGIN_NOISE * REST_NOISE
    first = sharp[0] if sharp else next((n for n, level in enumerate(wave) if abs(level) > begins), 0)
    rest = [0] * trace.BEFORE
    felt = [*rest, *wave][first : first + trace.SAMPLES]
    felt += [0] * (trace.SAMPLES - len(felt))
    return trace.pack([round(level + rng.gauss(0, REST_NOISE)) for level in felt], round(begins))


def _knock(features: StrikeFeatures, noise: float) -> list[float]:
    """A plate that is struck: at its peak within a few samples, ringing off to a quarter within its width."""
    peak = features.peak / 10 * noise
    rise = max(1, features.rise_us // SAMPLE_US)
    decay = (features.width_us - features.rise_us) / SAMPLE_US / math.log(4)
    turn = 2 * math.pi * RINGS_HZ * SAMPLE_US / 1e6
    up = [peak * (i + 1) / (rise + 1) for i in range(rise)]
    down = [peak * math.exp(-i / decay) * math.cos(turn * i) for i in range(round(decay * 6))]
    return up + down


def _swell(features: StrikeFeatures, noise: float) -> list[float]:
    """A weight that comes and goes: half a cosine up, half a cosine down, below a quarter at its width."""
    peak = features.peak / 10 * noise
    rise = features.rise_us // SAMPLE_US
    fall = (features.width_us - features.rise_us) * 3 // 2 // SAMPLE_US  # a raised cosine is at a quarter after 2/3
    up = [peak * (1 - math.cos(math.pi * i / rise)) / 2 for i in range(rise)]
    down = [peak * (1 + math.cos(math.pi * i / fall)) / 2 for i in range(fall)]
    return up + down
