"""What is carried outwards, on the Data page: how far, what waits, what is wrong."""

from zoneinfo import ZoneInfo

import pytest

from collector.site import parse_site
from dashboard import queries
from dashboard.carriers import carrier_rows, carrier_warning
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


def test_the_data_page_shows_it(hospital, screen) -> None:
    one = hospital(units=1, text=site_text(1) + INFLUX)
    assert "nothing carries it" in seen(screen("record"))
    with one.store.transaction():
        one.store.set_status("deliver", {"wall_ms": queries.wall_ms(), "carriers": {"influx": STATE}})
    said = seen(screen("record"))
    assert "nothing carries it" not in said
    assert "InfluxDB" in said
