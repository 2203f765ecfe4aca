"""From a unit's readings to means for the estimate: the only part of it that runs on every reading.

Purity follows a change of flow with a lag of minutes (nitrogen has to break through, or be purged), and a unit that has
just started goes on rising: such times are left out. A mean drops its highest and lowest value, so one wild reading
never reaches the estimate. While nothing moves a mean takes ten minutes; when purity falls or a limit is near, one.
"""

from __future__ import annotations

from typing import Final

import msgspec

from collector.rules.limits import MINUTE

CALM_MS: Final = 10 * MINUTE
NEAR_MS: Final = 5 * MINUTE
WATCH_MS: Final = MINUTE
#: Flow that differs by more than this from the last mean, twice running, has been set anew.
STEP_SHARE: Final = 0.06
STEP_LPM: Final = 0.05
#: What is left out after a change of flow and after a start. The lag of a fall is about 90 s, that of a rise 160 s
#: (common practice; 90 % of a start's rise within 10.5 min: Johns et al., Thorax 1985;40:806).
SETTLE_MS: Final = 6 * MINUTE
START_MS: Final = 8 * MINUTE
#: Silence after which a mean begins anew.
GAP_MS: Final = 5 * MINUTE


class Slice(msgspec.Struct, array_like=True, gc=False):
    """Readings being gathered into one mean."""

    from_ms: int
    flow_lpm: float  # what flow is compared with
    settled_ms: int = 0
    n: int = 0
    sum_pct: float = 0.0
    low_pct: float = 1e9
    high_pct: float = -1e9
    sum_lpm: float = 0.0
    off: int = 0  # readings running whose flow was another
    last_ms: int = 0
    stepped: bool = False  # flow was set anew since the last mean
    under: int = 0  # readings running that were lower than expected


class Mean(msgspec.Struct, array_like=True, gc=False):
    """A finished mean over n readings."""

    time_ms: int
    purity_pct: float
    flow_lpm: float
    n: int
    stepped: bool


def gather(part: Slice, time_ms: int, purity_pct: float, flow_lpm: float, length_ms: int) -> Mean | None:
    """Add one reading; returns the mean that it completes, if it does."""
    if time_ms - part.last_ms > GAP_MS:
        _restart(part, time_ms, flow_lpm)
    part.last_ms = time_ms
    if abs(flow_lpm - part.flow_lpm) > STEP_SHARE * part.flow_lpm + STEP_LPM:
        part.off += 1
        if part.off >= 2:
            _restart(part, time_ms, flow_lpm)
            part.settled_ms, part.stepped = max(part.settled_ms, time_ms + SETTLE_MS), True
        return None
    part.off = 0
    if time_ms < part.settled_ms:
        part.from_ms = time_ms
        return None
    part.n += 1
    part.sum_pct += purity_pct
    part.sum_lpm += flow_lpm
    if purity_pct < part.low_pct:
        part.low_pct = purity_pct
    if purity_pct > part.high_pct:
        part.high_pct = purity_pct
    return _finish(part, time_ms) if time_ms - part.from_ms >= length_ms - 1000 or part.n >= 120 else None


def _restart(part: Slice, time_ms: int, flow_lpm: float) -> None:
    part.from_ms, part.flow_lpm, part.off = time_ms, flow_lpm, 0
    _empty(part)


def _empty(part: Slice) -> None:
    part.n, part.sum_pct, part.sum_lpm, part.low_pct, part.high_pct = 0, 0.0, 0.0, 1e9, -1e9


def _finish(part: Slice, time_ms: int) -> Mean:
    n, total = part.n, part.sum_pct
    if n >= 4:
        total, n = total - part.low_pct - part.high_pct, n - 2
    mean = Mean(time_ms, total / n, part.sum_lpm / part.n, n, part.stepped)
    part.flow_lpm, part.stepped, part.from_ms = mean.flow_lpm, False, time_ms
    _empty(part)
    return mean
