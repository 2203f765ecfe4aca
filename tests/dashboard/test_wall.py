"""A ward's screen as data and as parts: what stands first, what it says, and that nothing old looks well."""

import json
import re

import msgspec
import pytest

from collector.notify.waytest import WayTest
from collector.rules.entries import MESSAGE_SENT, JournalRow
from collector.rules.lifecycle import State
from collector.site import parse_site
from dashboard import wall_words
from dashboard.board import Look
from dashboard.freshness import banners
from dashboard.told import tellings, told_text
from dashboard.wall import wall_of
from dashboard.wall_html import SAID_TIMES, News, Part, parts_of, signals, stood
from tests.dashboard.conftest import seen
from tests.dashboard.estimates import foretold
from tests.dashboard.hospital import site_text
from tests.dashboard.test_board import NOW, SITE, alarm, now_of, row
from tests.dashboard.test_changeover import backup
from tests.dashboard.test_changeover import now_of as backed_now


def shown_of(known, ward="east", wall_ms=NOW, **more):
    return wall_of(known, banners(known, wall_ms), NOW, wall_ms, ward, **more)


def html(wall, linked=True):
    return "".join(part.html for part in parts_of(wall, linked=linked))


def test_a_calm_ward_says_so_and_has_every_unit_in_its_place():
    wall = shown_of(now_of([row("u2"), row("u1")]))
    assert (wall.calm, wall.summary, wall.lost, wall.alerts) == (True, "Nothing needs attention.", (), ())
    assert [tile.unit for tile in wall.tiles] == ["u1", "u2"]
    assert wall.over[0][0] == "made"
    assert signals(wall) == "[]"


def test_units_keep_their_places_when_one_is_in_alarm():
    wall = shown_of(now_of([row("u1"), row("u2")], [alarm("u2")]))
    assert [tile.unit for tile in wall.tiles] == ["u1", "u2"]
    assert [tile.look for tile in wall.tiles] == [Look.RUNNING, Look.HIGH]


def test_an_alert_says_which_unit_how_long_what_to_do_what_to_change_to_and_who_knows():
    red = alarm(heard_seq=7)
    sent = JournalRow(seq=8, recorded_ms=0, at_ms=NOW, kind=MESSAGE_SENT,
                      body={"way": "a", "person": "Night nurse", "alarms": [{"about": "alarm-7"}]})  # fmt: skip
    known = backed_now(backup(), red, foretold(NOW, shutdown=(9.0, 12.0, 20.5)))
    (alert,) = shown_of(known, told=lambda one: told_text(one, tellings([sent]), NOW, known.zone)).alerts
    assert (alert.who, alert.look, alert.title) == ("u1", Look.HIGH, "Unit output very low")
    assert alert.left == "Shut-off expected in 9 to 25 min"
    assert alert.do == "Change over now."
    assert alert.change.startswith("Change over to cylinder e-1 (<by> the door): lasts about")
    assert alert.told.startswith("Told: Night nurse ")
    assert (alert.acked, alert.more) == ("", 1)
    said = html(shown_of(known))
    for words in (wall_words.NOT_ACKNOWLEDGED, wall_words.NO_MESSAGES, "&lt;by&gt; the door", "Time left"):
        assert words in said
    assert "<by>" not in said


def test_an_acknowledged_alert_names_who_and_is_silent_for_the_ear():
    known = alarm(state=State.ACKNOWLEDGED, acked_by="N. <Example>", acked_role="ward", acked_ms=NOW, heard_seq=3)
    wall = shown_of(now_of([row()], [known]))
    assert wall.alerts[0].acked == "Acknowledged: N. <Example> (ward), 17:13"
    assert json.loads(signals(wall)) == [["u1.purity-red-3", "high", 1]]
    part = next(part for part in parts_of(wall, linked=True) if part.name == "wall-alert")
    assert "ww-unheard" not in part.html
    assert "N. &lt;Example&gt;" in part.html


def test_a_rise_in_priority_must_be_heard_anew():
    before = signals(shown_of(now_of([row()], [alarm(heard_seq=3)])))
    assert signals(shown_of(now_of([row()], [alarm(heard_seq=9)]))) != before


def test_worst_first_then_what_nobody_knows_and_what_is_for_others_last_and_silent():
    found = [
        alarm("u1", "purity-amber", priority="medium", state=State.ACKNOWLEDGED, acked_by="A"),
        alarm("u2", "flow-above-ward-limit", priority="medium"),
        alarm("u3", "readings-absent", priority="high", audience=("engineer",)),
    ]
    found[2].ward = "east"
    wall = shown_of(now_of([row("u1"), row("u2")], found))
    assert [alert.who for alert in wall.alerts] == ["u2", "u1", "u3"]
    assert [one[0][:2] for one in json.loads(signals(wall))] == ["u2", "u1"]
    only = shown_of(now_of([row("u1"), row("u2")], [found[2]]))
    assert "ww-alert" not in html(only), "what is not the ward's to do does not fill its screen"
    assert "wall-short" in html(only)


@pytest.mark.parametrize(
    ("condition", "priority", "left"),
    [
        ("purity-shutdown", "high", wall_words.NO_TIME_LEFT),
        ("flow-absent", "high", wall_words.NO_TIME_LEFT),
        ("purity-red", "high", wall_words.TOO_LOW_NOW),
        ("purity-amber", "medium", wall_words.LEFT_UNKNOWN),
        ("flow-above-rated", "low", ""),
    ],
)
def test_where_nothing_is_foreseen_it_says_that(condition, priority, left):
    assert shown_of(now_of([row()], [alarm(condition=condition, priority=priority)])).alerts[0].left == left


def test_a_ward_s_alarm_names_its_units_and_what_is_due_alarms_nobody():
    cut = alarm("", "ward-supply-lost", evidence={"units": ["u1", "u2"]}, action="Change over to cylinders now.")
    due = alarm("u1", "service-due", priority="low")
    wall = shown_of(now_of([row("u1"), row("u2")], [cut, due]))
    assert [alert.who for alert in wall.alerts] == ["Whole ward: u1, u2"]


def test_more_alerts_than_fit_are_counted():
    found = [alarm(f"x{n}", heard_seq=n) for n in range(9)]
    assert f"<li>{wall_words.more(3)}</li>" in html(shown_of(now_of([row()], found)))


@pytest.mark.parametrize(
    ("known", "wall_ms", "said"),
    [
        (now_of([row("u1"), row("u2")], heard_s=60), NOW, "NOT LIVE"),
        (now_of([row("u1"), row("u2")], broker_state="refused"), NOW, "NO NEW READINGS"),
        (now_of([row("u1", age_s=700), row("u2", age_s=700)]), NOW, "NO READINGS from any unit of this ward since"),
        (now_of([]), NOW, wall_words.NEVER_HEARD),
    ],
)
def test_what_is_not_of_now_takes_the_screen_over_in_words(known, wall_ms, said):
    wall = shown_of(known, wall_ms=wall_ms)
    assert wall.lost[0].startswith(said)
    shown = html(wall)
    assert 'data-part="wall-lost"' in shown
    for good in ("93.4", "tile-", "Running", wall_words.IN_BROWSER["soundOn"], "Nothing needs attention"):
        assert good not in shown
    assert json.loads(signals(wall))[-1] == ["lost", "medium", 0]


def test_a_take_over_still_tells_what_stood_and_when_units_were_last_heard():
    wall = shown_of(now_of([row("u1", age_s=700), row("u2", age_s=700)], [alarm()]))
    assert "Last news of this ward's units: 17:01." in wall.lost
    assert "Change over now." in html(wall)
    assert stood(wall) == "u1: Unit output very low. Change over now."


def test_one_silent_unit_shows_no_values():
    shown = html(shown_of(now_of([row("u1", age_s=700), row("u2")])))
    (tile,) = re.findall(r'data-part="tile-u1".*?</a>', shown)
    assert "93.4" not in tile
    assert "No data since" in tile


def test_units_out_of_service_alone_are_no_take_over():
    assert shown_of(now_of([row("u1", age_s=9000)], removed=("u1", "u2"))).lost == ()


def test_on_the_screen_without_a_store_it_waits_and_a_lost_collector_takes_it_over(screen, hospital):
    assert "Waiting for the collector" in (said := seen(screen("board", ward="medical")))
    assert 'data-part="wall-lost"' in said
    hospital(units=5, heard_s_ago=60)
    assert "NOT LIVE: the collector" in (said := seen(screen("board", ward="medical")))
    assert 'data-part="tile-' not in said


@pytest.mark.parametrize("units", [1, 40])
def test_on_the_screen_a_usual_hour_is_calm(screen, hospital, units):
    hospital(units=units, text=site_text(units, per_ward=40))
    said = seen(screen("board", ward="medical"))
    assert 'class="ww-calm ww-well"' in said
    assert said.count('data-part="tile-') == units


def test_a_ward_without_units_is_not_called_well():
    known = now_of([row("u3")])
    site = parse_site(SITE + '[[ward]]\nid = "empty"\n')
    wall = shown_of(msgspec.structs.replace(known, site=site), "empty")
    assert (wall.summary, wall.calm, wall.lost) == (wall_words.NO_UNITS, False, ())


def test_an_unknown_ward_is_said():
    assert shown_of(now_of([row()]), "nowhere").lost == (wall_words.NO_WARD,)


def test_a_test_of_the_way_stands_as_test_over_what_is_real():
    known = now_of([row()], [alarm()])
    test = WayTest(seq=9, at_ms=NOW - 1, until_ms=NOW + 9000, wards=("east",), who="<b>")
    wall = shown_of(msgspec.structs.replace(known, way_test=test))
    assert [kind for kind, _ in wall.over] == ["made", "test"]
    assert "TEST - NO ALARM" in html(wall)
    assert "<b>," not in html(wall)
    assert wall.alerts == shown_of(known).alerts


def test_a_wall_link_s_screen_leads_nowhere():
    wall = shown_of(now_of([row()], [alarm()]))
    assert " href=" in html(wall)
    assert " href=" not in html(wall, linked=False)


def parts(*texts):
    return [Part(f"p{n}", f'<div data-part="p{n}">{text}</div>') for n, text in enumerate(texts)]


def told_names(feed):
    return re.findall(r'data-part="(\w+)"', feed)


def test_only_what_changed_is_sent_and_one_other_in_turn():
    news = News()
    many = [str(n) for n in range(20)]
    for _ in range(SAID_TIMES):
        assert len(told_names(news.feed(parts(*many), {}))) == 20
    assert len(told_names(news.feed(parts(*many), {}))) == 1
    many[7] = "new"
    assert "p7" in told_names(news.feed(parts(*many), {}))
    sent = {name for _ in range(20) for name in told_names(news.feed(parts(*many), {}))}
    assert sent == {f"p{n}" for n in range(20)}, "what a browser lacks comes round"


def test_the_feed_names_every_part_with_its_revision_and_escapes_its_data():
    feed = News().feed(parts("a", "b"), {"stood": '"><script>'})
    first, second = (part.rev for part in parts("a", "b"))
    assert f'data-revs="p0:{first} p1:{second}"' in feed
    assert "<script>" not in feed


def test_a_part_that_comes_back_is_sent_again():
    news = News()
    for _ in range(5):
        news.feed(parts("a", "b"), {})
    news.feed(parts("a"), {})
    assert "p1" in told_names(news.feed(parts("a", "b"), {}))
