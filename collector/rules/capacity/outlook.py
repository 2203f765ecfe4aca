"""When a unit will reach a limit: the beliefs carried forward, as quantiles of time.

A limit is reached at flow F when c has fallen to ln F + ln stretch(amber) - ln stretch(limit). Each belief's c at
time t is normal, mean c + r t and variance cc + 2 t cr + t^2 rr + wander_c t + wander_r t^3 / 3; the chance that the
limit is passed by then is the weighted sum of normal distribution functions. That is a distribution of c at t and not
of first passage; made monotone in t it lies a little under that one, by the part that crosses and comes back.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from collector.rules.capacity.bank import PACES
from collector.rules.capacity.curve import KNEES, depth, log_stretch
from collector.rules.capacity.estimate import SHAPE_SHARE, Estimate
from collector.rules.capacity.now import Outlook
from collector.rules.events import Quantiles

#: Minutes ahead at which chances are taken: from one minute to 30 days, each 12 % further on.
GRID_MIN: Final = np.concatenate([[0.0], np.geomspace(1.0, 30 * 1440.0, 96)])
_T: Final = GRID_MIN / 60.0
_WANDER_C: Final = np.array([p.wander_c for p in PACES] * len(KNEES))[:, None]
_WANDER_R: Final = np.array([p.wander_r for p in PACES] * len(KNEES))[:, None]
QUANTILES: Final = {"p05": 0.05, "p50": 0.50, "p95": 0.95}

Chances = NDArray[np.float64]


def chances(e: Estimate, log_limits: NDArray[np.float64]) -> Chances:
    """Chance that c has fallen to each limit by each moment of GRID_MIN: (limits, tracks) -> (limits, times)."""
    rows = np.array([(t.weight, t.c, t.r, t.cc, t.cr, t.rr) for t in e.tracks])
    weight, c, r, cc, cr, rr = (rows[:, column, None] for column in range(6))
    mean = c + r * _T
    variance = cc + _T * (2.0 * cr + _WANDER_C + _T * (rr + _WANDER_R * _T / 3.0)) + 1e-12
    shape = (SHAPE_SHARE * (c[None, :, 0] - log_limits)) ** 2
    passed = ndtr((log_limits[:, :, None] - mean) / np.sqrt(variance + shape[:, :, None]))
    return np.maximum.accumulate((passed * weight).sum(axis=1), axis=1)


def log_limits(e: Estimate, flow_lpm: float, limits_pct: Sequence[float], amber_pct: float) -> NDArray[np.float64]:
    """The c at which purity at a flow reaches each limit, by each belief: (limits, tracks)."""
    at_amber = [log_stretch(depth(amber_pct, e.plateau_pct), knee) for knee in KNEES]
    rows = [[log(flow_lpm) - log_stretch(depth(limit, e.plateau_pct), knee) + own
             for knee, own in zip(KNEES, at_amber, strict=True) for _ in PACES] for limit in limits_pct]  # fmt: skip
    return np.array(rows)


def outlooks(e: Estimate, flows_lpm: Sequence[float], limits_pct: Sequence[float]) -> tuple[Outlook, ...]:
    """The outlook at each flow; limits_pct are amber, red and switch-off."""
    wanted = np.concatenate([log_limits(e, flow, limits_pct, limits_pct[0]) for flow in flows_lpm])
    table = chances(e, wanted)
    found = [_quantiles(row) for row in table]
    return tuple(
        Outlook(flow_lpm=flow, amber_in_min=found[3 * i], red_in_min=found[3 * i + 1], shutdown_in_min=found[3 * i + 2])
        for i, flow in enumerate(flows_lpm)
    )


def _quantiles(chance: Chances) -> Quantiles:
    return {name: _first(chance, level) for name, level in QUANTILES.items()}


def _first(chance: Chances, level: float) -> float | None:
    """The first moment at which the chance reaches a level, in minutes; None beyond the horizon."""
    index = int(np.searchsorted(chance, level))
    if index == 0:
        return 0.0
    if index == len(chance):
        return None
    low, high = float(chance[index - 1]), float(chance[index])
    share = (level - low) / (high - low) if high > low else 1.0
    return round(float(GRID_MIN[index - 1] + share * (GRID_MIN[index] - GRID_MIN[index - 1])), 1)
