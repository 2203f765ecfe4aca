"""The run time of a gap by the unit's own hour meter, to better than the meter's smallest step.

Bedside units show whole hours, or tenths. What a gap took is then only known to a step, and over a year of gaps the
steps add up. But when the meter is seen to go on, it stands at exactly what it shows; run time seen since then says
where it stands between two steps. So a gap is bounded by two moments at which the meter's place is known: before it by
the run time since its last step, after it by the next step that is seen. Until that step only what is certain is
booked (what the meter shows less where it stood), the rest when it comes; what was booked is never taken back.
A step seen between two readings counts as halfway between them.
"""

from __future__ import annotations

from typing import Final

import msgspec

HOUR: Final = 3_600_000


class Meter(msgspec.Struct, array_like=True):
    """Where the meter stands between two steps, and gaps that wait for its next step; times in ms of run time."""

    since_ms: int | None = None  # run time seen since the meter's last step; None: its last step was not seen
    from_h: float | None = None  # where it stood when the gaps that wait began; None: none waits
    room_ms: int = 0  # how long these gaps were
    booked_ms: int = 0  # what of them has been booked
    after_ms: int = 0  # run time seen since they began


def seen(meter: Meter, ran_ms: int, before_h: float | None, now_h: float | None) -> int:
    """Two readings within sight of each other, the unit having run ran_ms; returns run time of gaps to be booked.

    before_h and now_h are what the meter showed at both, None where it was not read.
    """
    if meter.since_ms is not None:
        meter.since_ms += ran_ms
    if meter.from_h is not None:
        meter.after_ms += ran_ms
    if before_h is None or now_h is None or now_h == before_h:
        return 0
    if now_h < before_h:
        forget(meter)
        return 0
    half_ms = ran_ms // 2
    more_ms = _certain(meter, now_h, meter.after_ms - half_ms)
    forget(meter)
    meter.since_ms = half_ms
    return more_ms


def across(meter: Meter, gap_ms: int, before_h: float, now_h: float) -> int:
    """A gap over which the meter can be trusted; returns the run time of it to be booked now."""
    if meter.from_h is None and meter.since_ms is None:
        return round(min((now_h - before_h) * HOUR, gap_ms))
    if meter.from_h is None:
        meter.from_h = before_h + (meter.since_ms or 0) / HOUR
        meter.room_ms = meter.booked_ms = meter.after_ms = 0
    meter.since_ms = None
    meter.room_ms += gap_ms
    more_ms = _certain(meter, now_h, meter.after_ms)
    meter.booked_ms += more_ms
    return more_ms


def forget(meter: Meter) -> None:
    """The meter was reset, replaced or not read: nothing is known of its place until its next step is seen."""
    meter.since_ms = meter.from_h = None


def _certain(meter: Meter, now_h: float, after_ms: int) -> int:
    """What the gaps took at the least, by a meter that shows now_h, beyond what is booked."""
    if meter.from_h is None:
        return 0
    took_ms = round((now_h - meter.from_h) * HOUR) - after_ms
    return max(0, min(took_ms, meter.room_ms) - meter.booked_ms)
