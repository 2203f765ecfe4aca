"""A small site and a journal of what people did, for the tests of the service's folds."""

from typing import Any

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.site import parse_site

DAY = 86_400_000
HOUR = 3_600_000
NOW = 1_790_000_000_000  # 2026-09-21 14:13:20 UTC

SITE = parse_site(
    """
[facility]
id = "sim-lakeside"
timezone = "Africa/Nairobi"
[[ward]]
id = "east"
[[model]]
id = "five"
rated_flow_lpm = 5.0
[[model.task]]
id = "cabinet-filter"
every_days = 7
takes_unit_out = false
by = "ward"
[[model.task]]
id = "intake-filter"
every_days = 180
parts = ["filter"]
[[model.task]]
id = "alarm-test"
every_days = 90
[[model.task]]
id = "purity-check"
every_days = 30
proof = true
[[unit]]
id = "u1"
model = "five"
ward = "east"
[[unit]]
id = "u2"
model = "five"
ward = "east"
[[part]]
id = "filter"
name = "Intake filter"
stock = 4
[[analyser]]
id = "bench"
name = "Bench analyser"
uncertainty_pct = 1.0
calibrated = 2026-03-01
[[analyser]]
id = "old"
calibrated = 2025-03-01
[[analyser]]
id = "new"
[[cylinder]]
id = "east-1"
ward = "east"
water_l = 10
"""
)


class Book:
    """Journal rows in the order in which they are written; each is an hour later than the one before."""

    def __init__(self) -> None:
        self.rows: list[JournalRow] = []

    def add(
        self, kind: str, unit: str = "u1", *, at_ms: int | None = None, who: str = "N. Example", **body: Any
    ) -> int:
        """Write a row and return its number."""
        seq = len(self.rows) + 1
        at_ms = NOW + (seq - 100) * HOUR if at_ms is None else at_ms
        self.rows.append(
            JournalRow(seq=seq, recorded_ms=at_ms, at_ms=at_ms, kind=kind, unit=unit, ward="east", who=who,
                       role="engineer", body=body)
        )  # fmt: skip
        return seq

    def proof(self, as_left_pct: float = 93.0, result: str = "pass", unit: str = "u1", **more: Any) -> int:
        """Write a check."""
        body: dict[str, Any] = {"analyser": "bench", "as_found_pct": None, "as_left_pct": as_left_pct, "flow_lpm": 5.0,
                "uncertainty_pct": 1.0, "result": result}  # fmt: skip
        return self.add(entries.PURITY_PROOF, unit, **(body | more))
