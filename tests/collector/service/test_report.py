"""A month's report against counts by hand."""

import pytest

from collector.rules import entries
from collector.service.report import month_report
from collector.service.report_lines import MonthReport
from tests.collector.service.months import LATER, at, data, day_of, done, event, hours, journal, proof, site

WARNING, SHUT_OFF, RED = "shutdown-expected", "purity-shutdown", "purity-red"


def report(rows=(), given=None, **more) -> MonthReport:
    return month_report(data(journal(*rows), given, **more), LATER)


def figure(made, key):
    (found,) = [one for one in made.figures if one.key == key]
    return found


def value(made, key):
    one = figure(made, key)
    return one.value, one.part, one.whole


def test_availability_is_of_the_hours_that_are_known() -> None:
    # Unit a was heard of on all 31 days, and out of service on one; b for ten days; c is in store.
    rows: list = [(at(3), entries.OUT_OF_SERVICE, "a", {}), (at(4), entries.RETURN_TO_SERVICE, "a", {})]
    made = report(rows, {"a": hours(1, 32), "b": hours(1, 11)})
    assert value(made, "availability") == (pytest.approx(100 * 40 / 41, abs=0.01), 40 * 24, 41 * 24)
    by_unit = {unit.unit: unit for unit in made.units}
    assert (by_unit["a"].down_h, by_unit["a"].unknown_h) == (24, 0)
    assert (by_unit["b"].down_h, by_unit["b"].unknown_h, by_unit["b"].in_service_h) == (0, 21 * 24, 31 * 24)
    assert (by_unit["c"].in_service_h, by_unit["c"].availability_pct) == (0, None)
    assert "504 more unknown" in figure(made, "availability").says


def test_energy_is_what_was_measured() -> None:
    made = report((), {"a": hours(1, 3, power_w=300.0), "b": hours(1, 2, power_w=None)})
    assert value(made, "energy_kwh") == (pytest.approx(48 * 0.3), 1, 3)
    assert "7 EUR" in figure(made, "energy_kwh").says  # 14.4 kWh at 0.5


def test_functional_counts_units_in_use_by_their_last_evidence() -> None:
    good, bad = hours(1, 2, purity_pct=93.0, flow_lpm=5.0), hours(1, 2, purity_pct=80.0, flow_lpm=4.6)
    low = hours(1, 2, purity_pct=93.0, flow_lpm=2.0)
    worse, overdrawn = hours(1, 2, purity_pct=80.0, flow_lpm=2.0), hours(1, 2, purity_pct=80.0, flow_lpm=7.0)
    for given, shown in ((good, "yes"), (bad, "no"), (low, "not shown"), (worse, "no"), (overdrawn, "not shown")):
        assert report((), {"a": given}).units[0].functional == shown
    assert report([proof(at(5), "a")], {"a": bad}).units[0].functional == "yes"
    assert report([proof(at(5), "a", "fail")], {"a": good}).units[0].functional == "no"
    assert report([proof(at(5), "a")], {"a": hours(6, 7, purity_pct=80.0, flow_lpm=5.0)}).units[0].functional == "no"
    assert report([proof(at(-5), "a")], {"a": low}).units[0].functional == "not shown"  # a check of September
    failed = [event(at(9), "a", SHUT_OFF)]
    assert report(failed, {"a": good}).units[0].functional == "no"
    assert report([*failed, proof(at(10), "a")], {"a": good}).units[0].functional == "yes"
    assert value(report((), {"a": good}), "functional") == (50.0, 1, 2)  # c is in store


def test_warnings_that_are_over_and_shut_offs_without_one() -> None:
    rows = [
        event(at(2), "a", WARNING), (at(2, 0.2), entries.ACKNOWLEDGE, "a", {}, {"condition": WARNING, "who": "Ada"}),
        event(at(2, 1), "a", WARNING, "cleared"), event(at(3), "b", WARNING), event(at(3, 1), "b", SHUT_OFF),
        event(at(9), "a", SHUT_OFF), event(at(31, 23), "a", WARNING),
    ]  # fmt: skip
    made = report(rows, {"a": hours(1, 32), "b": hours(1, 32)})
    assert value(made, "warnings_acted_on") == (50.0, 1, 2)
    assert "1 shut-offs without a warning" in figure(made, "warnings_acted_on").says
    assert [(line.unit, line.fate, line.lead_min) for line in made.warnings] == [
        ("a", "acted on", None), ("b", "shut off before anybody acted", 60.0),
        ("a", "shut off without a warning", None), ("a", "still stands", None),
    ]  # fmt: skip
    assert made.warnings[0].acted_by == "Ada"
    assert made.short[:2] == (
        "1 unit shut off before anybody acted on the warning: b.", "1 shut-off came without a warning: a."
    )  # fmt: skip
    wards = {ward.ward: ward for ward in made.wards}
    assert (wards["newborn"].acted_on, wards["newborn"].warnings) == (1, 1)
    assert (wards["medical"].acted_on, wards["medical"].warnings) == (0, 1)


def test_alarms_are_counted_by_ward_and_day_and_answers_from_raised_to_acknowledged() -> None:
    rows = [
        event(at(2), "a", "purity-amber"), (at(2, 0.1), entries.ACKNOWLEDGE, "a", {}, {"condition": "purity-amber"}),
        event(at(2, 1), "a", "purity-amber", "cleared"), event(at(2, 2), "a", RED, priority="high"),
        event(at(5), "b", "flow-above-rated", priority="low"),
    ]  # fmt: skip
    made = report(rows, {"a": hours(1, 11), "b": hours(1, 11)})
    assert value(made, "alarms_a_ward_and_day") == (0.15, 3, 20)  # two wards, ten days with readings
    assert "at most 2 in one" in figure(made, "alarms_a_ward_and_day").says
    assert value(made, "answered_min") == (6.0, 1, 2)
    day = next(day for day in made.days if day.day == day_of(2))
    assert (day.low, day.medium, day.high, day.heard) == (0, 1, 1, 2)
    assert (day.running_h, day.adequate_h) == (48, 48)


def test_maintenance_and_parts() -> None:
    rows = [done(at(-5), "a"), done(at(5), "a", filter=1), done(at(15), "a", filter=2), done(at(25), "a"),
            (at(8), entries.PART_MOVED, "a", {"part": "filter", "by": 5, "why": "received"})]  # fmt: skip
    made = report(rows, {"a": hours(1, 32)})
    on_time = figure(made, "maintenance_on_time")
    assert (on_time.part, sum(task.unit == "a" and task.outcome == "on time" for task in made.tasks)) == (3, 3)
    assert on_time.met is False  # b was never looked after
    (part,) = made.parts
    assert (part.used, part.received, part.used_cost, part.stock) == (3, 5, 12.0, 3)


def test_what_needs_a_decision() -> None:
    rows = [proof(at(3), "b", "fail"), (at(10), entries.OUT_OF_SERVICE, "b", {})]
    said = [need.what for need in report(rows, {"a": hours(1, 32)}).needs]
    assert {"Decide about b", "Repair or replace b"} <= set(said)
    stale = site().model_copy(update={"analysers": (site().analysers[0].model_copy(update={"calibrated": None}),)})
    assert any(need.what == "Calibrate ref" for need in report((), {}, at_site=stale).needs)


def test_failures_and_repairs() -> None:
    rows = [
        event(at(3), "b", RED), (at(3, 0.5), entries.OUT_OF_SERVICE, "b", {}), event(at(3, 1), "b", RED, "cleared"),
        (at(3, 6), entries.RETURN_TO_SERVICE, "b", {}),
    ]  # fmt: skip
    whole, model = report(rows, {"a": hours(1, 32), "b": hours(1, 32)}).failures
    assert (whole.of, model.of, whole.failures, whole.still_down) == ("all units", "model five", 1, 0)
    assert (whole.answered_median_min, whole.repaired, whole.repair_median_h) == (30, 1, 6)
    (ward,) = report(rows, {"b": hours(1, 32)}, ward="newborn").failures
    assert (ward.of, ward.failures, ward.mtbf_h) == ("Newborn", 0, None)


def test_a_ward_has_a_report_of_its_own() -> None:
    rows = [event(at(3), "b", WARNING), event(at(4), "a", WARNING), done(at(-5), "a"), done(at(-5), "b")]
    made = report(rows, {"a": hours(1, 32), "b": hours(1, 11)}, ward="newborn")
    assert [unit.unit for unit in made.units] == ["a"]
    assert {line.unit for line in made.warnings} | {line.unit for line in made.tasks} == {"a"}
    assert [ward.ward for ward in made.wards] == ["newborn"]
    assert value(made, "availability") == (100.0, 31 * 24, 31 * 24)


def test_a_month_without_data_says_so_and_shows_no_figure_as_good() -> None:
    made = report()
    assert [one.key for one in made.figures if one.value is not None] == []
    assert {one.met for one in made.figures} == {None}
    assert made.short[0].startswith("No readings of this month are on record")
    assert "Readings are on record for 0 of 31 days." in made.gaps


def test_a_month_that_lasts_says_so() -> None:
    made = report((), {"a": hours(1, 3)}, now_ms=at(3))
    assert any("not over" in gap for gap in made.gaps)
    assert value(made, "availability") == (100.0, 48, 48)


def test_what_happens_later_does_not_change_a_month() -> None:
    early = [event(at(3), "b", WARNING), done(at(5), "a")]
    late = [event(at(40), "b", SHUT_OFF), done(at(39), "b"), (at(38), entries.OUT_OF_SERVICE, "a", {})]
    given = {"a": hours(1, 32)}
    assert report([*early, *late], given) == report(early, given)
