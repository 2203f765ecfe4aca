"""`sieveward work` on a real store: open orders, one order with its repair, and a unit's history."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.rules import entries
from collector.rules.capacity.now import CapacityPoint
from collector.rules.entries import JournalEntry
from collector.store import open_store
from tests.collector.service.service_rows import DAY, HOUR, NOW

SITE_TEXT = """
[facility]
id = "sim-lakeside"
timezone = "Africa/Nairobi"
[[ward]]
id = "east"
[[unit]]
id = "u1"
ward = "east"
[[unit]]
id = "u2"
ward = "east"
[[analyser]]
id = "bench"
calibrated = 2026-03-01
[[analyser]]
id = "old"
calibrated = 2025-03-01
"""
CLOSING: dict[str, Any] = {"fault_found": "torn seal", "cause": "leak", "action": "seal changed", "parts": {"seal": 2},
                           "minutes": 40}  # fmt: skip


def entry(kind: str, unit: str, hours: float, **body: Any) -> JournalEntry:
    return JournalEntry(at_ms=NOW + int(hours * HOUR), kind=kind, unit=unit, ward="east", who="N. Example",
                        role="engineer", body=body)  # fmt: skip


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """u1 was repaired and proven, u2 has an open order."""
    check: dict[str, Any] = {"analyser": "bench", "as_found_pct": 78.5, "as_left_pct": 93.0, "flow_lpm": 5.0,
                             "uncertainty_pct": 2.0, "result": "pass"}  # fmt: skip
    told = [
        entry(entries.OUT_OF_SERVICE, "u1", 0, reason="weak"),
        entry(entries.WORK_OPENED, "u1", 0.5, work="u1-20260921-1", why="weak", condition="capacity-falling"),
        entry(entries.PURITY_PROOF, "u1", 2, work="u1-20260921-1", **check),
        entry(entries.WORK_CLOSED, "u1", 3, work="u1-20260921-1", **CLOSING),
        entry(entries.RETURN_TO_SERVICE, "u1", 3.5, reason="repaired", proof=3),
        entry(entries.WORK_OPENED, "u2", 4, work="u2-20260921-1", why="odd noise", condition=""),
    ]
    points = [
        CapacityPoint(unit="u1", hour_ms=NOW + days * DAY, p05_lpm=low, p50_lpm=low + 0.5, p95_lpm=low + 1, seen=True)
        for days, low in ((-1, 3.0), (1, 5.1))
    ]
    with open_store(tmp_path, "sim-lakeside", durable=False) as store, store.transaction():
        store.set_status("site", {"text": SITE_TEXT})
        store.set_status("clock", {"wall_ms": 0, "at_ms": NOW + 2 * DAY, "speed": 0.0})
        store.append_journal(told, 0)
        store.add_capacity(points)
    return tmp_path


def run(*words: object) -> str:
    done = CliRunner().invoke(app, ["work", *map(str, words)], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_what_is_open_what_must_be_checked_and_what_must_not_be_used(data: Path) -> None:
    assert run("list", "--data", data).splitlines() == [
        "u2-20260921-1 open since 2026-09-21 21:13: odd noise",
        "check due: u2 (in service) since 2026-09-21 21:13: work order u2-20260921-1 was opened",
        "not to be used: the calibration of old ran out on 1 Mar 2026",
    ]
    assert run("list", "--data", data, "--unit", "u1").splitlines()[-1] == "no work order is open"


def test_closed_orders_too_for_a_program(data: Path) -> None:
    found = json.loads(run("list", "--all", "--json", "--data", data))
    assert [(one["work"], one["state"]) for one in found["orders"]] == [
        ("u1-20260921-1", "closed"), ("u2-20260921-1", "open"),
    ]  # fmt: skip
    assert [(one["analyser"], one["good"], one["until"]) for one in found["analysers"]] == [
        ("old", False, "2026-03-01"), ("bench", True, "2027-03-01"),
    ]  # fmt: skip
    assert [one["unit"] for one in found["checks_due"]] == ["u2"]


def test_one_order_says_whether_the_repair_worked(data: Path) -> None:
    assert run("show", "u1-20260921-1", "--data", data).splitlines() == [
        "u1-20260921-1 closed 2026-09-21 20:13: Capacity falling: weak; check passed (93 %)",
        "2026-09-21 17:43  N. Example (engineer): work order u1-20260921-1 opened: weak",
        "2026-09-21 19:13  N. Example (engineer): check passed: as found 78.5 %, as left 93 % (uncertainty 2) at "
        "5 L/min by bench",
        "2026-09-21 20:13  N. Example (engineer): work order u1-20260921-1 closed: torn seal (leak); seal changed; "
        "2 seal",
        "Capacity before: 3.0 to 4.0 L/min; after: 5.1 to 6.1 L/min. Purity at 5 L/min: as found 78.5 %, as left 93 %. "
        "The repair worked. It holds its rated flow.",
    ]
    found = json.loads(run("show", "u1-20260921-1", "--data", data, "--json"))
    assert (found["repair"]["verdict"], found["repair"]["holds_rated"], found["cause"]) == ("better", True, "leak")


def test_a_unit_s_history_newest_first(data: Path) -> None:
    lines = run("unit", "u1", "--data", data).splitlines()
    assert len(lines) == 5
    assert lines[0].endswith("returned to service: repaired")
    assert lines[-1].endswith("taken out of service: weak")
    assert json.loads(run("unit", "u1", "--data", data, "--json"))["happened"][0]["kind"] == "return-to-service"
    with pytest.raises(Refused, match="has a unit 'u9'"):
        run("unit", "u9", "--data", data)


def test_an_order_that_nobody_opened_is_refused(data: Path) -> None:
    with pytest.raises(Refused, match="no work order 'w9'"):
        run("show", "w9", "--data", data)
