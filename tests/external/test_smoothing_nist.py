"""The smoothing of a unit's signs (`signs.follow_signs`) against a published worked example of the same recursion.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (EWMA): weight 0.3, start 50, twenty values and their
averages to two decimals (from memory; many public programs repeat the same figures). The chart's control limits do not
apply: nothing in the product is judged by a control chart.
"""

from math import log

import pytest

from collector.rules.capacity.signs import SMOOTH_H, Line, Present, Signs, follow_signs

START, WEIGHT = 50.0, 0.3
VALUES = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
VALUES += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
AVERAGES = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
AVERAGES += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
FLOW_LPM = 4.0


def of_normal_50() -> Signs:
    """A unit whose cabinet has always been at 50 degC."""
    line = Line()
    for _ in range(20):
        line.add(FLOW_LPM, START)
    return Signs(temp=line, watched_h=1000.0, base_lpm=FLOW_LPM)


def test_smoothed_temperature_is_the_handbook_s_average() -> None:
    """Source: NIST/SEMATECH 6.3.2.4 (above); steps so long that the weight is 0.3, nothing learned meanwhile."""
    signs, found = of_normal_50(), []
    for value in VALUES:
        follow_signs(signs, Present(FLOW_LPM, None, None, value, None), -SMOOTH_H * log(1.0 - WEIGHT), well=False)
        found.append(START + signs.warm_k)
    assert found == pytest.approx(AVERAGES, abs=0.00501)


def test_two_short_steps_weigh_as_one_long_one() -> None:
    """Common practice, no source: weights by time do not depend on how often is measured."""
    once, twice = of_normal_50(), of_normal_50()
    hot = Present(FLOW_LPM, None, None, 60.0, None)
    follow_signs(once, hot, 0.5, well=False)
    for _ in range(2):
        follow_signs(twice, hot, 0.25, well=False)
    assert once.warm_k == pytest.approx(twice.warm_k)
