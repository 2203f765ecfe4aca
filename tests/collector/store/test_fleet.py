"""Figures from a real store: readings in, hours rolled up, rows written, figures out."""

import json
import subprocess
import sys

import pytest

from collector.reading import Reading
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.rules.unitrow import UnitRow
from collector.service.reliability import fleet_figures
from collector.site import parse_site
from collector.store.fleet import fleet_record
from tests.collector.store.samples import HOUR, MINUTE, START, put, upkeep

SITE_TEXT = """
[facility]
id = "sim-test"
electricity_cost_per_kwh = 0.5
currency = "D"
[[ward]]
id = "newborn"
[[model]]
id = "five"
[[model.task]]
id = "filter"
every_days = 10
parts = ["filter"]
[[part]]
id = "filter"
stock = 1
lead_days = 15
cost = 4.0
[[unit]]
id = "alder"
model = "five"
ward = "newborn"
[[unit]]
id = "birch"
model = "five"
ward = "newborn"
[[unit]]
id = "cedar"
in_service = false
"""
SITE = parse_site(SITE_TEXT)
END = START + 24 * HOUR


def made(unit, from_min, to_min, purity_pct=93.0, power_w=300.0, every_s=60):
    """Readings of a span, in minutes from the start."""
    return [
        Reading(unit, START + at * 1000, purity_pct=purity_pct, flow_lpm=2.0 if power_w > 50 else 0.0, power_w=power_w)
        for at in range(from_min * 60, to_min * 60, every_s)
    ]


def event(hour, what, unit="alder", condition="purity-red", cause="unknown"):
    body = {"event": what, "priority": "high", "audience": ["ward", "engineer"], "cause": cause}
    return JournalEntry(at_ms=START + round(hour * HOUR), kind=entries.CONDITION, unit=unit, ward="newborn",
                        condition=condition, origin="collector", body=body)  # fmt: skip


def act(hour, kind, unit="alder", **body):
    return JournalEntry(at_ms=START + round(hour * HOUR), kind=kind, unit=unit, ward="newborn", who="A. N. Other",
                        role="engineer", origin="dashboard", body=body)  # fmt: skip


@pytest.fixture
def filled(store):
    """A day: alder low for 90 minutes and then in repair; birch silent for 100 minutes and off for four hours."""
    put(store, made("alder", 0, 390) + made("alder", 390, 480, 70.0) + made("alder", 600, 1440))
    put(store, made("birch", 0, 610) + made("birch", 710, 1200) + made("birch", 1200, 1440, 21.0, 5.0))
    with store.transaction():
        store.set_status("site", {"text": SITE_TEXT})
        store.set_status("clock", {"wall_ms": 0, "at_ms": END, "speed": 0})
        store.save_units([
            UnitRow(unit="alder", last_ms=END - MINUTE, phase="running", observed_h=22.0, proven_lpm=4.0),
            UnitRow(unit="birch", last_ms=END - MINUTE, phase="off", observed_h=18.0, inferred_h=0.5),
        ])  # fmt: skip
        rows = [
            event(6.5, "raised", cause="sieve-worn"), act(6.75, entries.ACKNOWLEDGE),
            act(8, entries.OUT_OF_SERVICE, reason="low output"), event(8, "cleared", cause="sieve-worn"),
            act(10, entries.RETURN_TO_SERVICE, reason="check passed"),
            act(10, entries.PART_MOVED, "", part="filter", by=-1, why="dropped"),
        ]  # fmt: skip
        store.append_journal(rows, END)
    upkeep(store, END)


def figures(reader, from_ms=START, to_ms=END + 99 * HOUR):
    return fleet_figures(fleet_record(reader, SITE, (from_ms, to_ms), END))


def test_hours_are_up_down_or_unknown_to_the_minute(reader, filled):
    found = figures(reader)
    alder, birch = found.units["alder"].availability, found.units["birch"].availability
    assert (alder.up_h, alder.down_h, alder.unknown_h) == pytest.approx((20.5, 3.5, 0))
    assert (birch.up_h, birch.down_h, birch.unknown_h) == pytest.approx((24 - 100 / 60, 0, 100 / 60))
    assert found.fleet.availability.share == pytest.approx((20.5 + 24 - 100 / 60) / (48 - 100 / 60))
    assert (found.fleet.availability.units, found.stored, found.span) == (2, ("cedar",), (START, END))


def test_purity_energy_and_cost_come_from_the_rollups(reader, filled):
    found = figures(reader)
    alder, birch = found.units["alder"], found.units["birch"]
    assert (alder.adequate_h, alder.inadequate_h, alder.idle_h) == pytest.approx((20.5, 1.5, 0))
    assert (birch.adequate_h, birch.inadequate_h, birch.idle_h) == pytest.approx((20 - 100 / 60, 0, 4))
    assert alder.kwh == pytest.approx(22 * 0.3)
    assert birch.kwh == pytest.approx((20 - 100 / 60) * 0.3 + 4 * 0.005)
    assert alder.cost == pytest.approx(alder.kwh * 0.5)


def test_the_failure_its_repair_and_who_answered(reader, filled):
    found = figures(reader)
    (failure,) = found.failures
    assert (failure.unit, failure.cause, failure.hours, failure.answer_min) == ("alder", "sieve-worn", 3.5, 15.0)
    assert found.models["five"].mtbf.mean_h == pytest.approx(22 + 18.5, rel=1e-3)
    assert found.wards["newborn"].repair.median_h == 3.5
    assert (found.survival["five"].units, found.survival["five"].failed) == (2, 1)
    assert found.alarms["newborn"].alarms == 1
    assert (found.demand["newborn"].peak_lpm, found.demand["newborn"].known_lpm) == (4.0, 4.0)
    assert found.demand["newborn"].unproven == ("birch",)


def test_a_window_cuts_off_what_lies_outside_it(reader, filled):
    found = figures(reader, START + 9 * HOUR, START + 12 * HOUR)
    assert (found.units["alder"].availability.down_h, found.units["alder"].availability.up_h) == (1.0, 2.0)
    assert (found.failures, found.fleet.failures) == ((), 0)


def test_a_window_that_begins_within_an_hour_is_moved_back_to_full_hours(reader, filled):
    half = HOUR // 2
    found = figures(reader, START + 9 * HOUR + half, START + 12 * HOUR + half)
    assert found.span == (START + 9 * HOUR, START + 12 * HOUR)
    assert found.units["alder"].kwh == pytest.approx(2 * 0.3)
    assert found.units["alder"].availability.unknown_h == 0


def test_the_record_begins_with_its_first_minute(reader, store):
    put(store, made("alder", 24, 180))
    upkeep(store, START + 3 * HOUR)
    found = figures(reader)
    assert found.span == (START + 24 * MINUTE, START + 3 * HOUR)
    assert found.units["alder"].availability.unknown_h == 0
    assert found.units["alder"].adequate_h == pytest.approx(2.6)


def test_work_before_the_record_is_no_failure_after_no_hours(reader, filled, store):
    with store.transaction():
        store.append_journal([
            act(-500, entries.WORK_OPENED, "birch", work="b-1", why="noisy"),
            act(-490, entries.WORK_CLOSED, "birch", work="b-1", fault_found="valve", action="replaced", parts={}),
        ], END)  # fmt: skip
    found = figures(reader)
    assert (found.survival["five"].failed, found.survival["five"].points[0].run_h > 5) == (1, True)
    assert found.fleet.failures == 1


def test_an_empty_store_has_no_span_and_no_figures(store, reader):
    found = fleet_figures(fleet_record(reader, SITE, (0, END), END))
    assert (found.fleet.availability.share, found.fleet.availability.fleet_h) == (None, 0)
    assert (found.fleet.mtbf.low_h, found.fleet.adequate_share) == (None, None)


def command(data_dir, *words):
    argv = [sys.executable, "-m", "collector.cli", *words, "--data", str(data_dir)]
    done = subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done


def test_the_fleet_command_says_the_same(data_dir, reader, filled):
    told = json.loads(command(data_dir, "fleet", "--json").stdout)
    assert told["fleet"]["availability"]["share"] == pytest.approx(figures(reader).fleet.availability.share)
    assert told["wards"]["newborn"]["adequate_share"] == pytest.approx(figures(reader).wards["newborn"].adequate_share)
    assert told["alarms"]["newborn"]["within"]["average"] is True
    shown = command(data_dir, "fleet", "--units").stdout
    assert "unit alder" in shown
    assert f"{figures(reader).fleet.availability.share:.1%}" in shown


def test_the_parts_command_says_what_to_order_and_what_it_costs(data_dir, filled, tmp_path):
    out = tmp_path / "order.csv"
    done = command(data_dir, "parts", "--json", "--out", str(out))
    (need,) = json.loads(done.stdout)["needs"]
    # Each of two units needs a filter every ten days: eight in lead time and month, and failures on top.
    assert (need["have"], need["planned"], need["order_now"]) == (0, 8.0, True)
    assert need["order"] == need["up_to"] >= 8
    assert need["cost"] == 4.0 * need["order"]
    assert out.read_text().splitlines()[0].startswith("part,title,have")
    assert f"order 1 parts, {need['order']} pieces, for {need['cost']:,.2f} D" in command(data_dir, "parts").stdout
