"""Other limits tried on the past: the file that is made, the process that tries it, and the page."""

import pytest

from collector.people.rights import ROLES, TRY_LIMITS, may
from collector.reading import Reading
from collector.rules.limits import LIMITS
from collector.site import parse_site
from collector.store.history import iter_readings, open_reader
from collector.whatif.changes import parse_changes
from collector.whatif.sidebyside import SideBySide
from dashboard import limits_words as words
from dashboard.limit_form import changes_toml, groups
from dashboard.limits_rows import count_rows, losses, said, what_of
from dashboard.tryout import Desk, Request, chosen, readings_in
from dashboard.tryout_child import only
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import MINUTE, site_text
from tests.waiting import wait_for


def options_of(site):
    return {option.id: option for listed in groups(site).values() for option in listed}


@pytest.fixture
def site():
    return parse_site(site_text(24))


def request_of(one, toml, **more):
    more = {"from_ms": one.now_ms - 60 * MINUTE, "to_ms": one.now_ms} | more
    return Request(data_dir=str(one.data_dir), toml=toml, **more)


# -- the file of changes ------------------------------------------------------------------------------------------


def test_every_limit_that_is_offered_is_read_back_as_it_was_meant(site):
    for place, option in options_of(site).items():
        value = 4.0 if option.value is None else option.value * 1.01
        if isinstance(option.value, int):
            value = option.value + 1
        if place.endswith(("floor_pct", "off_power_share", "wild_pct")):
            value = option.value
        tried = parse_changes(changes_toml({place: option}, {place: value}), site)
        assert len(tried.changes) <= 1, place
        assert tried.changes or option.value == value, place


def test_changes_of_several_kinds_are_one_file(site):
    tried = {"model.five.amber_pct": 87.0, "limits.amber.on_s": 90.0, "limits.amber.off_min": 3.0,
             "limits.absent_min": 3.0, "ward.newborn.flow_limit_lpm": 2.0}  # fmt: skip
    text = changes_toml(options_of(site), tried)
    found = parse_changes(text, site)
    assert "amber = { on_s = 90.0, off_min = 3.0 }" in text or "on_min" in text
    assert found.limits.amber.on_ms == 90_000
    assert found.site.model("five").amber_pct == 87.0
    assert found.site.ward("newborn").flow_limit_lpm == 2.0


def test_every_title_and_help_is_of_a_limit_that_there_is(site):
    shown = {option.title for option in options_of(site).values()}
    assert set(words.TITLES.values()) <= shown
    assert set(words.HELP) <= set(words.TITLES)
    assert LIMITS.absent_ms == 120_000  # the help says so


# -- the process --------------------------------------------------------------------------------------------------


def outcome_of(request):
    run = Desk().start(request)
    assert run is not None
    wait_for(lambda: run.over, 60, "the end of the try")
    return run


def test_the_process_says_what_both_runs_in_this_process_say(bad_hour):
    toml = "[model.five]\namber_pct = 90.0"
    run = outcome_of(request_of(bad_hour, toml))
    assert run.told.failed == ""
    here = SideBySide(bad_hour.site, parse_changes(toml, bad_hour.site))
    conn = open_reader(bad_hour.data_dir)
    differences = list(here.differences(iter_readings(conn)))
    conn.close()
    assert run.told.outcome.comparison == here.result()
    assert len(run.told.outcome.differences) == len(differences) > 0


def test_only_the_chosen_units_are_tried(bad_hour):
    run = outcome_of(request_of(bad_hour, "[model.five]\namber_pct = 90.0", units=("unit-03", "unit-07")))
    assert run.told.outcome.comparison.units == 2
    assert {one.unit for one in run.told.outcome.differences} <= {"unit-03", "unit-07"}


def test_a_change_that_cannot_be_used_is_said_with_its_line(bad_hour):
    run = outcome_of(request_of(bad_hour, "[model.five]\namber_pct = 60.0"))
    assert "limits must rise" in run.told.failed


def test_a_try_can_be_stopped_and_one_goes_on_at_a_time(bad_hour):
    desk = Desk()
    run = desk.start(request_of(bad_hour, "[model.five]\namber_pct = 90.0"))
    assert run is not None
    assert desk.start(request_of(bad_hour, "")) is None
    run.stop()
    assert (run.over, run.stopped, run.told.failed, run.told.outcome) == (True, True, "", None)
    again = desk.start(request_of(bad_hour, "[model.five]\namber_pct = 90.0", units=("unit-03",)))
    assert again is not None
    again.stop()


def failing(site, start=1_790_000_000_000):
    """Two hours of a unit that loses half a point a minute from the twentieth minute on, and switches itself off."""
    for n in range(720):
        purity = min(93.0, 93 - (n / 6 - 20) * 0.6)
        runs = purity > 69
        yield Reading(site.units[0].id, start + n * 10_000, round(purity, 1) if runs else 21.0, 4.0 if runs else 0.0,
                      330.0 if runs else 0.0, volts=230.0)  # fmt: skip


def test_a_warning_before_a_shut_off_that_would_be_lost_is_named_first(site):
    deaf = "[limits]\namber = { on_h = 5 }\nred = { on_h = 5 }\nexpected = { on_h = 5 }\nexpected_soon_h = 5\n"
    run = SideBySide(site, parse_changes(deaf, site))
    list(run.differences(failing(site)))
    result = run.result()
    assert [one.unit for one in run.lost()] == ["unit-01"]
    assert losses(result, [])
    assert "today 1 of 1, with the change 0 of 1" in " ".join(said(result))
    same = SideBySide(site, parse_changes("[limits]\nabsent_min = 4", site))
    list(same.differences(failing(site)))
    assert same.lost() == []
    assert not losses(same.result(), [])


def test_readings_are_counted_before_they_are_gone_through(bad_hour):
    count, kept_ms = readings_in(bad_hour.data_dir, bad_hour.now_ms - 60 * MINUTE, bad_hour.now_ms, ())
    assert 0.9 * 23 * 240 < count < 1.1 * 24 * 240
    assert kept_ms is None
    some, _ = readings_in(bad_hour.data_dir, bad_hour.now_ms - 60 * MINUTE, bad_hour.now_ms, ("unit-03",))
    assert 0 < some < count / 10


def test_units_are_chosen_by_ward_and_by_name(site):
    assert chosen(site, [], []) == ()
    newborn = chosen(site, ["newborn"], [])
    assert len(newborn) == 5
    assert chosen(site, ["newborn"], [newborn[0], "unit-01"]) == (newborn[0],)
    assert [unit.id for unit in only(site, newborn).units] == list(newborn)


# -- the page -----------------------------------------------------------------------------------------------------


def as_role(app, role):
    return app.selectbox(key="limits-role").set_value(role).run()


@pytest.mark.parametrize("role", ROLES)
def test_limits_are_tried_by_those_whose_role_may(screen, bad_hour, role):
    app = as_role(screen("limits"), role)
    assert (words.NOT_YOURS in seen(app)) != may(role, TRY_LIMITS)
    assert bool(app.number_input) == may(role, TRY_LIMITS)


@pytest.mark.parametrize("units", [0, 1])
def test_an_empty_site_and_a_single_unit_are_shown(screen, hospital, units):
    hospital(units=units, minutes=0)
    said_there = seen(screen("limits"))
    assert (words.NO_READINGS in said_there) == bool(units)


def test_an_engineer_tries_a_limit_and_is_told_what_it_would_have_done(screen, bad_hour):
    app = screen("limits")
    app.selectbox(key="limits-of").set_value("model five").run()
    app.selectbox(key="limits-key-model five").set_value(1).run()
    app.number_input(key="limits-value-model.five.amber_pct").set_value(90.0).run()
    app = next(one for one in app.button if one.label == words.ADD).click().run()
    assert "Amber purity" in seen(app)
    app = next(one for one in app.button if one.label == words.RUN).click().run()
    run = app.session_state["limits-run"]
    wait_for(lambda: run.over, 60, "the end of the try")
    told = seen(app.run())
    for text in ("alarms instead of", "Unit output low", "earlier", "went through both"):
        assert text in told, text
    assert "amber_pct = 90.0" in app.code[0].value


def test_a_span_that_is_too_large_is_refused_with_the_way_out(screen, bad_hour, monkeypatch):
    monkeypatch.setattr("dashboard.limits_page.MOST_READINGS", 100)
    app = screen("limits")
    assert "Choose fewer days" in seen(app)
    assert next(one for one in app.button if one.label == words.RUN).disabled


def test_rows_say_what_became_of_each_alarm(bad_hour):
    outcome = outcome_of(request_of(bad_hour, "[limits]\nred = { on_min = 10 }")).told.outcome
    assert len(count_rows(outcome.comparison)[0]) == len(words.COUNT_COLUMNS)
    assert all(what_of(one) for one in outcome.differences)
