"""Times, episodes, charts, tables and the command line: pure parts."""

from zoneinfo import ZoneInfo

import pytest

from collector.rules.alarms import Alarm
from collector.rules.entries import ACKNOWLEDGE, CONDITION, JournalRow
from collector.service.gate import Gate
from collector.site import parse_site
from dashboard import actions, queries
from dashboard.actions import Person, Refused
from dashboard.charts import POWER, PURITY, domain_of, local_times, series_frame
from dashboard.episodes import episodes
from dashboard.figures import details, excerpt, size_text
from dashboard.launch import APP, DATA_ENV, PROXY_ENV, command
from dashboard.tables import condition_rows, limit_rows, ward_rows
from dashboard.times import DAY, HOUR, MINUTE, age_text, lasted_text, moment_text

NOW = 1_790_000_000_000  # 2026-09-21 14:13:20 UTC
NAIROBI = ZoneInfo("Africa/Nairobi")


@pytest.mark.parametrize(
    ("ms", "text"),
    [(-5, "0 s"), (0, "0 s"), (59_999, "59 s"), (MINUTE, "1 min"), (59 * MINUTE, "59 min"), (HOUR, "1 h"),
     (47 * HOUR, "47 h"), (2 * DAY, "2 days")],
)  # fmt: skip
def test_ages(ms, text):
    assert age_text(ms) == text


@pytest.mark.parametrize(
    ("back_ms", "text"),
    [(0, "17:13"), (18 * HOUR, "20 Sep 23:13"), (365 * DAY, "21 Sep 2025 17:13")],
)
def test_moments_in_the_facility_s_zone(back_ms, text):
    assert moment_text(NOW - back_ms, NOW, NAIROBI) == text


def test_durations():
    assert [lasted_text(ms) for ms in (5_000, 65 * MINUTE, 50 * HOUR)] == ["5 s", "1 h 05 min", "2 d 2 h"]


def event(seq, what, condition="purity-red", unit="u1", at=0, **fields):
    return JournalRow(seq=seq, recorded_ms=0, at_ms=at, kind=CONDITION, unit=unit, ward="east", condition=condition,
                      body={"event": what, "priority": "high"}, **fields)  # fmt: skip


def test_an_episode_runs_from_raised_to_cleared_with_who_acknowledged():
    ack = JournalRow(seq=2, recorded_ms=0, at_ms=20, kind=ACKNOWLEDGE, unit="u1", ward="east", condition="purity-red",
                     who="N. Example", role="ward")  # fmt: skip
    found = episodes([event(4, "raised", at=90), event(3, "cleared", at=60), ack, event(1, "raised", at=10)])
    assert [(one.raised_ms, one.cleared_ms, one.lasted_ms, one.acknowledged) for one in found] == [
        (90, None, None, ""), (10, 60, 50, "N. Example (ward)"),
    ]  # fmt: skip


def test_an_episode_whose_beginning_is_not_among_the_rows_is_kept():
    found = episodes([event(8, "cleared", at=60)])
    assert [(one.raised_ms, one.cleared_ms) for one in found] == [(None, 60)]


def test_a_unit_that_moved_wards_has_one_episode():
    moved = JournalRow(seq=2, recorded_ms=0, at_ms=9, kind=CONDITION, unit="u1", ward="west", condition="purity-red",
                       body={"event": "cleared"})  # fmt: skip
    assert len(episodes([event(1, "raised"), moved])) == 1


# -- charts -------------------------------------------------------------------------------------------------------


def past_of(one, unit="unit-15", ward="children"):
    return queries.unit_past(one.data_dir, unit, ward, one.now_ms - HOUR, one.now_ms)


def test_no_line_is_drawn_across_a_gap(hospital):
    one = hospital(lambda unit, minute: None if 10 < minute < 20 else {"purity_pct": 93.0}, units=1)
    table = series_frame(past_of(one, "unit-01", "medical").series, NAIROBI)
    broken = table[table["purity_pct"].isna()]
    assert len(broken) == 1
    assert table["time"].is_monotonic_increasing


def test_a_quantity_that_is_not_measured_gives_no_points(bad_hour):
    table = series_frame(past_of(bad_hour, "unit-23", "maternity").series, NAIROBI)
    assert table["purity_pct"].isna().all()
    assert table["flow_lpm"].notna().all()


def test_an_axis_holds_limits_and_values_and_ends_in_whole_steps(bad_hour):
    table = series_frame(past_of(bad_hour, "unit-03", "medical").series, NAIROBI)
    low, high = domain_of(table, PURITY, (), fine=True)
    assert low <= float(table["purity_pct_low"].min())
    assert (low % PURITY.step, high) == (0, 98)
    assert domain_of(table.head(0), POWER, (), fine=True) == [0.0, 150]


def test_chart_times_are_the_facility_s_wall_clock():
    assert str(local_times([NOW], NAIROBI)[0]) == "2026-09-21 17:13:20+00:00"


# -- tables -------------------------------------------------------------------------------------------------------


def test_payloads_are_made_printable():
    assert excerpt(b"ok\x00\n\xff") == r"ok\x00\x0a\xff"
    assert len(excerpt(b"a" * 500)) == 121


def test_details_begin_with_what_happened():
    evidence = {"purity_pct": 81.0000001, "units": ["u1", "u2"], "bridge": "", "held": True}
    body = {"action": "Do.", "event": "raised", "unit": "u1", "evidence": evidence}
    assert details(body) == "event: raised; evidence: purity_pct 81, units u1, u2, held true; action: Do."


def test_sizes():
    assert [size_text(n) for n in (None, 999, 1_500, 2_000_000, 3_100_000_000)] == [
        "–",
        "999 B",
        "1.5 kB",
        "2.0 MB",
        "3.1 GB",
    ]


def test_limits_say_which_are_the_site_file_s():
    site = parse_site('[facility]\nid="x"\n[[model]]\nid="m"\namber_pct=86\n[[unit]]\nid="u"\n[[ward]]\nid="w"\n')
    assert [(row["Model"], row["Amber, %"], row["Red, %"]) for row in limit_rows(site)] == [
        ("m", "86 *", "82"), ("default", "85", "82"),
    ]  # fmt: skip
    assert [row["Flow limit, L/min"] for row in ward_rows(site)] == ["none", "none"]
    assert {row["Priority"] for row in condition_rows()} == {"high", "medium", "low"}


# -- actions and command ------------------------------------------------------------------------------------------

ALARM = Alarm(unit="u1", ward="east", condition="purity-red", event_seq=7)
SOMEBODY = Person(" N.  Example ", "engineer")


def test_an_action_carries_who_and_which_event_was_seen():
    entry = actions.acknowledge(ALARM, SOMEBODY, NOW)
    assert (entry.who, entry.role, entry.origin, entry.body) == (
        "N. Example",
        "engineer",
        "dashboard",
        {"event_seq": 7},
    )


@pytest.mark.parametrize("minutes", [0, -15, 721, 10**9])
def test_nothing_is_put_aside_without_a_listed_end(minutes):
    with pytest.raises(ValueError, match="is none of"):
        actions.shelve(ALARM, SOMEBODY, NOW, minutes, "why")


@pytest.mark.parametrize("role", ["ward", "planner"])
def test_taking_out_is_for_engineers_and_administrators(role):
    somebody = Person("N. Example", role)
    with pytest.raises(Refused, match="engineer"):
        actions.take_out("u1", "east", somebody, NOW, "why")
    for gate in (Gate(True, None), Gate(False, None, "no check", "Check.")):
        with pytest.raises(Refused, match="engineer"):
            actions.put_back("u1", "east", somebody, NOW, "why", gate, override=True)


def test_the_command_serves_this_machine_only_and_tells_nobody(tmp_path):
    argv, env = command(tmp_path, 8123)
    assert argv[1:5] == ["-m", "streamlit", "run", str(APP)]
    assert {"--server.port=8123", "--server.address=127.0.0.1", "--browser.gatherUsageStats=false",
            "--client.toolbarMode=minimal", "--runner.postScriptGC=false"} <= set(argv)  # fmt: skip
    assert env[DATA_ENV] == str(tmp_path)
    assert env[PROXY_ENV] == "", "unset, Uvicorn would believe anybody on this machine about addresses"
