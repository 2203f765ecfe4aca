"""One unit's capacity, followed online in constant memory: plateau, noise, and the bank of beliefs about c and dc/dt.

The plateau (what this unit gives when little is drawn) is learned from means that lie well under capacity by every
belief, with a horizon that follows an analyser's drift; so an analyser's constant bias ends up in it and not
in the capacity. The noise of a mean is learned from how means lie about the plateau, so that what does not average out
is in it too. A purity counts as under the plateau from three times that noise on, and never less than a point. Means
come from follow.py.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import Final

import msgspec

from collector.rules.capacity import bank
from collector.rules.capacity.bank import PACES, Track
from collector.rules.capacity.curve import AIR_PCT, KNEES, depth, log_slope, log_stretch
from collector.rules.limits import HOUR

#: A new unit separates about 1.1 times its rated flow (common practice); nobody knows how old this one is.
PRIOR_SHARE: Final = 1.1
PRIOR_VARIANCE: Final = 0.3**2
#: Beyond this nothing at a bed can tell one capacity from another.
MOST_SHARE: Final = 2.5
#: Plateau before anything is seen, % (by design and analyser 93 to 95.6), its variance, what stays uncertain of it
#: however long one looks, and the most that argon leaves, with an analyser's error (Johns et al., Thorax 1985;40:806).
PLATEAU_PCT: Final = 94.5
PLATEAU_VARIANCE: Final = 1.2**2
PLATEAU_LEAST_VARIANCE: Final = 0.12**2
PLATEAU_MOST_PCT: Final = 97.5
#: So far (in ln) the flow must lie under capacity for purity to be taken for the plateau's.
WELL_UNDER: Final = 0.35
#: The plateau follows an analyser's drift of 0.1 to 1 % a month (common practice) with this horizon; a rise above what
#: was taken for the plateau is followed at once, since it cannot have been the plateau then.
PLATEAU_HORIZON_H: Final = 20 * 24.0
PLATEAU_RISE_H: Final = 2.0
PLATEAU_RISE_PCT: Final = 0.4
#: Relative error of a flow mean, and the least error of a purity mean, %: noise that does not average out.
FLOW_SD: Final = 0.015
LEAST_SD_PCT: Final = 0.12
#: So far under the plateau a purity counts as seen under it: in points at least, and in its standard deviations.
SEEN_PCT: Final = 1.0
SEEN_SD: Final = 3.0
#: What the family of curves may be wrong by: a part of the distance (in ln) between the flow at which a unit was
#: watched and the one that is asked about, and what is left at that flow (flow meter, plateau that leans with flow).
SHAPE_SHARE: Final = 0.15
SHAPE_SD: Final = 0.035
#: What a change of flow may uncover: the error of the curve between two flows, in ln capacity for ln 2 of flow.
CURVE_SD: Final = 0.06


class Estimate(msgspec.Struct, array_like=True):
    """What is believed of one unit. Times in ms, purities in %, flows in L/min, c in ln(L/min), r in 1/h."""

    tracks: list[Track]
    plateau_pct: float = PLATEAU_PCT
    plateau_var: float = PLATEAU_VARIANCE
    plateau_n: int = 0
    noise_var: float = 0.25**2
    last_ms: int = 0
    last_lpm: float = 0.0
    seen_ms: int | None = None  # last observation under the plateau
    count: int = 0


def new_estimate(rated_lpm: float) -> Estimate:
    """What is believed of a unit that nobody has looked at yet."""
    return Estimate(bank.new_bank(log(PRIOR_SHARE * rated_lpm), PRIOR_VARIANCE, len(KNEES)))


def observe(e: Estimate, time_ms: int, purity_pct: float, flow_lpm: float, limit: tuple[float, float]) -> None:
    """Take in one mean of purity at a steady flow; limit is (amber_pct, rated_lpm)."""
    amber_pct, rated_lpm = limit
    dt_h = (time_ms - e.last_ms) / HOUR if e.last_ms else 0.0
    changed = abs(log(flow_lpm / e.last_lpm)) if e.last_lpm else 0.0
    for index, track in enumerate(e.tracks):
        bank.predict(track, PACES[index % len(PACES)], dt_h)
        if changed > 0.05:
            track.cc += (CURVE_SD * min(changed, 1.4)) ** 2
    _learn(e, dt_h, purity_pct, flow_lpm)
    _judge(e, time_ms, purity_pct, flow_lpm, amber_pct)
    most = log(MOST_SHARE * rated_lpm)
    for track in e.tracks:
        if track.c > most:  # a rate learned from "somewhere above" would run away upwards
            track.c, track.r = most, min(track.r, 0.0)
    e.last_ms, e.last_lpm = time_ms, flow_lpm
    e.count += 1


def _learn(e: Estimate, dt_h: float, purity_pct: float, flow_lpm: float) -> None:
    """Plateau and noise."""
    c, variance = mean_of(e)
    off = purity_pct - e.plateau_pct
    if off > -2.0 and log(flow_lpm) < c - WELL_UNDER - sqrt(variance):
        e.plateau_n += 1
        _shift_plateau(e, off * max(1.0 / (1 + e.plateau_n), min(dt_h / PLATEAU_HORIZON_H, 0.1)))
    elif off > PLATEAU_RISE_PCT:
        _shift_plateau(e, off * min(max(dt_h, 1 / 60) / PLATEAU_RISE_H, 1.0))
    if e.plateau_n > 3 and abs(off) < SEEN_PCT:
        e.noise_var += 0.01 * (min(off * off, 4.0 * e.noise_var) - e.noise_var)


def _shift_plateau(e: Estimate, by_pct: float) -> None:
    e.plateau_pct = min(e.plateau_pct + by_pct, PLATEAU_MOST_PCT)
    e.plateau_var = PLATEAU_LEAST_VARIANCE + PLATEAU_VARIANCE / (1 + e.plateau_n)


def _judge(e: Estimate, time_ms: int, purity_pct: float, flow_lpm: float, amber_pct: float) -> None:
    share = depth(purity_pct, e.plateau_pct)
    at_limit = depth(amber_pct, e.plateau_pct)
    span = e.plateau_pct - AIR_PCT
    # A plateau that is off by one shifts the depth by `share` of it: its variance adds to the purity's own.
    pct_var = LEAST_SD_PCT**2 + e.noise_var + share * share * e.plateau_var
    log_flow = log(flow_lpm)
    edge = 1.0 - max(SEEN_PCT, SEEN_SD * sqrt(pct_var)) / span
    seen = share < edge
    likelihoods = []
    for index, track in enumerate(e.tracks):
        knee = KNEES[index // len(PACES)]
        if seen:
            z = log_flow + log_stretch(at_limit, knee) - log_stretch(share, knee)
            slope = log_slope(share, knee) / span
            chance = bank.see(track, PACES[index % len(PACES)], z, FLOW_SD**2 + slope * slope * pct_var)
        else:
            bound = log_flow + log_stretch(at_limit, knee) - log_stretch(edge, knee)
            slope = log_slope(edge, knee) / span
            chance = bank.see_above(track, bound, FLOW_SD**2 + slope * slope * pct_var)
        likelihoods.append(chance)
    if seen:
        e.seen_ms = time_ms
    bank.reweigh(e.tracks, likelihoods)


def noise_pct(e: Estimate) -> float:
    """Standard deviation of a mean of purity, in %."""
    return sqrt(LEAST_SD_PCT**2 + e.noise_var)


def mean_of(e: Estimate) -> tuple[float, float]:
    """Mean and variance of c over all beliefs."""
    mean = sum(t.weight * t.c for t in e.tracks)
    variance = sum(t.weight * (t.cc + (t.c - mean) ** 2) for t in e.tracks)
    return mean, variance


def rate_of(e: Estimate) -> tuple[float, float]:
    """Mean and standard deviation of dc/dt, per hour."""
    mean = sum(t.weight * t.r for t in e.tracks)
    variance = sum(t.weight * (t.rr + (t.r - mean) ** 2) for t in e.tracks)
    return mean, sqrt(max(variance, 0.0))


def capacity_quantiles(e: Estimate) -> tuple[float, float, float]:
    """Capacity in L/min: p05, p50 and p95, from the mixture's moments and what the curves may be wrong by."""
    mean, variance = mean_of(e)
    asked = mean - log(e.last_lpm) if e.last_lpm else 0.0
    spread = 1.645 * sqrt(variance + SHAPE_SD**2 + (SHAPE_SHARE * asked) ** 2)
    return exp(mean - spread), exp(mean), exp(mean + spread)
