"""The list of all units: who stands first and why, on a real store and in Streamlit."""

import time
from types import SimpleNamespace

import msgspec
import pytest

from collector.service.gate import ProofDue
from dashboard import queries
from dashboard.board import board_of
from dashboard.unitlist import Rank, chosen, need_rows, needs
from tests.dashboard.conftest import seen
from tests.dashboard.estimates import falling
from tests.dashboard.upkeep import upkeep_text


def listed(one, dues=(), proofs=()):
    now = queries.now(one.data_dir)
    now_ms = now.clock.now_ms()
    return needs(now, board_of(now, now_ms, time.time_ns() // 1_000_000), dues, proofs, now_ms)


def due(unit, title, overdue, p50=0):
    return SimpleNamespace(unit=unit, title=title, overdue=overdue, due_ms=SimpleNamespace(p50=p50))


def test_what_is_worst_stands_first_and_what_is_not_used_last(bad_hour):
    found = listed(bad_hour)
    ranks = [one.rank for one in found]
    assert ranks == sorted(ranks)
    assert (found[0].rank, found[-1].rank, found[-1].unit) == (Rank.HIGH, Rank.UNUSED, "unit-22")
    silent = next(one for one in found if one.unit == "unit-15")
    assert need_rows([silent])[0][4:] == ("", "", "")  # an old value is not shown as one of now


def test_each_reason_has_its_rank_and_its_words(hospital):
    one = hospital(units=5)
    row = next(row for row in queries.now(one.data_dir).units.values() if row.unit == "unit-02")
    fields = msgspec.structs.replace(row, capacity=falling(one.now_ms), flow_lpm=4.0)
    with one.store.transaction():
        one.store.save_units([fields])
    doubt = ProofDue("unit-03", "medical", "a check failed", one.now_ms, "", True)
    tasks = [due("unit-04", "Replace the intake filter", True), due("unit-04", "Check purity", True),
             due("unit-05", "Wash the filter", False)]  # fmt: skip
    found = {need.unit: need for need in listed(one, tasks, [doubt])}
    assert [(need.unit, need.rank) for need in found.values()] == [
        ("unit-03", Rank.DOUBT), ("unit-02", Rank.FORESEEN), ("unit-04", Rank.OVERDUE), ("unit-05", Rank.SOON),
        ("unit-01", Rank.QUIET)]  # fmt: skip
    assert found["unit-02"].why.startswith("Switch-off in ")
    assert "good to 2.5 L/min" in found["unit-02"].why
    assert found["unit-03"].why == "Check before use: a check failed"
    assert found["unit-04"].why == "Overdue: Replace the intake filter and 1 more"


def test_the_list_is_narrowed_by_ward_model_and_words(bad_hour):
    found = listed(bad_hour)
    assert {one.ward for one in chosen(found, "newborn", "", "")} == {"newborn"}
    assert chosen(found, "", "other", "") == []
    assert [one.unit for one in chosen(found, "", "five", "UNIT-07")] == ["unit-07"]
    assert all("power" in one.why.lower() for one in chosen(found, "", "", "power newborn maternity")) is True


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_the_screen_alarming_and_stale(screen, bad_hour, status):
    bad_hour.say(**status)
    said = seen(screen("units"))
    assert "Needs attention" in said
    assert 'href="./unit?unit=unit-03"' in said
    assert ("NOT LIVE" in said) == bool(status)


def test_the_screen_when_all_is_well_with_one_unit_and_without_any(screen, hospital):
    hospital(units=1)
    assert "1 of 1 units" in seen(screen("units"))
    assert "No unit fits" in seen(screen("units", find="nowhere"))


def test_a_hospital_without_units_is_told_how_to_begin(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    assert "names no unit" in seen(screen("units"))


def test_what_is_overdue_is_said(screen, hospital):
    hospital(text=upkeep_text())
    assert "Overdue: " in seen(screen("units"))


def test_five_hundred_units_are_listed(screen, hospital):
    hospital(units=500, minutes=1, text=upkeep_text(500, per_ward=25))
    began_s = time.monotonic()
    said = seen(screen("units"))
    assert "500 of 500 units" in said
    assert said.count("<tr>") >= 500
    assert time.monotonic() - began_s < 20
