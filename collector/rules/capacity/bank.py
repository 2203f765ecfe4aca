"""A bank of small Kalman filters over a unit's log-capacity and its rate: twelve beliefs, weighed by how they foretell.

State of each: c = ln(capacity in L/min) and r = dc/dt per hour. Between observations c drifts with r and both wander:
    c' = c + r dt,   variance (cc, cr, rr) by the constant-velocity model with white noise on c and on r
    (Bar-Shalom, Li, Kirubarajan: Estimation with Applications to Tracking and Navigation, 2001, 6.2.2; from memory).
One filter is carried for each rounding of the purity curve (curve.KNEES) and each pace of wear (PACES): what goes on
over weeks, days, hours and minutes. Their weights follow Bayes' rule with forgetting (dynamic model averaging:
Raftery, Karny, Ettler, Technometrics 2010;52:52): w = w^FORGET * likelihood, with a floor so none is ever lost. A slow
fall and a fast one are followed at once, and the rates that the beliefs differ in widen the forecast.

An observation is z = c + noise (from a purity under the plateau), or only "c is above a bound" (on the plateau, where
capacity cannot be seen). The latter is a probit likelihood, matched in its first two moments (Rasmussen, Williams:
Gaussian Processes for Machine Learning, 2006, 3.9).

Assumptions: one observation's noise does not depend on the last one's (its variance is set wide for that); wear has a
locally straight log-capacity; steps (a repair, another analyser) are rare and are taken as such: a filter that misses
three times running begins anew from what is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import erfc, exp, log, pi, sqrt
from typing import Final, NamedTuple

import msgspec


class Pace(NamedTuple):
    """How fast capacity may change: variance an hour of c and of r, prior spread of r, share of units, longest step."""

    wander_c: float
    wander_r: float
    spread_r: float
    share: float
    step_h: float


PACES: Final = (
    Pace(0.002**2, 0.0003**2 / 96, 0.0006, 0.85, 168.0),  # weeks: 1 % of capacity in a day or so, slowly changing
    Pace(0.003**2, 0.004**2 / 24, 0.004, 0.10, 48.0),  # days
    Pace(0.004**2, 0.03**2 / 2, 0.03, 0.04, 6.0),  # hours
    Pace(0.02**2, 2.0**2 / 0.25, 3.0, 0.01, 0.5),  # minutes
)
FORGET: Final = 0.95
FLOOR: Final = 1e-3
#: An observation further off than this is a miss; so many running, and the filter begins anew.
GATE_SD: Final = 5.0
MISSES: Final = 3
MOST_VARIANCE: Final = 1.0
_SQRT2, _SQRT2PI = sqrt(2.0), sqrt(2.0 * pi)


class Track(msgspec.Struct, array_like=True, gc=False):
    """One belief: its weight, means and variances of c and r, and how often running it has missed."""

    weight: float
    c: float
    r: float
    cc: float
    cr: float
    rr: float
    misses: int = 0


def new_bank(log_capacity: float, variance: float, knees: int) -> list[Track]:
    """Beliefs before anything is seen; track i has pace i % 4 and knee i // 4."""
    return [Track(pace.share / knees, log_capacity, 0.0, variance, 0.0, pace.spread_r**2)
            for _ in range(knees) for pace in PACES]  # fmt: skip


def predict(track: Track, pace: Pace, dt_h: float) -> None:
    """Let a belief grow older by dt_h hours."""
    if dt_h > pace.step_h:  # it says nothing about what comes after so long a time: only the level is kept
        track.r = track.cr = 0.0
        track.rr = pace.spread_r**2
        track.cc = min(track.cc + pace.wander_c * dt_h, MOST_VARIANCE)
        return
    rr, wander_r = track.rr, pace.wander_r
    track.c += track.r * dt_h
    track.cc += dt_h * (2.0 * track.cr + dt_h * (rr + wander_r * dt_h / 3.0) + pace.wander_c)
    track.cr += dt_h * (rr + wander_r * dt_h / 2.0)
    track.rr = rr + wander_r * dt_h
    most_rr = 9.0 * pace.spread_r**2
    if track.rr > most_rr or track.cc > MOST_VARIANCE:
        _hold(track, most_rr)


def _hold(track: Track, most_rr: float) -> None:
    """Keep variances within what is possible at all, without changing the correlation."""
    cc, rr = min(track.cc, MOST_VARIANCE), min(track.rr, most_rr)
    track.cr *= sqrt(cc / track.cc * rr / track.rr)
    track.cc, track.rr = cc, rr


def see(track: Track, pace: Pace, z: float, variance: float) -> float:
    """Take in that c was measured as z; returns the density of that under the belief."""
    spread = track.cc + variance
    off = z - track.c
    if off * off > GATE_SD * GATE_SD * spread:
        return _miss(track, pace, z, variance, spread)
    track.misses = 0
    gain_c, gain_r = track.cc / spread, track.cr / spread
    track.c += gain_c * off
    track.r += gain_r * off
    track.rr -= gain_r * track.cr
    track.cr -= gain_c * track.cr
    track.cc -= gain_c * track.cc
    return exp(-0.5 * off * off / spread) / (_SQRT2PI * sqrt(spread))


def _miss(track: Track, pace: Pace, z: float, variance: float, spread: float) -> float:
    track.misses += 1
    if track.misses >= MISSES:
        track.c, track.r, track.cc, track.cr, track.rr = z, 0.0, variance, 0.0, pace.spread_r**2
        track.misses = 0
    else:
        track.cc = min(track.cc + variance, MOST_VARIANCE)
    return exp(-0.5 * GATE_SD * GATE_SD) / (_SQRT2PI * sqrt(spread))


def see_above(track: Track, bound: float, variance: float) -> float:
    """Take in that c was seen to lie above a bound known to `variance`; returns the probability of that."""
    spread = track.cc + variance
    root = sqrt(spread)
    z = (track.c - bound) / root
    if z > 4.0:
        return 1.0
    chance = max(0.5 * erfc(-z / _SQRT2), 1e-12)
    hazard = exp(-0.5 * z * z) / (_SQRT2PI * chance) if z > -6.0 else -z
    gain_c, gain_r = track.cc / root, track.cr / root
    shrink = hazard * (hazard + z)
    track.c += gain_c * hazard
    track.r += gain_r * hazard
    track.cc -= gain_c * gain_c * shrink
    track.rr -= gain_r * gain_r * shrink
    track.cr -= gain_c * gain_r * shrink
    track.misses = 0
    return chance


def reweigh(tracks: Sequence[Track], likelihoods: Sequence[float]) -> None:
    """Weigh the beliefs anew by how well each foretold what was seen."""
    raw = [exp(FORGET * log(track.weight)) * max(chance, 1e-12)
           for track, chance in zip(tracks, likelihoods, strict=True)]  # fmt: skip
    total = sum(raw)
    keep, knees = 1.0 - len(tracks) * FLOOR, len(tracks) // len(PACES)
    for index, (track, weight) in enumerate(zip(tracks, raw, strict=True)):
        prior = PACES[index % len(PACES)].share / knees
        track.weight = keep * weight / total + len(tracks) * FLOOR * prior
