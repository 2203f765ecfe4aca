"""The demo's story as a page tells it: from the scenario's own data, at the hospital's clock, with what alarms said."""

import msgspec
import pytest

from collector.rules.entries import CONDITION, JournalEntry
from collector.site import load_site, parse_site
from dashboard import queries
from dashboard import story_words as words
from dashboard.episodes import Episode
from dashboard.story import beats, clock_line, coming_rows, of_part, story_in, told_rows, what
from simulator import HOSPITAL
from simulator.faults import KINDS
from simulator.scenario import FOLDER, load_scenario
from simulator.telling import told
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import MINUTE, site_text

START = 1_790_000_000_000
HOUSE = load_site(HOSPITAL)


def story_of(document):
    return story_in(document)


def night(start=START):
    return story_in(told(load_scenario("night", HOUSE), HOUSE, start))


def now_of(hospital, site=HOUSE):
    return msgspec.structs.replace(queries.now(hospital(minutes=0).data_dir), site=site)


def rows_at(now, minute, found=()):
    """The rows told so far, as plain tuples for a test to take apart."""
    return told_rows(night(), now, START + minute * MINUTE, found)


def test_every_kind_of_fault_has_its_words():
    assert set(words.BEGINS) == set(KINDS)
    assert set(words.ENDS) <= set(KINDS)


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.toml")), ids=lambda path: path.stem)
def test_each_scenario_that_comes_with_the_program_is_told_whole(path):
    site = load_site(HOSPITAL.with_name("one-unit.toml")) if path.stem == "one-unit" else HOUSE
    scenario = load_scenario(path, site)
    story = story_of(told(scenario, site, START))
    assert story.title == scenario.scenario.title
    assert len(story.parts) == len(scenario.faults)
    assert story.end_ms - START == scenario.scenario.minutes * MINUTE
    assert all(part.units for part in story.parts), "each says whom it befalls"


def test_beginnings_and_ends_come_in_order_and_once():
    story = night()
    found = beats(story)
    assert [beat.at_ms for beat in found] == sorted(beat.at_ms for beat in found)
    assert len(found) == len(story.parts) + sum(part.until_ms is not None for part in story.parts)


def test_nothing_is_told_before_it_happens_and_nothing_is_left_out(hospital):
    story, now = night(), now_of(hospital)
    for minute in (0, 16, 63, 100, 200, 400):
        now_ms = START + minute * MINUTE
        so_far, coming = told_rows(story, now, now_ms, ()), coming_rows(story, now, now_ms)
        assert len(so_far) + len(coming) == len(beats(story))
    early = " ".join(row[2] for row in rows_at(now, 60))
    assert "bridge falls silent" not in early
    assert "bridge falls silent" in rows_at(now, 62)[0][2]
    assert not coming_rows(story, now, START + 400 * MINUTE)


def test_what_began_before_the_story_says_so_and_what_grows_says_how_long(hospital):
    rows = rows_at(now_of(hospital), 0)
    assert all(row[0].startswith("since ") for row in rows)
    quail = next(row for row in rows if row[1].unit == "quail")
    assert quail[2] == "Its sieve wears out. More and more, over 3 d 6 h."


def test_a_ward_and_a_bridge_are_named_and_one_unit_is_a_link(hospital):
    rows = rows_at(now_of(hospital), 96)
    ward = HOUSE.ward("surgery").title
    assert f"ward {ward}" in [row[1].text for row in rows]
    assert "bridge-newborn" in [row[1].text for row in rows]
    assert {row[1].unit for row in rows} >= {"ibis", "weaver", "heron"}


def test_an_alarm_stands_beside_what_led_to_it_and_not_beside_others(hospital):
    story, now = night(), now_of(hospital)
    cut = next(part for part in story.parts if part.kind == "supply-cut")
    lost = Episode("", "surgery", "supply-lost", "high", cut.at_ms + 30_000, cut.at_ms + 12 * MINUTE, "")
    other = Episode("heron", "medical", "purity-low", "high", cut.at_ms + 30_000, None, "")
    late = Episode("", "surgery", "supply-lost", "high", cut.until_ms + 90 * MINUTE, None, "")
    assert of_part(cut, HOUSE, [other, late, lost]) == [lost]
    rows = rows_at(now, 107, [lost, other])
    assert rows[0][2:] == ("The power is back.", "")
    said = [row[3] for row in rows if row[2] == "The power fails."]
    assert len(said) == 1
    assert " to " in said[0]


def test_where_it_stands_is_told_by_the_hospitals_clock(hospital):
    story, now = night(), now_of(hospital)
    assert "ends at" in clock_line(story, now, START)
    assert "ended at" in clock_line(story, now, story.end_ms)


@pytest.mark.parametrize("document", [{}, {"title": "x"}, {"start_ms": "soon", "end_ms": 1}])
def test_a_document_that_is_none_is_no_story(document):
    assert story_in(document) is None


def test_a_kind_that_nobody_knows_here_is_still_told():
    story = story_of({"start_ms": 0, "end_ms": 1, "parts": [{"kind": "moon", "at_ms": 0, "units": ["a"]}]})
    assert what(beats(story)[0]) == words.SOMETHING


# -- the page ----------------------------------------------------------------------------------------------------------
def stand(one, document):
    with one.store.transaction():
        one.store.set_status("story", document)


def test_the_page_tells_what_was_and_keeps_what_comes_closed(hospital, screen):
    one = hospital(units=5)
    scenario = FOLDER / "night.toml"
    stand(one, told(load_scenario(scenario, HOUSE), HOUSE, one.now_ms - 63 * MINUTE))
    app = screen("story")
    said = seen(app)
    assert "A night at Tallgrass Ford" in said
    assert "The bridge falls silent" in said
    assert [one.label for one in app.expander] == [words.TO_COME]
    assert not app.expander[0].proto.expanded


@pytest.mark.parametrize("units", [1, 500])
def test_a_story_of_one_and_of_many(hospital, screen, units):
    one = hospital(units=units, minutes=0)
    parts = [{"kind": "leak", "at_ms": one.now_ms - 1000 - n, "units": [unit.id]}
             for n, unit in enumerate(one.site.units)]  # fmt: skip
    stand(one, {"title": "Leaks", "start_ms": one.now_ms - 9000, "end_ms": one.now_ms + 9000, "parts": parts})
    with one.store.transaction():
        entry = JournalEntry(at_ms=one.now_ms - 100, kind=CONDITION, unit="unit-01", ward="medical", origin="collector",
                             condition="purity-low", body={"event": "raised", "priority": "high"})  # fmt: skip
        one.store.append_journal([entry], one.now_ms)
    assert "It leaks inside." in seen(screen("story"))


def test_a_calm_day_says_that_nothing_is_planned(hospital, screen):
    one = hospital(units=1, minutes=0)
    stand(one, told(load_scenario("calm", HOUSE), HOUSE, one.now_ms))
    assert words.QUIET in seen(screen("story"))


def test_without_a_story_and_in_a_real_hospital_there_is_none_to_tell(hospital, screen):
    hospital(units=1, minutes=0)
    assert words.NONE in seen(screen("story"))


def test_a_real_hospital_is_no_story(hospital, screen):
    hospital(units=1, minutes=0, text=site_text(1, facility="lakeside"))
    assert parse_site(site_text(1, facility="lakeside")).simulated is False
    assert words.NOT_SIMULATED in seen(screen("story"))
