"""When a unit will reach a limit: the beliefs carried forward, as quantiles of time.

A limit is reached at flow F when c has fallen to l = ln F + ln stretch(amber) - ln stretch(limit), with gap = c - l to
go. A belief that sees no clear fall says that c at time t is normal, mean c + r t, variance cc + 2 t cr + t^2 rr +
wander_c t + wander_r t^3 / 3, and the chance that l is passed by t is that of c < l. A belief that sees a fall (r below
-FALLS_SD standard deviations) does better: worn, wet or blocked units do not mend by themselves, so the rate keeps its
sign. With -r log-normal of the same mean and variance, T = gap / -r is log-normal too: ln T has mean ln gap less that
of ln -r, and the variance of ln -r, to which come cc / gap^2 (how far it is to go) and BEND^2 (falls quicken and
slacken). The chance is the weighted sum over beliefs, made monotone in t.
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

#: Minutes ahead at which chances are taken: from one minute to 30 days, each a quarter further on.
GRID_MIN: Final = np.concatenate([[0.0], np.geomspace(1.0, 30 * 1440.0, 48)])
_T: Final = GRID_MIN / 60.0
_WANDER_C: Final = np.array([p.wander_c for p in PACES] * len(KNEES))[:, None]
_WANDER_R: Final = np.array([p.wander_r for p in PACES] * len(KNEES))[:, None]
QUANTILES: Final = {"p05": 0.05, "p50": 0.50, "p95": 0.95}

#: From so many standard deviations of its rate on, a belief takes a fall for real.
FALLS_SD: Final = 1.0
#: Standard deviation of ln T that comes from falls that do not go on as they began.
BEND: Final = 0.35

Chances = NDArray[np.float64]


def chances(e: Estimate, log_limits: NDArray[np.float64]) -> Chances:
    """Chance that c has fallen to each limit by each moment of GRID_MIN: (limits, tracks) -> (limits, times)."""
    rows = np.array([(t.weight, t.c, t.r, t.cc, t.cr, t.rr) for t in e.tracks])
    weight, c, r, cc, cr, rr = (rows[:, column, None] for column in range(6))
    limit = log_limits[:, :, None]
    shape = (SHAPE_SHARE * (c - limit)) ** 2
    variance = cc + _T * (2.0 * cr + _WANDER_C + _T * (rr + _WANDER_R * _T / 3.0)) + shape + 1e-12
    passed = ndtr((limit - c - r * _T) / np.sqrt(variance))
    falls = r < -FALLS_SD * np.sqrt(rr)
    if falls.any():
        passed = np.where(falls, _when_falling(c - limit, np.where(falls, r, -1.0), rr, cc + shape), passed)
    return np.maximum.accumulate((passed * weight).sum(axis=1), axis=1)


def _when_falling(gap: Chances, r: Chances, rr: Chances, gap_var: Chances) -> Chances:
    """Chance by each moment that the gap is gone at a rate that keeps its sign; (limits, tracks, times)."""
    log_var = np.log1p(rr / (r * r))
    log_rate = np.log(-r) - 0.5 * log_var
    here = ndtr(-gap / np.sqrt(gap_var + 1e-12))  # passed already
    to_go = np.maximum(gap, 1e-3)
    spread = np.sqrt(log_var + gap_var / (to_go * to_go) + BEND**2)
    with np.errstate(divide="ignore"):
        later = ndtr((np.log(_T) + log_rate - np.log(to_go)) / spread)
    return np.asarray(np.maximum(here, np.where(gap > 0.0, later, 1.0)))


def log_limits(e: Estimate, flow_lpm: float, limits_pct: Sequence[float], amber_pct: float) -> NDArray[np.float64]:
    """The c at which purity at a flow reaches each limit, by each belief: (limits, tracks)."""
    at_amber = [log_stretch(depth(amber_pct, e.plateau_pct), knee) for knee in KNEES]
    rows = [[log(flow_lpm) - log_stretch(depth(limit, e.plateau_pct), knee) + own
             for knee, own in zip(KNEES, at_amber, strict=True) for _ in PACES] for limit in limits_pct]  # fmt: skip
    return np.array(rows)


def outlooks(e: Estimate, flows_lpm: Sequence[float], limits_pct: Sequence[float]) -> tuple[Outlook, ...]:
    """The outlook at each flow; limits_pct are amber, red and switch-off."""
    wanted = np.concatenate([log_limits(e, flow, limits_pct, limits_pct[0]) for flow in flows_lpm])
    # Sums of beliefs may cross: amber comes before red, and a larger flow lasts no longer.
    table = np.minimum.accumulate(chances(e, wanted).reshape(len(flows_lpm), len(limits_pct), -1), axis=1)
    order = np.argsort(flows_lpm)
    table[order] = np.maximum.accumulate(table[order], axis=0)
    found = [_quantiles(row) for row in table.reshape(-1, len(GRID_MIN))]
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
