"""What is known of a unit's capacity at one moment: what screens, events and the record show of the estimate."""

from __future__ import annotations

import msgspec

from collector.rules.events import Quantiles


class Outlook(msgspec.Struct, frozen=True, kw_only=True):
    """When a unit will reach its limits at one flow: minutes from `CapacityNow.at_ms`, as p05, p50 and p95.

    A quantile is None when it lies beyond the horizon of 30 days; a limit that is passed already is 0.
    """

    flow_lpm: float
    amber_in_min: Quantiles
    red_in_min: Quantiles
    shutdown_in_min: Quantiles


class CapacityNow(msgspec.Struct, frozen=True, kw_only=True):
    """A unit's capacity in L/min: the flow at which its purity would be just the model's amber limit.

    `seen` False: at the flow in use the capacity cannot be seen, it lies somewhere above p05_lpm, and p50_lpm and
    p95_lpm say no more than what was believed before. fall_pct_per_day is positive when capacity falls. good_to_lpm is
    the flow that the unit will hold (None: not known). `turned_up` is the outlook at larger flows than the one in use.
    `cause` is one of catalogue.CAUSES and `why` its evidence in words; "" while nothing is wrong.
    """

    at_ms: int
    p05_lpm: float
    p50_lpm: float
    p95_lpm: float
    seen: bool
    good_to_lpm: float | None = None
    fall_pct_per_day: float | None = None
    outlook: Outlook | None = None
    turned_up: tuple[Outlook, ...] = ()
    cause: str = ""
    why: tuple[str, ...] = ()


class CapacityPoint(msgspec.Struct, frozen=True, kw_only=True):
    """A unit's capacity at the end of one hour, for the record: one a unit and hour in which it ran."""

    unit: str
    hour_ms: int
    p05_lpm: float
    p50_lpm: float
    p95_lpm: float
    seen: bool
    proven_lpm: float | None = None
