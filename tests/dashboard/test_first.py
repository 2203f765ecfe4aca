"""The first use: steps derived from site file and record, entries that ask, a bridge file that the bridge reads."""

import tomllib

import msgspec
import pytest

from collector.bridge.bridge_file import load_bridge_file
from collector.people.rights import ADMINISTRATOR
from collector.rules.entries import SITE_CHANGE, SITE_CHANGED, JournalEntry
from collector.site import SiteError, load_site, parse_site
from collector.siteedit import asked
from collector.siteedit.begin import begin_site
from collector.siteedit.edit import edited
from collector.store import JournalWriter
from dashboard import bridge_text, firstuse, queries
from dashboard.actions import Person, Refused
from dashboard.bridge_text import Wish, bridge_toml, broker_for, commands, profiles, shares_line
from dashboard.describing import ALIKE_MAX, added, alike, described, id_of, names_in
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import site_text

EMPTY = '[facility]\nid = "sim-lakeside"\n'
BOSS = Person("Awa Example", ADMINISTRATOR)


def test_a_hospital_begins_with_its_id_alone_and_once(tmp_path):
    path = tmp_path / "etc" / "site.toml"
    assert begin_site(path, "lakeside")
    site = load_site(path)
    assert (site.facility.id, site.wards, site.units) == ("lakeside", (), ())
    written = path.read_text()
    assert not begin_site(path, "lakeside"), "the same command again goes on with what is there"
    assert path.read_text() == written
    with pytest.raises(SiteError, match="site file of 'lakeside'"):
        begin_site(path, "hillside")


def test_an_id_that_is_none_writes_nothing(tmp_path):
    with pytest.raises(SiteError, match="an id is small letters"):
        begin_site(tmp_path / "site.toml", "Lake Side!")
    assert not (tmp_path / "site.toml").exists()


@pytest.mark.parametrize(
    ("first", "count", "there", "made"),
    [
        ("wren", 1, (), ["wren"]),
        ("Bed", 3, (), ["bed-01", "bed-02", "bed-03"]),
        ("bed-08", 3, (), ["bed-08", "bed-09", "bed-10"]),
        ("bed", 2, ("bed-01", "bed-02"), ["bed-03", "bed-04"]),
        ("7", 2, (), ["unit-7", "unit-8"]),
    ],
)
def test_units_alike_are_counted_on_and_none_is_taken_twice(first, count, there, made):
    assert alike(first, count, there) == made


def test_five_hundred_units_leave_room_for_more():
    there = {f"bed-{n:02}" for n in range(1, 501)}
    found = alike("bed", ALIKE_MAX, there)
    assert found[0] == "bed-501"
    assert len(set(found)) == ALIKE_MAX
    assert not there & set(found)


def test_names_give_ids_and_what_gives_none_is_refused():
    assert id_of("Néonatologie, 2e étage") == "neonatologie-2e-etage"
    assert id_of("x" * 60) == "x" * 40
    assert names_in(" Newborn \n\n Surgery\nNewborn\n") == ["Newborn", "Surgery"]
    with pytest.raises(Refused, match="no letter"):
        id_of("新生児")
    with pytest.raises(Refused, match="already"):
        id_of("Newborn", {"newborn"})


def test_what_is_asked_for_is_what_the_site_file_then_says():
    text = EMPTY
    for entry in (described({"name": "Lakeside", "timezone": "Africa/Nairobi"}, BOSS, 1),
                  added("ward", {"id": "newborn", "name": "Newborn"}, BOSS, 1),
                  added("model", {"id": "five", "rated_flow_lpm": 5.0}, BOSS, 1),
                  added("unit", {"id": "bed-01", "model": "five", "ward": "newborn"}, BOSS, 1),
                  added("bridge", {"id": "east", "units": ["bed-01"]}, BOSS, 1)):  # fmt: skip
        assert entry.kind == SITE_CHANGE
        text = edited(text, entry.body)
    site = parse_site(text)
    assert (site.facility.name, site.ward_of("bed-01").title, site.model_of("bed-01").id) == (
        "Lakeside",
        "Newborn",
        "five",
    )
    assert site.bridges[0].units == ("bed-01",)
    assert set(asked.TABLES) >= {"ward", "model", "unit", "bridge"}


def test_without_a_name_nothing_is_asked_for():
    with pytest.raises(Refused, match="name"):
        added("ward", {"id": "newborn"}, Person("  ", ADMINISTRATOR), 1)


# -- the bridge's file -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("profile", sorted(profiles()))
@pytest.mark.parametrize("units", [("a",), tuple(f"u{n}" for n in range(12))])
def test_the_bridge_reads_the_file_that_is_offered(tmp_path, profile, units):
    wish = Wish("lakeside", "east", units, profile, "/dev/ttyUSB0", 9600, "192.0.2.10:1883")
    path = tmp_path / "east.toml"
    path.write_text(bridge_toml(wish))
    found = load_bridge_file(path)
    assert tuple(unit for port in found.ports for unit in port.unit_ids) == units
    assert len(found.ports) == (1 if shares_line(profile) else len(units))
    assert found.broker == "192.0.2.10:1883"
    assert {port.profile for port in found.ports} == {profile}


def test_a_broker_with_accounts_is_reached_by_the_bridges_own():
    wish = Wish("lakeside", "east", ("a",), "json-line", "COM3", 9600, "broker.lan:8883")
    assert tomllib.loads(bridge_toml(wish))["account"] == "bridge-east.toml"
    assert commands(wish)[0].startswith("sieveward site keys")
    assert not commands(wish._replace(broker="broker.lan:1883"))[0].startswith("sieveward site keys")


@pytest.mark.parametrize(
    ("broker", "page", "seen_as"),
    [
        ("127.0.0.1:1883", "192.0.2.7", "192.0.2.7:1883"),
        ("127.0.0.1:1883", "2001:db8::7", "[2001:db8::7]:1883"),
        ("broker.lan:8883", "192.0.2.7", "broker.lan:8883"),
        ("127.0.0.1:1883", "", "127.0.0.1:1883"),
        ("", "192.0.2.7", ""),
    ],
)
def test_another_machine_is_told_an_address_that_it_can_reach(broker, page, seen_as):
    assert broker_for(broker, page) == seen_as


def test_a_port_without_a_number_still_gives_each_unit_one():
    wish = Wish("f", "b", ("x", "y"), "json-line", "/dev/line", 9600, "h:1")
    assert [port["path"] for port in tomllib.loads(bridge_text.bridge_toml(wish))["port"]] == [
        "/dev/line",
        "/dev/line-2",
    ]


# -- how far it has come -----------------------------------------------------------------------------------------------
def states(one, **changes):
    return {
        step.name: step.done for step in firstuse.steps(msgspec.structs.replace(queries.now(one.data_dir), **changes))
    }


def test_an_empty_hospital_has_all_before_it_and_one_that_lives_nothing(hospital):
    one = hospital(text=EMPTY, minutes=0)
    now = queries.now(one.data_dir)
    assert not any(step.done for step in firstuse.steps(now))
    assert firstuse.first_open(firstuse.steps(now)) == "hospital"
    assert firstuse.is_open(now)


def test_units_that_were_heard_end_it_in_a_simulation(hospital):
    one = hospital()
    now = queries.now(one.data_dir)
    assert states(one) == {"hospital": True, "wards": True, "models": True, "units": True, "bridge": True,
                           "people": False, "test": False}  # fmt: skip
    assert not firstuse.is_open(now)


def test_a_real_hospital_is_led_on_until_an_alarm_has_been_tried(hospital):
    one = hospital(text=site_text(5, facility="lakeside"))
    now = queries.now(one.data_dir)
    assert firstuse.first_open(firstuse.steps(now)) == "test"
    assert firstuse.is_open(now)
    assert firstuse.is_open(msgspec.structs.replace(now, way_tried={"test": 1, "dead": {"signal to x": "why"}}))
    assert not firstuse.is_open(msgspec.structs.replace(now, way_tried={"test": 1, "dead": {}}))


def test_a_site_that_nobody_told_leads_nowhere(hospital):
    now = msgspec.structs.replace(queries.now(hospital(minutes=0).data_dir), site=None)
    assert not firstuse.is_open(now)
    assert not any(step.done for step in firstuse.steps(now))


# -- the page ----------------------------------------------------------------------------------------------------------
def test_the_board_of_an_empty_hospital_points_to_it(hospital, screen):
    hospital(text=EMPTY, minutes=0)
    said = seen(screen("board"))
    assert 'href="./first"' in said
    assert "0 of 7 steps" in said


def test_the_board_of_one_that_lives_does_not(hospital, screen):
    hospital()
    assert 'href="./first"' not in seen(screen("board"))


@pytest.mark.parametrize("units", [0, 1, 500])
def test_the_page_stands_empty_with_one_and_with_many(hospital, screen, units):
    hospital(units=units, minutes=0, text=site_text(units, per_ward=25) if units else EMPTY)
    app = screen("first")
    said = seen(app)
    assert "From nothing to the first live unit" in said
    assert len(app.expander) == len(firstuse.NAMES)
    assert [one.proto.expanded for one in app.expander].count(True) == 1


def answer(one, seq, result, said):
    body = {"change": seq, "do": "add", "result": result, "said": said}
    JournalWriter(one.data_dir).append([
        JournalEntry(at_ms=one.now_ms, kind=SITE_CHANGED, origin="collector", body=body)
    ])  # fmt: skip


def test_a_ward_is_asked_for_and_what_came_of_it_is_said(hospital, screen):
    one = hospital(text=EMPTY + '[[person]]\nid = "awa"\nname = "Awa Example"\nrole = "administrator"\n', minutes=0)
    app = screen("first", step="wards")
    app.selectbox(key="crew-name").select("Awa Example").run()
    app.text_area(key="first-wards-names").set_value("Newborn\nSurgery")
    next(button for button in app.button if button.label == "Add wards").click()
    app.run()
    rows = queries.journal(one.data_dir, kinds=(SITE_CHANGE,))
    assert [row.body["fields"]["id"] for row in rows] == ["surgery", "newborn"]
    assert "2 changes wait for the collector" in seen(app)
    answer(one, rows[1].seq, "made", "")
    answer(one, rows[0].seq, "refused", "no room")
    said = seen(app.run())
    assert "Written into the site file." in said
    assert "Not made: no room" in said


def test_an_engineer_adds_units_but_no_wards(hospital, screen):
    hospital(units=1, minutes=0, text=site_text(1) + '[[person]]\nid = "b"\nname = "Ben Example"\nrole = "engineer"\n')
    app = screen("first")
    app.selectbox(key="crew-name").select("Ben Example").run()
    labels = [button.label for button in app.button]
    assert "Add" in labels
    assert "Add wards" not in labels


def test_ten_alike_are_ten_rows_with_model_and_ward(hospital, screen):
    one = hospital(
        units=1, minutes=0, text=site_text(1) + '[[person]]\nid = "b"\nname = "Ben Example"\nrole = "engineer"\n'
    )
    app = screen("first", step="units")
    app.selectbox(key="crew-name").select("Ben Example").run()
    app.text_input(key="new-unit-id").set_value("bed")
    app.number_input(key="new-unit-count").set_value(10)
    next(button for button in app.button if button.label == "Add").click()
    app.run()
    rows = queries.journal(one.data_dir, kinds=(SITE_CHANGE,))
    assert len(rows) == 10
    assert rows[-1].body["fields"] == {"id": "bed-01", "model": "five", "ward": "medical"}
    assert (rows[-1].unit, rows[-1].ward) == ("bed-01", "medical")
