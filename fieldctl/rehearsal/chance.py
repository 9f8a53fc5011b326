"""Random numbers without a state: each is a function of seed, repetition, searcher, moment and what it is for.

Nothing depends on what was drawn before, so that repetitions may be worked in any blocks, by any number of workers, in
any order, and come out the same bit for bit. The mixing is the finaliser of splitmix64 (Steele, Lea, Flood 2014).
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Words = NDArray[np.uint64]

_GOLDEN = 0x9E3779B97F4A7C15
_ODD = 0xD1342543DE82EF95
_MASK = (1 << 64) - 1


class For(IntEnum):
    """What a number is drawn for; a number once given stays, so that a seed means the same for ever."""

    PACE = 1
    LIMIT = 2
    PHASE = 3
    DRIFT = 4
    NOTICE = 5
    DIRECTION = 6
    HESITATE = 7
    LEVEL = 8
    HOLE_EAST = 9
    HOLE_NORTH = 10
    FEEL = 11
    LEAVE = 12
    FURTHER = 13
    STOP = 14
    LINE_ACROSS = 15
    LINE_ALONG = 16
    PINPOINT_EAST = 17
    PINPOINT_NORTH = 18
    SIDE = 19


def _mix(x: Words) -> Words:
    x = x ^ (x >> np.uint64(30))
    x = x * np.array([0xBF58476D1CE4E5B9], dtype=np.uint64)  # arrays wrap round without a warning, scalars warn
    x = x ^ (x >> np.uint64(27))
    x = x * np.array([0x94D049BB133111EB], dtype=np.uint64)
    return np.asarray(x ^ (x >> np.uint64(31)))


def keys(seed: int, repetitions: ArrayLike, who: int = 0) -> Words:
    """One key a repetition, for one searcher, target or the drill: (N,) indices -> (N,)."""
    index = np.atleast_1d(np.asarray(repetitions)).astype(np.uint64)
    start = np.array([(seed * _ODD + (who + 1) * _GOLDEN) & _MASK], dtype=np.uint64)
    return _mix(_mix(start) + index * np.array([_GOLDEN], dtype=np.uint64))


def uniform(key: Words, what: For, moment: int = 0) -> Floats:
    """Even in [0, 1), one a key: (N,) -> (N,)."""
    word = np.array([(int(what) * _ODD + moment * _GOLDEN) & _MASK], dtype=np.uint64)
    return np.asarray((_mix(key + word) >> np.uint64(11)) * 2.0**-53)


def normal(key: Words, what: For, moment: int = 0) -> Floats:
    """Standard normal, one a key: (N,) -> (N,). Box and Muller's way."""
    first = 1.0 - uniform(key, what, moment)  # in (0, 1]: its logarithm is finite
    second = uniform(key, what, ~moment & _MASK)
    return np.asarray(np.sqrt(-2.0 * np.log(first)) * np.cos(2.0 * np.pi * second))
