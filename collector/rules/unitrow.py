"""What is known of one unit now: the row a screen shows and the state the rules go on from after a restart."""

from __future__ import annotations

from typing import Final

import msgspec

from collector.rules.capacity.now import CapacityNow

OFF: Final = "off"
WARMING_UP: Final = "warming-up"
RUNNING: Final = "running"
SILENT: Final = "silent"
UNSEEN: Final = "unseen"
PHASES: Final = (OFF, WARMING_UP, RUNNING, SILENT, UNSEEN)


class UnitRow(msgspec.Struct, kw_only=True):
    """One unit as of its last reading; `state` is the rules' own memory of it, opaque to everybody else.

    observed_h, inferred_h and unknown_h are service hours: seen running, taken from the unit's own hour meter across a
    gap, and time that nobody can account for. proven_lpm is the highest flow lately seen to hold acceptable purity.
    """

    unit: str
    last_ms: int | None = None
    received_ms: int | None = None
    phase: str = UNSEEN
    phase_since_ms: int | None = None
    purity_pct: float | None = None
    flow_lpm: float | None = None
    power_w: float | None = None
    temp_c: float | None = None
    volts: float | None = None
    pressure_kpa: float | None = None
    hours_h: float | None = None
    observed_h: float = 0.0
    inferred_h: float = 0.0
    unknown_h: float = 0.0
    proven_lpm: float | None = None
    proven_ms: int | None = None
    capacity: CapacityNow | None = None
    state: bytes = b""
