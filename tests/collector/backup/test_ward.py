"""A ward's backup: what is counted, what is not, and for how long it lasts."""

import pytest

from collector.backup.gas import gives_l
from collector.backup.known import InUse, Known, Proof
from collector.rules import entries
from collector.rules.capacity.now import CapacityNow
from collector.rules.entries import JournalRow
from collector.rules.unitrow import OFF, SILENT
from tests.collector.backup.stories import HOUR, MINUTE, T0, alarm, backup, off, read, row


def test_good_cylinders_carry_the_flow_in_use_with_reserve_and_down_to_the_change_pressure():
    found = backup(read(big=13_700, small=13_700), row("u1", 3.0), row("u2", 2.0))
    assert found.flow_lpm == 5.0
    assert found.usable_l == pytest.approx(0.8 * gives_l(9.4 + 4.7, 13_700, 800.0))
    assert found.lasts_min == pytest.approx(found.usable_l / 5.0)
    assert found.need_min == 40.0


def test_a_reading_of_a_day_ago_a_cylinder_to_be_changed_and_one_never_read_carry_nobody():
    known = read(T0 - 24 * HOUR, big=13_700)
    known.read |= read(small=790).read
    found = backup(known, row("u1", 3.0))
    assert [(c.state, c.usable_l) for c in found.cylinders] == [("unread", 0.0), ("change", 0.0)]
    assert found.cylinders[0].read_ms == T0 - 24 * HOUR
    assert found.lasts_min == 0.0
    assert [c.state for c in backup(Known()).cylinders] == ["unread", "unread"]


def test_a_gauge_read_by_a_clock_that_is_ahead_is_not_believed():
    assert backup(read(T0 + HOUR, big=13_700)).cylinders[0].state == "unread"


def test_a_reading_stops_being_good_while_the_judgement_gets_old():
    (big, _) = backup(read(big=13_700), row("u1")).cylinders
    assert big.good(T0 + 24 * HOUR - 1)
    assert not big.good(T0 + 24 * HOUR)


def test_without_flow_there_is_no_time():
    assert backup(read(big=13_700), off("u1")).lasts_min is None


@pytest.mark.parametrize("condition", ["supply-lost", "purity-shutdown", "flow-absent"])
def test_a_unit_that_fails_still_needs_what_it_gave(condition):
    known = read(big=13_700)
    backup(known, row("u1", 3.0))
    failed = alarm("u1", condition, raised_ms=T0 + MINUTE)
    assert backup(known, off("u1"), alarms=(failed,), at_ms=T0 + HOUR).flow_lpm == 3.0
    assert backup(known, off("u1"), alarms=(failed,), at_ms=T0 + 25 * HOUR).flow_lpm == 0.0


def test_a_ward_without_power_needs_what_its_units_gave_and_has_drawn_since():
    known = read(big=13_700, small=13_700)
    full = backup(known, row("u1", 3.0), row("u2", 2.0)).lasts_min or 0.0
    cut = alarm("", "ward-supply-lost", evidence={"units": ["u1", "u2"]})
    later = backup(known, off("u1"), off("u2"), alarms=(cut,), at_ms=T0 + 30 * MINUTE)
    assert later.flow_lpm == 5.0
    assert later.lasts_min == pytest.approx(full - 30.0)


def test_a_silent_unit_counts_with_its_last_flow_for_a_day():
    known = read(big=13_700)
    backup(known, row("u1", 3.0))
    assert backup(known, row("u1", 3.0, SILENT), at_ms=T0 + 23 * HOUR).flow_lpm == 3.0
    assert backup(known, row("u1", 3.0, SILENT), at_ms=T0 + 25 * HOUR).flow_lpm == 0.0


def test_a_unit_that_was_switched_off_needs_nothing_after_a_pause():
    known = read(big=13_700)
    backup(known, row("u1", 3.0))
    assert backup(known, off("u1"), at_ms=T0 + 4 * MINUTE).flow_lpm == 3.0
    assert backup(known, off("u1"), at_ms=T0 + 6 * MINUTE).flow_lpm == 0.0


def test_a_spare_is_off_or_idle_heard_now_without_alarms_and_lately_proven():
    found = backup(read(), off("u1", 4.0), row("u2", 0.0, proven_lpm=5.0, proven_ms=T0 - HOUR), row("u3", 2.0))
    assert [(s.unit, s.good_to_lpm) for s in found.spares] == [("u2", 5.0), ("u1", 4.0)]


@pytest.mark.parametrize(
    ("unit", "alarms", "removed"),
    [
        (off("u1"), (), ()),
        (off("u1", 4.0), (), ("u1",)),
        (off("u1", 4.0), (alarm("u1", "capacity-falling"),), ()),
        (off("u1", 4.0), (alarm("u1", "sensor-suspect"),), ()),
        (row("u1", 2.0, proven_lpm=4.0, proven_ms=T0), (), ()),
        (row("u1", 0.0, SILENT, proven_lpm=4.0, proven_ms=T0), (), ()),
        (row("u1", None, proven_lpm=4.0, proven_ms=T0), (), ()),
        (row("u1", 0.0, OFF, proven_lpm=4.0, proven_ms=T0 - 31 * 24 * HOUR), (), ()),
    ],
)
def test_no_spare(unit, alarms, removed):
    assert backup(read(), unit, alarms=alarms, removed=removed).spares == ()


def test_a_unit_that_was_in_use_a_minute_ago_is_no_spare():
    known = Known(in_use={"u1": InUse(flow_lpm=2.0, at_ms=T0 - MINUTE)})
    assert backup(known, off("u1", 4.0)).spares == ()


def test_the_estimate_lowers_what_a_spare_is_good_for_but_never_raises_it():
    def capacity(good_to: float) -> CapacityNow:
        return CapacityNow(at_ms=T0, p05_lpm=1, p50_lpm=2, p95_lpm=3, seen=True, good_to_lpm=good_to)

    assert backup(read(), off("u1", 4.0, capacity=capacity(2.5))).spares[0].good_to_lpm == 2.5
    assert backup(read(), off("u1", 4.0, capacity=capacity(9.0))).spares[0].good_to_lpm == 4.0


def test_a_newer_check_counts_before_what_readings_showed():
    known = Known(proofs={"u1": Proof(flow_lpm=5.0, at_ms=T0, passed=True)})
    assert backup(known, off("u1", 3.0)).spares[0].good_to_lpm == 5.0
    known = Known(proofs={"u1": Proof(flow_lpm=5.0, at_ms=T0, passed=False)})
    assert backup(known, off("u1", 3.0)).spares == ()


def journal_row(kind: str, at_ms: int, **body) -> JournalRow:
    return JournalRow(at_ms=at_ms, kind=kind, who="A", body=body, seq=1, recorded_ms=0)


def test_the_newest_reading_of_a_gauge_counts_and_rubbish_is_left():
    known = Known()
    assert known.fold(journal_row(entries.CYLINDER_READ, T0, cylinder="big", kpa=9000, entered="90 bar")) == "big"
    assert known.fold(journal_row(entries.CYLINDER_READ, T0 - 1, cylinder="big", kpa=100)) == ""
    for body in (
        {},
        {"cylinder": "big"},
        {"cylinder": "big", "kpa": "full"},
        {"cylinder": 3, "kpa": 3},
        {"cylinder": "big", "kpa": -1},
    ):
        assert known.fold(journal_row(entries.CYLINDER_READ, T0 + 1, **body)) == ""
    assert (known.read["big"].kpa, known.read["big"].entered, known.read["big"].who) == (9000.0, "90 bar", "A")
