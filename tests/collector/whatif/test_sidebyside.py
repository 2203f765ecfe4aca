"""Two runs of one past: what differs is told, what does not is not, and the counts are those of runs by themselves."""

from collections.abc import Iterable
from dataclasses import dataclass

import pytest

from collector.reading import Reading, iso_utc, parse_utc
from collector.replay import Replay
from collector.rules.limits import LIMITS
from collector.site import Site, parse_site
from collector.whatif.changes import Tried, parse_changes
from collector.whatif.sidebyside import SideBySide
from collector.whatif.tally import Comparison, ConditionRow, Difference
from simulator import HOSPITAL
from simulator.fleet import Fleet
from simulator.scenario import load_scenario as load_story
from tests.scenario_files import START_MS, load_scenario, names, scenario_site
from tests.simulator.fleets import HOUR, T0, exact, fault

MINUTE = 60_000
SITE = scenario_site()


@dataclass
class Past:
    """What came of one comparison."""

    differences: list[Difference]
    result: Comparison

    def row(self, condition: str) -> ConditionRow:
        return next(row for row in self.result.conditions if row.condition == condition)

    def of(self, condition: str) -> list[tuple[str, str, float | None]]:
        return [(d.unit, d.kind, d.later_s) for d in self.differences if d.condition == condition]


def compare(readings: Iterable[Reading], changes: str, site: Site = SITE, window_min: int = 60) -> Past:
    runs = SideBySide(site, parse_changes(changes, site), window_ms=window_min * MINUTE)
    return Past(list(runs.differences(readings)), runs.result())


def flat(unit: str, minutes: int, purity: float, from_min: int = 0) -> list[Reading]:
    """A unit that gives one purity at 4 L/min, every 10 s."""
    start, end = START_MS + from_min * MINUTE, START_MS + (from_min + minutes) * MINUTE
    return [Reading(unit, at, purity, 4.0, 340.0, volts=230.0) for at in range(start, end, 10_000)]


def dip(purity: float, minutes: int, at_min: int = 30) -> list[Reading]:
    """Good, low for some minutes, good again for half an hour."""
    low = flat("m1", minutes, purity, at_min)
    return flat("m1", at_min, 93.0) + low + flat("m1", 30, 93.0, at_min + minutes)


@pytest.mark.parametrize("name", names())
def test_no_change_is_no_difference(name: str) -> None:
    past = compare(load_scenario(name).readings, "")
    assert past.differences == []
    assert past.result.today == past.result.changed
    assert all(row.today == row.changed and row.same == row.today.raised for row in past.result.conditions)


def test_a_higher_limit_tells_earlier_and_a_longer_delay_later() -> None:
    readings = load_scenario("falls-and-shuts-off").readings
    past = compare(readings, "[model.five]\namber_pct = 87\n[limits]\nred = { on_min = 2 }\n")
    ((unit, kind, amber_s),) = past.of("purity-amber")
    assert (unit, kind) == ("m1", "earlier")
    assert amber_s is not None
    assert amber_s < -60
    assert past.of("purity-red") == [("m1", "later", 90.0)]
    assert past.row("purity-amber").earlier_by is not None
    assert past.result.changed.shutdowns == past.result.today.shutdowns == 1


def test_a_change_that_raises_what_was_not_raised_is_new_and_the_other_way_round_gone() -> None:
    readings = dip(86.0, 10)
    assert compare(readings, "[model.five]\namber_pct = 87").of("purity-amber") == [("m1", "new", None)]
    site = parse_changes("[model.five]\namber_pct = 87", SITE).site
    assert compare(readings, "[model.five]\namber_pct = 85", site).of("purity-amber") == [("m1", "gone", None)]


def test_two_alarms_that_become_one_are_merged_and_not_lost() -> None:
    second = flat("m1", 5, 93.0, 70) + flat("m1", 10, 84.0, 75) + flat("m1", 30, 93.0, 85)
    past = compare(dip(84.0, 10) + second, "[limits]\namber = { off_h = 2 }\n")
    assert past.of("purity-amber") == [("m1", "joined", None)]
    row = past.row("purity-amber")
    assert (row.today.raised, row.changed.raised, row.same, row.joined, row.gone) == (2, 1, 1, 1, 0)


def test_a_fall_told_hours_earlier_is_the_same_alarm() -> None:
    readings = flat("m1", 30, 93.0) + flat("m1", 600, 86.0, 30) + flat("m1", 60, 84.0, 630)
    past = compare(readings, "[model.five]\namber_pct = 87")
    assert past.of("purity-amber") == [("m1", "earlier", -600.0 * 60)]
    assert past.row("purity-amber").changed.hours - past.row("purity-amber").today.hours == pytest.approx(10, abs=0.01)


def test_alarms_further_apart_than_the_window_are_others() -> None:
    """A dip that only the change tells of, and one an hour and a half later that only today's delay lets through."""
    readings = dip(86.0, 10) + flat("m1", 60, 93.0, 70) + flat("m1", 10, 84.0, 130) + flat("m1", 30, 93.0, 140)
    changes = "[model.five]\namber_pct = 87\n[limits]\namber = { on_min = 5 }\n"
    past = compare(readings, changes, window_min=60)
    assert [(kind, later) for _, kind, later in past.of("purity-amber")] == [("new", None), ("later", 240.0)]
    dips = dip(84.0, 3) + flat("m1", 60, 93.0, 63) + flat("m1", 6, 86.0, 123) + flat("m1", 30, 93.0, 129)
    assert [kind for _, kind, _ in compare(dips, changes, window_min=60).of("purity-amber")] == ["gone", "new"]
    assert [kind for _, kind, _ in compare(dips, changes, window_min=120).of("purity-amber")] == ["later"]


def test_the_ward_lead_before_a_shut_off() -> None:
    past = compare(load_scenario("falls-and-shuts-off").readings, "[model.five]\namber_pct = 90")
    today, changed = past.result.today.lead, past.result.changed.lead
    assert today is not None
    assert changed is not None
    assert 0 < today.median_min < changed.median_min
    assert (past.result.today.warned, past.result.changed.warned) == (1, 1)


def by_itself(readings: list[Reading], tried: Tried) -> dict[str, int]:
    run = Replay(tried.site, tried.limits)
    for _ in run.events(readings):
        pass
    return run.summary.raised


@pytest.mark.slow
def test_the_counts_of_a_simulated_night_are_those_of_each_run_by_itself() -> None:
    site = load_hospital()
    story = Fleet(site, load_story("night", site), 7, T0)
    readings = list(story.readings(T0, T0 + 5 * HOUR))
    changes = "[model.bedside-5]\namber_pct = 90\nred_pct = 88\n[ward.medical]\nchangeover_min = 40\n"
    changes += "[limits]\nabsent_min = 6\namber = { on_s = 0, off_s = 0 }\npurity_deadband_pct = 0\n"
    past = compare(readings, changes, site)
    tried = parse_changes(changes, site)
    today, changed = by_itself(readings, Tried(site, LIMITS, ())), by_itself(readings, tried)
    rows = past.result.conditions
    assert {row.condition: row.today.raised for row in rows if row.today.raised} == today
    assert {row.condition: row.changed.raised for row in rows if row.changed.raised} == changed
    for row in rows:
        both = row.same + row.earlier + row.later + row.priority
        assert row.today.raised == both + row.gone + row.joined
        assert row.changed.raised == both + row.new + row.split
    counted = sum(row.today.raised + row.changed.raised - 2 * row.same for row in rows)
    assert counted > 4, "the night must differ"
    assert len(past.differences) == sum(
        getattr(row, kind)
        for row in rows
        for kind in ("earlier", "later", "priority", "new", "gone", "split", "joined")
    )


def load_hospital() -> Site:
    return parse_site(HOSPITAL.read_text(encoding="utf-8"))


def test_a_real_fall_of_the_simulator() -> None:
    story = exact(fault("sieve-worn", "1h", rise="3h", size=0.9))
    site = parse_site(SITE_OF_FLEETS)
    readings = list(story.readings(T0, T0 + 4 * HOUR))
    past = compare(readings, "[model.five]\namber_pct = 88\n", site)
    assert past.row("purity-amber").earlier == 1
    (difference,) = (d for d in past.differences if d.condition == "purity-amber")
    assert difference.today is not None
    assert difference.changed is not None
    apart_s = (parse_utc(difference.changed) - parse_utc(difference.today)) / 1000
    assert apart_s == difference.later_s


SITE_OF_FLEETS = """
[facility]
id = "sim-test"
[[ward]]
id = "a"
[[model]]
id = "five"
[[unit]]
id = "u1"
model = "five"
ward = "a"
"""


def test_an_empty_past() -> None:
    past = compare([], "[model.five]\namber_pct = 86")
    assert (past.differences, past.result.conditions, past.result.first, past.result.units) == ([], [], None, 0)
    assert past.result.today.ward_alerts_per_unit_month is None


def test_readings_of_units_that_the_site_does_not_have_are_counted() -> None:
    past = compare([Reading("stranger", START_MS, 93.0), *flat("m1", 5, 93.0)], "")
    assert (past.result.unknown_units, past.result.units, past.result.readings) == (1, 1, 30)
    assert past.result.first == iso_utc(START_MS)


def test_five_hundred_units() -> None:
    units = "".join(f'[[unit]]\nid = "u{n}"\nward = "w{n % 20}"\nmodel = "five"\n' for n in range(500))
    wards = "".join(f'[[ward]]\nid = "w{n}"\n' for n in range(20))
    site = parse_site(f'[facility]\nid = "sim-many"\n[[model]]\nid = "five"\n{wards}{units}')
    values = [93.0] * 3 + [84.0] * 9
    readings = [Reading(f"u{n}", START_MS + step * 30_000 + n, purity, 4.0, 340.0)
                for step, purity in enumerate(values) for n in range(500)]  # fmt: skip
    past = compare(readings, "[limits]\namber = { on_min = 2 }\n", site)
    row = past.row("purity-amber")
    assert (row.today.raised, row.changed.raised, row.later) == (500, 500, 500)
    assert (past.result.units, len(past.differences), len(past.result.differences)) == (500, 500, 20)


def test_a_ward_alert_rate_counts_units_of_thirty_days() -> None:
    past = compare(dip(84.0, 10), "[model.five]\namber_pct = 80\nred_pct = 75\n")
    months = past.result.unit_months
    assert months == pytest.approx(70 / 60 / 24 / 30, rel=0.01)
    assert past.result.today.ward_alerts_per_unit_month == pytest.approx(
        past.result.today.ward_alerts / months, rel=0.1
    )


def test_a_long_past_is_not_kept() -> None:
    """A year of one unit, a reading an hour: what nobody takes is forgotten, and every silence is settled."""
    readings = (Reading("m1", START_MS + hour * HOUR, 93.0, 4.0, 340.0) for hour in range(24 * 365))
    runs = SideBySide(SITE, parse_changes("[limits]\nabsent_min = 3\n", SITE))
    differences = sum(1 for _ in runs.differences(readings))
    engine = runs.runs[0].replay.engine
    assert differences >= 24 * 364
    assert len(engine.take_notes()) < 60, "a note a day"
    assert len(runs._due) < 50
