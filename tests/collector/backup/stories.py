"""A ward with two cylinders and four units, for the tests of its backup."""

from typing import Any

from collector.backup.known import GaugeRead, Known
from collector.backup.ward import ward_backup
from collector.rules.alarms import Alarm
from collector.rules.lifecycle import State
from collector.rules.unitrow import OFF, RUNNING, UnitRow
from collector.site import parse_site

T0 = 1_790_000_040_000  # a whole minute
MINUTE, HOUR = 60_000, 3_600_000
TEXT = """
[facility]
id = "sim-b"
[[ward]]
id = "w"
name = "West"
changeover_min = 10
[[ward]]
id = "v"
name = "East"
[[model]]
id = "five"
[[unit]]
id = "u1"
model = "five"
ward = "w"
[[unit]]
id = "u2"
model = "five"
ward = "w"
[[unit]]
id = "u3"
model = "five"
ward = "w"
[[unit]]
id = "v1"
model = "five"
ward = "v"
[[cylinder]]
id = "big"
ward = "w"
water_l = 9.4
place = "by the door"
[[cylinder]]
id = "small"
ward = "w"
water_l = 4.7
[[cylinder]]
id = "store-1"
water_l = 47.2
place = "gas store"
"""
SITE = parse_site(TEXT)
WARD = SITE.ward("w")


def row(unit: str, flow_lpm: float | None = 2.0, phase: str = RUNNING, **fields: Any) -> UnitRow:
    return UnitRow(unit=unit, phase=phase, flow_lpm=flow_lpm, last_ms=T0, **fields)


def off(unit: str, proven_lpm: float | None = None, **fields: Any) -> UnitRow:
    return row(unit, 0.0, OFF, proven_lpm=proven_lpm, proven_ms=T0 - 24 * HOUR if proven_lpm else None, **fields)


def read(now_ms: int = T0, **kpa: float) -> Known:
    """Gauges read now_ms: `big`, `small`, `store`."""
    return Known(read={("store-1" if n == "store" else n): GaugeRead(kpa=p, at_ms=now_ms) for n, p in kpa.items()})


def alarm(unit: str = "u1", condition: str = "purity-red", ward: str = "w", **fields: Any) -> Alarm:
    usual: dict[str, Any] = {"priority": "high", "raised_ms": T0, "state": State.UNACKNOWLEDGED, "active": True,
                             "audience": ("ward", "engineer")}  # fmt: skip
    return Alarm(unit=unit, ward=ward, condition=condition, **(usual | fields))


def backup(
    known: Known, *rows: UnitRow, alarms: tuple[Alarm, ...] = (), removed: tuple[str, ...] = (), at_ms: int = T0
):
    return ward_backup(SITE, WARD, known, rows, alarms, removed, at_ms)
