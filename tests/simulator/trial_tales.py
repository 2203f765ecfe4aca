"""Stories made by hand, whose truth can be read off the page."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from collector.site import Model
from simulator.physics import Array
from simulator.trial.story import Story

T0 = 1_795_600_000_000
MINUTE = 60_000
HOUR = 60 * MINUTE
MODEL = Model(id="five", rated_flow_lpm=5.0, rated_power_w=350.0, warm_up_min=10.0)


def tale(
    hours: float,
    purity: Callable[[Array], Array],
    *,
    kind: str = "sieve-wet",
    onset_h: float | None = None,
    off_h: float | None = None,
    at_lpm: float = 4.0,
    step_s: int = 60,
) -> Story:
    """A story at one flow whose true and measured purity is a function of hours; off from off_h on."""
    at_h = np.arange(0, hours * 3600, step_s) / 3600
    running = at_h < (off_h if off_h is not None else hours)
    true = np.where(running, purity(at_h), 20.9)
    time_ms = (T0 + at_h * HOUR).round().astype(np.int64)
    health = purity(at_h)

    def steady(flow_lpm: float, rows: np.ndarray | None = None) -> Array:
        chosen = health if rows is None else health[rows]
        return np.asarray(chosen - 2.0 * (flow_lpm - at_lpm))

    return Story(
        name=f"{kind}-by-hand", kind=kind, benign=onset_h is None, seed=0, model=MODEL, changeover_min=15.0,
        time_ms=time_ms, true_purity_pct=true, running=running, steady=steady,
        measured={"purity_pct": true.copy(), "flow_lpm": np.where(running, at_lpm, 0.0),
                  "power_w": np.where(running, 340.0, 5.0)},
        true_flow_lpm=np.where(running, at_lpm, 0.0),
        onset_ms=None if onset_h is None else T0 + round(onset_h * HOUR),
        shutdown_ms=None if off_h is None else int(time_ms[np.argmin(running)]),
    )  # fmt: skip


def ramp(from_h: float, pct_per_h: float, plateau_pct: float = 94.0) -> Callable[[Array], Array]:
    """Purity that stands at a plateau and then falls in a straight line."""
    return lambda at_h: plateau_pct - pct_per_h * np.maximum(0.0, at_h - from_h)
