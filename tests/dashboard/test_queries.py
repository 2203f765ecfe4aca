"""What the screens read, and that it has an end."""

from zoneinfo import ZoneInfo

import pytest

from collector.rules.entries import CONDITION, NOTE, JournalEntry
from collector.store import StoreError
from dashboard import queries
from tests.dashboard.hospital import MINUTE, site_text


def test_now_is_all_that_is_known(bad_hour):
    now = queries.now(bad_hour.data_dir)
    assert (now.facility, now.simulated, now.zone) == ("sim-lakeside", True, ZoneInfo("Africa/Nairobi"))
    assert len(now.units) == 23  # unit-22 is not used and was never heard
    assert now.out_of_service == {"unit-22"}
    assert {a.condition for a in now.speaking()[:2]} == {"purity-red", "ward-supply-lost"}
    assert now.collector is not None
    assert now.collector.broker_state == "connected"
    assert list(now.bridges) == ["east"]


def test_the_facility_s_clock_goes_on_from_where_the_collector_set_it(hospital):
    one = hospital(units=1)
    one.speed = 60.0
    one.say()
    clock = queries.now(one.data_dir).clock
    assert clock.speed == 60
    assert 0 <= clock.now_ms() - one.now_ms < 60 * 10_000


def test_a_site_that_is_not_told_or_wrong_is_none_and_the_facility_is_still_known(hospital):
    one = hospital(units=1)
    for text in ("", "[facility]\nid = 5"):
        with one.store.transaction():
            one.store.set_status("site", {"path": "x", "text": text})
        now = queries.now(one.data_dir)
        assert (now.site, now.facility, now.simulated) == (None, "sim-lakeside", True)


def test_a_unit_s_past_holds_its_events_and_its_ward_s(bad_hour):
    past = queries.unit_past(bad_hour.data_dir, "unit-16", "newborn", bad_hour.now_ms - 60 * MINUTE, bad_hour.now_ms)
    assert [row.condition for row in past.events] == ["ward-supply-lost"]
    assert 200 < len(past.series) <= 900
    other = queries.unit_past(bad_hour.data_dir, "unit-01", "medical", bad_hour.now_ms - 60 * MINUTE, bad_hour.now_ms)
    assert other.events == []


def test_points_have_an_end_and_extremes_are_kept(bad_hour):
    past = queries.unit_past(
        bad_hour.data_dir, "unit-03", "medical", bad_hour.now_ms - 60 * MINUTE, bad_hour.now_ms, 50
    )
    assert len(past.series) <= 50
    assert min(past.series.bands["purity_pct"].min) == pytest.approx(79.7, abs=0.1)


def test_the_journal_has_an_end_and_is_filtered(hospital):
    one = hospital(units=1)
    with one.store.transaction():
        entries = [JournalEntry(at_ms=one.now_ms + n, kind=NOTE, unit="unit-01" if n % 2 else "") for n in range(1200)]
        one.store.append_journal(entries, 1)
    assert len(queries.journal(one.data_dir, limit=10_000)) == queries.JOURNAL_ROWS
    rows = queries.journal(one.data_dir, "unit-01", (NOTE,), one.now_ms + 1000)
    assert [row.at_ms - one.now_ms for row in rows][:2] == [1199, 1197]
    assert queries.journal(one.data_dir, "'; DROP TABLE journal; --") == []
    assert queries.journal(one.data_dir, kinds=(CONDITION,)) == []


def test_health_counts_and_measures(bad_hour):
    health = queries.health(bad_hour.data_dir)
    assert health.extent.units == 23
    assert health.extent.file_bytes + health.wal_bytes > 100_000
    assert health.disk_free_bytes


def test_a_missing_store_says_so(tmp_path):
    with pytest.raises(StoreError, match="Start the collector"):
        queries.now(tmp_path)


def test_five_hundred_units_are_read_at_once(hospital):
    one = hospital(units=500, minutes=1, text=site_text(500, per_ward=25))
    assert len(queries.now(one.data_dir).units) == 500
