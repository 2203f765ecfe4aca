"""The laws of the trial: how purity falls with flow, how things lag, wander and grow.

Rules of this file: pure functions of numbers, arrays and a generator of chance; no clock, no IO. They differ on
purpose from what the estimator in collector/rules/capacity and the simulator's own physics assume. "common practice"
means a fact of the trade with no source to cite.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.signal import lfilter
from scipy.special import ndtr

from simulator.physics import AIR_PCT, ARGON_CEILING_PCT, Array, Quantity

Chance = np.random.Generator
#: An induction compressor stalls at about this share of nominal voltage. Common practice.
STALLS_BELOW: Final = 0.80


def spread_share(load: Quantity, spread: float) -> Array:
    """Share of the ceiling's oxygen that is kept at a load (flow over capacity), for channels that are not all alike.

    A mass balance in each channel, min(1, 1 / load), averaged over channels whose load is spread lognormally with
    standard deviation `spread` of its logarithm: P(Y <= 1) + E[1/Y; Y > 1] for ln Y ~ N(ln load, spread^2).
    """
    log_load = np.log(np.maximum(load, 1e-9))
    whole = ndtr(-log_load / spread)
    broken = np.exp(spread * spread / 2 - log_load) * ndtr(log_load / spread - spread)
    return np.asarray(whole + broken)


class Curve(NamedTuple):
    """A design's curve: how unlike its channels are, how unlike its two beds are, how steep it falls beyond the knee.

    `spread` as in spread_share; the beds have capacities 1 - imbalance and 1 + imbalance of their mean, and take turns;
    `steepness` 1 is a mass balance with constant recovery, above 1 recovery falls as the beds are overdrawn, below 1 it
    rises. The last two are common practice, no source; without them the lognormal spread alone comes within 0.1 point
    of the family (1 + x^k)^(-1/k), which an estimator might assume.
    """

    spread: float
    imbalance: float = 0.0
    steepness: float = 1.0

    def share(self, load: Quantity) -> Array:
        """Share of the ceiling's oxygen that is kept at a load (flow over capacity)."""
        weaker = spread_share(np.asarray(load) / (1.0 - self.imbalance), self.spread)
        stronger = spread_share(np.asarray(load) / (1.0 + self.imbalance), self.spread)
        return np.asarray((0.5 * (weaker + stronger)) ** self.steepness)

    def load_at(self, share: float) -> float:
        """The load at which the kept share is `share`, between 0.05 and 0.99: share() turned round."""
        return float(brentq(lambda load: float(self.share(load)) - share, 0.3, 40.0))


def ceiling_pct(flow_lpm: Quantity, plateau_pct: float, fall_pct_per_lpm: float, dip_pct: float) -> Array:
    """The purity in % that a unit with capacity to spare gives at a flow.

    It falls a little with flow; some designs hold their purity better above 2 L/min than below it (Johns et al.,
    Thorax 1985;40:806: three of six), by `dip_pct`. Never above the argon ceiling.
    """
    flow = np.asarray(flow_lpm)
    level = plateau_pct - fall_pct_per_lpm * flow - dip_pct * np.exp(-flow)
    return np.asarray(np.minimum(level, ARGON_CEILING_PCT))


def purity_pct(ceiling: Quantity, share: Quantity) -> Array:
    """Purity in % when this share of the ceiling's oxygen is kept and the rest is room air."""
    return np.asarray(AIR_PCT + (ceiling - AIR_PCT) * share)


def voltage_share(volts_share: Array, slows_below: float, share_at_stall: float, bend: float) -> Array:
    """Share of capacity that is left at a share of nominal voltage: nearly constant down to about 90 %, falling below.

    Torque goes with the square of the voltage, so how far a compressor slows depends on its design. Common practice.
    """
    missing = np.clip((slows_below - volts_share) / (slows_below - STALLS_BELOW), 0.0, 1.2)
    return np.asarray(np.maximum(1.0 - (1.0 - share_at_stall) * missing**bend, 0.05))


def lagged(goal: Array, tau_s: Array, step_s: float, first: float) -> Array:
    """Follow a goal with a first-order lag; `tau_s` is constant over stretches, 0 follows at once."""
    result = np.empty_like(goal)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(tau_s)) + 1, [len(goal)]))
    last = first
    for begin, end in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        keep = float(np.exp(-step_s / tau_s[begin])) if tau_s[begin] > 0 else 0.0
        result[begin:end], _ = lfilter([1.0 - keep], [1.0, -keep], goal[begin:end], zi=[keep * last])
        last = float(result[end - 1])
    return result


def wander(rng: Chance, rows: int, step_s: float, spread: float, memory_s: float) -> Array:
    """Correlated noise, AR(1): standard deviation `spread`, correlation falling to 1/e after `memory_s`."""
    keep = float(np.exp(-step_s / memory_s))
    shocks = rng.normal(0.0, spread * np.sqrt(1.0 - keep * keep), rows)
    noise, _ = lfilter([1.0], [1.0, -keep], shocks, zi=[keep * rng.normal(0.0, spread)])
    return np.asarray(noise)


def grown(progress: Array, bend: float) -> Array:
    """How far a fault has come: 0 at its onset, 1 at progress 1, going on beyond.

    `bend` above 0 accelerates as progress^bend (1: a straight line); below 0 it saturates as 1 - exp(bend x progress).
    """
    along = np.maximum(progress, 0.0)
    if bend < 0:
        return np.asarray(np.expm1(bend * along) / np.expm1(bend))
    return np.asarray(along**bend)


def dust_loads(rng: Chance, progress: Array, loads: int) -> Array:
    """A filter that clogs by loads of dust at irregular moments, each of another size; 1 at progress 1 on average.

    Each load settles over a while, since a draught brings it, not a stroke. Filters clog over days to weeks. Common
    practice.
    """
    moments = np.sort(rng.uniform(0.0, 1.0, loads))
    sizes = rng.gamma(0.7, 1.0, loads)
    sizes /= sizes.sum()
    knots = np.concatenate(([0.0], moments, moments + 0.3 / loads, [1.0]))
    reached = np.concatenate(([0.0], np.cumsum(sizes) - sizes, np.cumsum(sizes), [1.0]))
    order = np.argsort(knots, kind="stable")
    along = np.interp(progress, knots[order], np.maximum.accumulate(reached[order]))
    creeping = 0.7 * along + 0.3 * np.clip(progress, 0.0, 1.0)
    return np.asarray(creeping + np.maximum(progress - 1.0, 0.0))


def stretches(rng: Chance, hours: float, mean_h: float) -> NDArray[np.float64]:
    """Moments, in h from the start, at which something changes: gaps between half and twice the mean, at least one."""
    count = max(int(hours / mean_h), 1)
    gaps = mean_h * rng.uniform(0.5, 1.7, 2 * count + 2)
    moments = np.cumsum(gaps)
    return moments[moments < hours]


def log_uniform(rng: Chance, low: float, high: float) -> float:
    """A number between two bounds, every factor alike likely."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))
