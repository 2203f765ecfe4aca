"""The rate that the bank of filters finds on a long slow fall, against Theil and Sen's slope of the same points.

Invented data: this shows that two ways of taking a slope agree, not that units fall like this.
"""

from math import exp, log

import numpy as np
import pytest
from scipy.stats import theilslopes

from collector.rules.capacity.bank import PACES, new_bank, predict, reweigh, see

EVERY_H, NOISE = 0.5, 0.02


@pytest.mark.parametrize("fall_per_day", [0.0, 0.003, 0.01, 0.03])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rate_of_a_steady_fall_is_that_of_theil_and_sen(fall_per_day: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    hours = np.arange(0.0, 30 * 24.0, EVERY_H)
    seen = log(5.5) - fall_per_day / 24.0 * hours + rng.normal(0.0, NOISE, len(hours))
    tracks = new_bank(log(5.5), 0.05, 1)
    for z in seen:
        for track, pace in zip(tracks, PACES, strict=True):
            predict(track, pace, EVERY_H)
        reweigh(tracks, [see(track, pace, float(z), NOISE**2) for track, pace in zip(tracks, PACES, strict=True)])
    slope = theilslopes(seen[::8], hours[::8]).slope
    slowest = tracks[0]
    assert slowest.weight > 0.5
    assert slowest.r == pytest.approx(slope, abs=3.0 * slowest.rr**0.5)
    assert 24.0 * slowest.r == pytest.approx(-fall_per_day, abs=0.005)
    assert exp(slowest.c) == pytest.approx(5.5 * exp(-fall_per_day * 30), rel=0.02)
