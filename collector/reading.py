"""One measured moment of one unit, its plausible limits, and its time.

Rules of this file: it imports nothing of ours, does no IO, and reads no clock.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Final

import msgspec

LAMPS: Final = ("green", "amber", "red", "off")
QUANTITIES: Final = ("purity_pct", "flow_lpm", "power_w", "temp_c", "volts", "pressure_kpa", "hours_h")

#: What an instrument on a bedside unit can report at all. Wider than what a unit can do on purpose: an analyser
#: that shows 101.7 % (an ultrasonic one without argon correction) is a sensor to be suspected, and the rules must
#: see it. Only what no instrument would say is refused. Common practice, no source.
LIMITS: Final[dict[str, tuple[float, float]]] = {
    "purity_pct": (-1.0, 110.0),
    "flow_lpm": (-0.5, 60.0),
    "power_w": (-5.0, 5000.0),
    "temp_c": (-40.0, 150.0),
    "volts": (-1.0, 500.0),
    "pressure_kpa": (-20.0, 1000.0),
    "hours_h": (0.0, 1_000_000.0),
}

EARLIEST_MS: Final = 1_420_070_400_000  # 2015-01-01: before it a bridge's clock has lost its battery


class Reading(msgspec.Struct, gc=False):
    """What one unit measured at one moment; None means "not measured".

    purity_pct in % oxygen by volume, flow_lpm in L/min as the unit's own meter shows it, power_w in W, temp_c in
    degC, volts in V, pressure_kpa in kPa (gauge), hours_h in h (the unit's own hour meter).
    """

    unit: str
    time_ms: int
    purity_pct: float | None = None
    flow_lpm: float | None = None
    power_w: float | None = None
    temp_c: float | None = None
    volts: float | None = None
    pressure_kpa: float | None = None
    hours_h: float | None = None
    lamp: str | None = None


def fault_in(reading: Reading) -> str | None:
    """Say what in a reading no instrument could have measured, or None when it is plausible."""
    measured = False
    for name, (low, high) in LIMITS.items():
        value = getattr(reading, name)
        if value is None:
            continue
        measured = True
        if not math.isfinite(value) or value < low or value > high:
            return f"{name} {value} is outside {low} to {high}"
    if reading.lamp is not None:
        if reading.lamp not in LAMPS:
            return f"lamp '{reading.lamp}' is none of {', '.join(LAMPS)}"
        measured = True
    return None if measured else "no measured value in it"


def iso_utc(time_ms: int) -> str:
    """Write a moment as RFC 3339 in UTC, with milliseconds only where there are any."""
    moment = datetime.fromtimestamp(time_ms / 1000, UTC)
    spec = "milliseconds" if time_ms % 1000 else "seconds"
    return moment.isoformat(timespec=spec).replace("+00:00", "Z")


def parse_utc(text: str) -> int:
    """Read an RFC 3339 moment as milliseconds since 1970; ValueError when it has no zone or is none."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"time '{text}' has no zone: write UTC with a Z at its end")
    return round(moment.timestamp() * 1000)
