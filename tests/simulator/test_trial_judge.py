"""How the trial judges: spells, baselines, truth, intervals and figures, on stories whose truth is plain."""

import sys
from types import ModuleType

import msgspec
import numpy as np
import pytest
from scipy import stats

from collector.rules.capacity.now import CapacityNow, Outlook
from collector.rules.events import Quantiles
from simulator.trial import baselines, coverage
from simulator.trial.burden import burden_of
from simulator.trial.coverage import COVERED, EARLY, LATE, UNDECIDED, Checked
from simulator.trial.judge import LAMP, PRODUCT, WAYS, Judged, Mark, Way, judge
from simulator.trial.measures import figures_of
from simulator.trial.spells import Spell, in_force, joined, spells_of
from simulator.trial.targets import targets_of
from simulator.trial.trial import run_trial, tasks
from simulator.trial.truth import is_nuisance, truth_of
from tests.simulator.trial_tales import HOUR, MINUTE, T0, ramp, tale

#: Stands at 94 % for 6 h, loses 4 % an hour, amber (85 %) at 8.25 h, red (82 %) at 9 h, off at 12 h.
WET = tale(12.5, ramp(6.0, 4.0), onset_h=6.0, off_h=12.0)


def flags(text: str) -> tuple[np.ndarray, np.ndarray]:
    """Readings a minute apart: "x" is bad."""
    return np.arange(len(text)) * MINUTE, np.array([letter == "x" for letter in text])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("......", []),
        (".x.x.x", []),
        (".xxx..", [(3, None)]),
        (".xxx...", [(3, 6)]),
        ("xxx.xxx.xxx", [(2, None)]),
        (".xxxx...xxx", [(3, 7), (10, None)]),
        ("", []),
    ],
)
def test_an_alert_needs_its_delay_to_come_and_to_go(text: str, expected: list) -> None:
    spells = spells_of(*flags(text), 2 * MINUTE, 2 * MINUTE)
    assert [(s.from_ms // MINUTE, s.to_ms and s.to_ms // MINUTE) for s in spells] == expected


def test_spells_with_a_short_pause_are_one() -> None:
    spells = [Spell(55, 60), Spell(0, 10), Spell(5, 20), Spell(90, None), Spell(95, 99)]
    assert joined(spells, pause_ms=30) == [Spell(0, 20), Spell(55, None)]


@pytest.mark.parametrize(
    ("spells", "expected_min"),
    [
        ([], None),
        ([Spell(60 * MINUTE)], 60),
        ([Spell(100 * MINUTE)], None),  # at the moment itself is not before it
        ([Spell(10 * MINUTE, 60 * MINUTE)], None),  # over for 40 minutes
        ([Spell(10 * MINUTE, 75 * MINUTE)], 30),  # over for 25; from before the onset: counts from then
        ([Spell(40 * MINUTE, 50 * MINUTE), Spell(60 * MINUTE)], 40),
    ],
)
def test_the_alert_in_force_at_a_shutdown(spells: list[Spell], expected_min: int | None) -> None:
    found = in_force(spells, at_ms=100 * MINUTE, not_before_ms=30 * MINUTE)
    assert found == (None if expected_min is None else expected_min * MINUTE)


def at_h(spell: Spell) -> float:
    return (spell.from_ms - T0) / HOUR


def test_the_lamp_comes_on_a_minute_after_its_limit() -> None:
    seen = baselines.seen_by_unit(WET)
    assert at_h(baselines.lamp(seen, 85.0)[0]) == pytest.approx(8.25 + 2 / 60, abs=0.001)
    assert at_h(baselines.lamp(seen, 82.0)[0]) == pytest.approx(9.0 + 2 / 60, abs=0.001)


def test_the_line_looks_an_hour_ahead_of_red_and_is_calm_on_a_plateau() -> None:
    (spell,) = baselines.straight_line(baselines.seen_by_unit(WET), 82.0, 60.0)
    assert at_h(spell) == pytest.approx(8.0, abs=0.1)
    noise = np.random.default_rng(1).normal(0, 0.3, 24 * 60)
    calm = tale(24.0, lambda at: 94.0 + noise)
    assert baselines.straight_line(baselines.seen_by_unit(calm), 82.0, 60.0) == []


def test_one_wild_reading_does_not_bend_the_line() -> None:
    calm = tale(8.0, ramp(99.0, 0.0))
    calm.measured["purity_pct"][300] = 20.0
    assert baselines.straight_line(baselines.seen_by_unit(calm), 82.0, 60.0) == []


def test_the_line_is_least_squares() -> None:
    """Slope and its t value as scipy.stats.linregress has them, over the last two hours of one run."""
    rng = np.random.default_rng(2)
    story = tale(5.0, lambda at: 94.0 - at + rng.normal(0, 0.4, len(at)))
    seen = baselines.seen_by_unit(story)
    slope, t_value, level = baselines._fits(seen, seen.purity_pct)
    last = seen.time_ms >= seen.time_ms[-1] - baselines.WINDOW_MS
    hours = (seen.time_ms[last] - seen.time_ms[-1]) / HOUR
    fit = stats.linregress(hours, seen.purity_pct[last])
    assert slope[-1] == pytest.approx(fit.slope, rel=1e-9)
    assert t_value[-1] == pytest.approx(fit.slope / fit.stderr, rel=1e-9)
    assert level[-1] == pytest.approx(fit.intercept, rel=1e-9)


def test_what_is_true_of_a_fall() -> None:
    truth = truth_of(WET)
    assert truth.plateau_pct == pytest.approx(94.0)
    assert truth.visible_ms == T0 + 6 * HOUR + 16 * MINUTE + 10 * MINUTE  # under 93 % at the reading 16 min after
    assert truth.visible_first_ms == truth.visible_ms
    assert truth.amber_ms == T0 + 8 * HOUR + 16 * MINUTE
    assert truth.fast_ms is None


def test_a_unit_that_stood_low_while_well_has_lost_nothing_yet() -> None:
    """It gives 96 % and more at an easy flow, and 90 % where it is used; and nothing is visible before the onset."""
    low = tale(12.5, ramp(6.0, 4.0, plateau_pct=90.0), onset_h=8.0, off_h=11.0, at_lpm=5.0)
    truth = truth_of(low)
    assert truth.plateau_pct == pytest.approx(90.0)
    assert truth.visible_ms == T0 + 8 * HOUR


def test_a_fall_through_amber_within_a_minute_is_fast() -> None:
    quick = tale(2.5, ramp(1.99, 360.0), onset_h=1.9, off_h=2.1, step_s=10)
    assert truth_of(quick).fast_ms == T0 + 2 * HOUR + 60_000
    slower = tale(2.5, ramp(1.99, 90.0), onset_h=1.9, off_h=2.3, step_s=10)
    assert truth_of(slower).fast_ms is None


@pytest.mark.parametrize(
    ("hour", "nuisance"), [(1.0, True), (2.0, True), (2.3, False), (7.0, False), (11.0, False), (12.2, True)]
)
def test_an_alert_is_a_nuisance_when_nothing_comes_of_it(hour: float, nuisance: bool) -> None:
    """Purity dips to 84 % from 8.25 h to 10 h and comes back; nothing shuts off."""
    dip = tale(24.0, lambda at: np.where((at >= 8.25) & (at < 12.0), 84.0, 94.0))
    assert is_nuisance(dip, truth_of(dip), T0 + round(hour * HOUR)) is nuisance


def test_a_shutdown_within_a_day_makes_an_alert_right() -> None:
    sudden = tale(40.0, ramp(99.0, 0.0), onset_h=38.0, off_h=39.0)
    truth = truth_of(sudden)
    assert is_nuisance(sudden, truth, T0 + 14 * HOUR)
    assert not is_nuisance(sudden, truth, T0 + 16 * HOUR)


@pytest.mark.parametrize(
    ("p05", "p95", "truth", "until", "verdict"),
    [
        (10.0, 30.0, 20.0, 100.0, COVERED),
        (10.0, 30.0, 9.5, 100.0, COVERED),  # a reading apart
        (10.0, 30.0, 8.0, 100.0, EARLY),
        (10.0, 30.0, 32.0, 100.0, LATE),
        (10.0, None, 5000.0, 9000.0, COVERED),
        (None, None, 20.0, 100.0, EARLY),
        (10.0, 30.0, None, 100.0, LATE),
        (10.0, 300.0, None, 100.0, UNDECIDED),
        (10.0, None, None, 100.0, COVERED),
        (200.0, None, None, 100.0, UNDECIDED),
    ],
)
def test_where_the_truth_lies(
    p05: float | None, p95: float | None, truth: float | None, until: float, verdict: str
) -> None:
    assert coverage.judge(p05, p95, truth, until, slack=1.0) == verdict


def quantiles(p05: float | None, p50: float | None, p95: float | None) -> Quantiles:
    return {"p05": p05, "p50": p50, "p95": p95}


def snapshot(at: float, amber: Quantiles, red: Quantiles, off: Quantiles, flow_lpm: float = 4.0) -> CapacityNow:
    outlook = Outlook(flow_lpm=flow_lpm, amber_in_min=amber, red_in_min=red, shutdown_in_min=off)
    return CapacityNow(
        at_ms=T0 + round(at * HOUR), p05_lpm=7.0, p50_lpm=8.0, p95_lpm=9.0, seen=at < 6.5, outlook=outlook
    )


def test_forecasts_are_compared_with_what_the_health_gives_at_their_own_flow() -> None:
    never = quantiles(None, None, None)
    taken = snapshot(7.0, quantiles(60.0, 75.0, 90.0), quantiles(125.0, 130.0, 140.0), never)
    turned_up = snapshot(7.0, quantiles(40.0, 50.0, 60.0), never, never, flow_lpm=5.0)
    found = coverage.check(WET, [taken, turned_up])
    assert [(c.of, c.truth, c.verdict) for c in found] == [
        ("amber", 76.0, COVERED), ("red", 121.0, EARLY), ("amber", 46.0, COVERED),
    ]  # fmt: skip


def test_the_capacity_is_the_flow_at_the_amber_limit() -> None:
    never = quantiles(None, None, None)
    (checked,) = coverage.check(WET, [snapshot(1.0, never, never, never)])
    assert (checked.of, checked.verdict) == ("capacity", COVERED)
    assert checked.truth == pytest.approx(8.5)  # 94 % at 4 L/min, 2 % less for each further L/min


def test_where_the_end_was_fixed_only_whole_intervals_are_judged() -> None:
    calm = tale(24.0, ramp(99.0, 0.0))
    short = quantiles(60.0, 90.0, 120.0)
    long = quantiles(60.0, 90.0, 24 * 60.0)
    open_ended = quantiles(60.0, 90.0, None)
    found = coverage.check(calm, [snapshot(7.0, short, long, open_ended)])
    assert [c.verdict for c in found] == [LATE, UNDECIDED, COVERED]


def test_what_was_passed_and_said_to_be_is_no_forecast() -> None:
    zero = quantiles(0.0, 0.0, 0.0)
    wrong = quantiles(5.0, 6.0, 7.0)
    found = coverage.check(WET, [snapshot(11.0, zero, wrong, quantiles(50.0, 60.0, 65.0))])
    assert [(c.of, c.verdict) for c in found] == [("red", EARLY), ("shutdown", COVERED)]


def test_a_story_judged_by_the_rules_and_the_lamp() -> None:
    judged = judge(WET)
    lamp = judged.ways[LAMP]
    assert lamp.lead_min == pytest.approx((12 - 8.25) * 60 - 2, abs=0.1)
    assert (lamp.alerts, lamp.nuisance, lamp.nuisance_after) == (1, 0, 0)
    product = judged.ways[PRODUCT]
    assert (product.lead_min or 0.0) >= (lamp.lead_min or 0.0)
    assert judged.readings == len(WET.time_ms)
    assert {mark.condition for mark in judged.marks} >= {"purity-amber", "purity-red", "purity-shutdown"}


WAY = Way(lead_min=None, first_min=None, fast_readings=None, alerts=0, nuisance=0, nuisance_after=0)
CALM = Judged(
    number=0, name="calm-0", kind="calm", benign=True, seed=0, readings=100, days=15.0, healthy_days=15.0,
    shutdown=False, blind=False, fall_h=None, visible_min=None, visible_first_min=None, fast=False, slow=False,
    foreseen_h=None, other_lead_min=None, right_had_flow_stayed=0, cause="unknown",
    ways=dict.fromkeys(WAYS, WAY), checked=[], marks=[],
)  # fmt: skip


def fallen(lead: float | None, lamp: float | None, **changes: object) -> Judged:
    """A wet sieve that shut off, with the product's lead and the lamp's."""
    ways = dict.fromkeys(WAYS, WAY) | {
        PRODUCT: msgspec.structs.replace(WAY, lead_min=lead, first_min=lead),
        LAMP: msgspec.structs.replace(WAY, lead_min=lamp, first_min=lamp),
    }
    wet = msgspec.structs.replace(CALM, kind="sieve-wet", benign=False, shutdown=True, ways=ways)
    return msgspec.structs.replace(wet, **changes)


def met(stories: list[Judged]) -> dict[str, bool | None]:
    return {target.name: target.met for target in targets_of(figures_of(stories, 1))}


def test_a_shutdown_that_nobody_was_told_of_misses_the_first_target() -> None:
    name = "Shutdowns without a ward alert before"
    assert met([fallen(40.0, 10.0)])[name] is True
    assert met([fallen(40.0, 10.0), fallen(None, 10.0)])[name] is False
    assert met([fallen(None, 10.0, blind=True)])[name] is True  # no readings came, and the ward knew
    assert met([CALM])[name] is None


def test_leads_are_compared_by_their_medians_and_a_missed_one_counts_as_none() -> None:
    figures = figures_of([fallen(40.0, 10.0), fallen(30.0, 20.0), fallen(None, 15.0)], 1)
    mine, lamps = (
        next(row for row in figures.leads if (row.cause, row.way) == ("all", way)) for way in (PRODUCT, LAMP)
    )
    assert (mine.p50, mine.missed, mine.least, lamps.p50, mine.of_lamp) == (30.0, 1, 0.0, 15.0, 2.0)


def test_visible_losses_count_from_an_hour_on() -> None:
    stories = [
        fallen(90.0, 20.0, visible_min=100.0),
        fallen(20.0, 20.0, visible_min=80.0),
        fallen(5.0, 5.0, visible_min=30.0),
    ]
    mine = figures_of(stories, 1).visible[0]
    assert (mine.stories, mine.half_hour_share) == (2, 0.5)
    assert mine.used_p50 == pytest.approx((0.9 + 0.25) / 2)
    assert met(stories)["Visible an hour before: 30 min lead"] is False


def test_nuisance_is_per_unit_month_and_a_wrong_sensor_has_its_own_line() -> None:
    one = dict.fromkeys(WAYS, msgspec.structs.replace(WAY, nuisance=3, nuisance_after=1))
    wrong = msgspec.structs.replace(CALM, kind="sensor-fault", benign=False, ways=one, healthy_days=5.0)
    mine = figures_of([msgspec.structs.replace(CALM, ways=one), CALM, wrong], 1).nuisance[0]
    assert (mine.alerts, mine.unit_months, mine.per_unit_month, mine.sensor_alerts) == (3, 1.0, 3.0, 4)


def test_each_story_weighs_the_same_beside_each_forecast() -> None:
    def checked(verdict: str, count: int) -> list[Checked]:
        return [Checked("amber", T0, 1.0, 2.0, 3.0, 2.0, 9.0, verdict)] * count

    many = msgspec.structs.replace(CALM, checked=checked(COVERED, 8))
    few = msgspec.structs.replace(CALM, checked=checked(EARLY, 1) + checked(LATE, 1) + checked(UNDECIDED, 5))
    total = next(c for c in figures_of([many, few], 1).coverage if (c.kind, c.of) == ("all", "all"))
    assert (total.share, total.share_by_story, total.undecided) == (0.8, 0.5, 5)
    assert (total.open_share, total.before_p50) == (0.0, 0.0)


def test_alarms_to_live_with() -> None:
    """Twelve in ten minutes are a flood; thrice in a minute is chattering, thrice in an hour its stricter form."""
    flood = [Mark(f"c{n}", True, 1.0 + n * 0.5, 30.0) for n in range(12)]
    chatter = [Mark("purity-amber", True, minute, minute + 0.1) for minute in (100.0, 100.4, 100.9)]
    returns = [Mark("purity-red", True, minute, minute + 0.1) for minute in (200.0, 220.0, 240.0)]
    stale = [Mark("capacity-falling", False, 300.0, 300.0 + 24 * 60 + 1), Mark("no-stale", False, 300.0, 1740.0)]
    burden = burden_of([msgspec.structs.replace(CALM, marks=flood + chatter + returns + stale)], 1)
    assert (burden.ward_peak_per_10_min, burden.chattering_minute, burden.chattering_hour) == (12, 1, 2)
    assert burden.flood_share == pytest.approx(1 / (30 * 144))
    assert burden.stale == {"capacity-falling": 1}
    assert (burden.per_unit_day, burden.ward_per_unit_day) == (20 / 15, 18 / 15)


def test_only_keeps_the_stories_of_a_kind_as_they_are() -> None:
    whole = tasks(3, faults=18, benign=10)
    chosen = tasks(3, faults=18, benign=10, only=["valve-fault", "calm"])
    assert chosen == [task for task in whole if task.kind in ("valve-fault", "calm")]
    assert len(chosen) == 3


@pytest.mark.slow
def test_the_result_does_not_depend_on_how_many_share_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    # Workers read the main module once more; a test of the dashboard's pages may have put one of those in its place.
    monkeypatch.setitem(sys.modules, "__main__", ModuleType("__main__"))
    alone = run_trial(5, faults=18, benign=0, jobs=1, only=["valve-fault", "flow-above-rated"])
    shared = run_trial(5, faults=18, benign=0, jobs=2, only=["valve-fault", "flow-above-rated"])
    assert msgspec.json.encode(alone) == msgspec.json.encode(shared)
    assert alone.figures.stories == 4
