"""Why a condition is there, as far as one reading shows it; a short "unknown" beats a guess.

The slow causes (sieve, intake, valve, compressor, leak) need the capacity estimate and are named there.
"""

from __future__ import annotations

from collector.rules.memory import Tracked

FLOW_ABOVE_RATED = "flow-above-rated"
SUPPLY_LOW = "supply-voltage-low"
SENSOR_FAULT = "sensor-fault"
UNKNOWN = "unknown"


def of_low_purity(unit: Tracked) -> str:
    """The cause of low purity that the last values prove: more flow than rated, or a supply under 90 % of nominal."""
    flow_lpm, volts = unit.row.flow_lpm, unit.row.volts
    if flow_lpm is not None and flow_lpm > unit.over_lpm:
        return FLOW_ABOVE_RATED
    if volts is not None and unit.volts_lost <= volts < unit.volts_low:
        return SUPPLY_LOW
    return UNKNOWN
