"""Chance that can be repeated: every draw is a function of (seed, name, time, channel), never of what was drawn before.

So a second run gives the same data from whatever moment it starts, and block sizes do not matter.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from simulator.physics import Array

Keys = NDArray[np.uint64]
Times = NDArray[np.int64]

_GOLDEN: Final = np.uint64(0x9E3779B97F4A7C15)
_MIX_A: Final = np.uint64(0xBF58476D1CE4E5B9)
_MIX_B: Final = np.uint64(0x94D049BB133111EB)


def keys(seed: int, names: Sequence[str]) -> Keys:
    """One key a name."""
    digests = [hashlib.blake2b(f"{seed}/{name}".encode(), digest_size=8).digest() for name in names]
    return np.frombuffer(b"".join(digests), np.uint64).copy()


def uniform(key: Keys, time_ms: Times, channel: int) -> Array:
    """Numbers in (0, 1), one for each time and key (which broadcast), after the SplitMix64 finaliser."""
    x = time_ms.astype(np.uint64) * _GOLDEN + np.uint64(channel * 0x632BE59BD9B4E019 & 0xFFFFFFFFFFFFFFFF)
    x = x ^ key
    for _ in range(2):
        x = x + _GOLDEN
        x = (x ^ (x >> np.uint64(30))) * _MIX_A
        x = (x ^ (x >> np.uint64(27))) * _MIX_B
        x = x ^ (x >> np.uint64(31))
    return np.asarray(((x >> np.uint64(12)).astype(np.float64) + 0.5) * 2.0**-52)


def normal(key: Keys, time_ms: Times, channel: int) -> Array:
    """Numbers of a standard normal distribution, one for each time and key."""
    return np.asarray(ndtri(uniform(key, time_ms, channel)))


def between(key: Keys, channel: int, low: float, high: float) -> Array:
    """One number of a range for each key, the same for ever: a property of what the key names."""
    return low + (high - low) * uniform(key, np.zeros(len(key), np.int64), channel)
