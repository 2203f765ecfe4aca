"""What is carried outwards, on the Data page: how far, what waits, what is wrong."""

from zoneinfo import ZoneInfo

import pytest

from collector.site import parse_site
from dashboard import queries
from dashboard.carriers import carrier_rows, carrier_warning, messages_fault, way_rows
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import site_text

WALL_MS = 1_780_000_000_000
INFLUX = '[influx]\nurl = "http://archive.example:8086"\nbucket = "oxygen"\ntoken_file = "token"\n'
SITE = '[facility]\nid = "sim-lake"\n'
STATE = {"waiting": 1234, "sent": 5, "dropped": 2, "gone": 1, "up_to_ms": WALL_MS - 60_000, "said": ""}


def test_a_carrier_has_a_row() -> None:
    (row,) = carrier_rows({"carriers": {"influx": STATE}}, ZoneInfo("UTC"), WALL_MS)
    assert row == {"What": "InfluxDB", "Up to": "20:25", "Waits": "1,234", "Dropped": "3", "State": "good"}


def test_one_that_fails_says_why() -> None:
    (row,) = carrier_rows({"carriers": {"influx": STATE | {"said": "Away: no"}}}, ZoneInfo("UTC"), WALL_MS)
    assert row["State"] == "Away: no"


@pytest.mark.parametrize(
    ("document", "table", "said"),
    [
        ({}, "", ""),
        ({}, INFLUX, "nothing carries it"),
        ({"wall_ms": WALL_MS - 5_000}, INFLUX, ""),
        ({"wall_ms": WALL_MS - 180_000}, INFLUX, "last heard 3 min ago"),
    ],
)
def test_what_nobody_carries_is_said(document, table, said) -> None:
    found = carrier_warning(document, parse_site(SITE + table), WALL_MS)
    assert (said in found) if said else not found


def test_the_page_of_sensors_shows_it(hospital, screen) -> None:
    one = hospital(units=1, text=site_text(1) + INFLUX)
    assert "nothing carries it" in seen(screen("sensors"))
    with one.store.transaction():
        one.store.set_status("deliver", {"wall_ms": queries.wall_ms(), "carriers": {"influx": STATE}})
    said = seen(screen("sensors"))
    assert "nothing carries it" not in said
    assert "InfluxDB" in said


WAYS: dict[str, dict] = {
    "phone": {"person": "Night nurse", "role": "ward", "sent_ms": WALL_MS, "failures": 0, "said": ""},
    "mail": {"person": "Engineer", "role": "engineer", "sent_ms": None, "failures": 3, "said": "no answer"},
}
MESSAGES = '[messages]\nfile = "messages.toml"\n'


def told(ways, age_ms=5_000):
    return {"wall_ms": WALL_MS - age_ms, "carriers": {"messages": {"waiting": 0, "ways": ways}}}


def test_each_way_of_messages_has_a_row() -> None:
    rows = way_rows(told(WAYS), ZoneInfo("UTC"), WALL_MS)
    assert [(row["To"], row["Last sent"], row["State"]) for row in rows] == [
        ("Night nurse", "20:26", "good"), ("Engineer", "–", "3 failures: no answer"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("document", "table", "said"),
    [
        ({}, "", ""),
        ({}, MESSAGES, "NO MESSAGES GO OUT"),
        (told({}), MESSAGES, ""),
        (told({}, 180_000), MESSAGES, "NO MESSAGES GO OUT"),
        (told({}, 180_000), "", "NO MESSAGES GO OUT"),  # it ran with a file named by hand
        (told({"phone": WAYS["phone"]}), MESSAGES, ""),
        (told(WAYS), MESSAGES, "No message gets through to Engineer."),
        (told({"mail": WAYS["mail"] | {"failures": 1}}), MESSAGES, ""),
    ],
)
def test_that_nobody_is_reached_stands_over_every_screen(document, table, said) -> None:
    found = messages_fault(document, parse_site(SITE + table), WALL_MS)
    assert found.startswith(said) if said else not found


def test_the_banner_is_on_the_board(screen, hospital) -> None:
    made = hospital(units=1)
    with made.store.transaction():
        made.store.set_status("deliver", told(WAYS) | {"wall_ms": queries.wall_ms()})
    assert "No message gets through to Engineer." in seen(screen("board"))
