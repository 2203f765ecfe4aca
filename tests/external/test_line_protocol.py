"""Facts of the line protocol that long-term storage relies on, checked on the client library that will write it.

Source: InfluxDB documentation, "Line protocol" (measurement, tag set, field set, timestamp; escaping; data types), as
published for versions 1.x and 2.x. Source: influxdb-client for Python, the reference library. The names and values are
made up; what is checked is the form. The last part asks a real server (Debian's influxd) what it read.
"""

import math

import pytest
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write.point import Point
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.domain.write_precision import WritePrecision

from collector.influx.lines import Heads
from tests.influx_server import BOTH_TOKEN

AT_MS = 1_556_813_561_098


def line(point: Point) -> str:
    return point.time(AT_MS, WritePrecision.MS).to_line_protocol()


def test_measurement_tags_fields_and_time_in_this_order() -> None:
    point = Point("reading").tag("unit", "u1").field("purity_pct", 93.4)
    assert line(point) == f"reading,unit=u1 purity_pct=93.4 {AT_MS}"


def test_tags_are_sorted_by_key() -> None:
    """Source: "Line protocol", performance tips: sort tags by key."""
    assert line(Point("m").tag("ward", "w").tag("unit", "u").field("f", 1.0)).startswith("m,unit=u,ward=w ")


def test_commas_spaces_and_equals_signs_are_escaped_in_tags() -> None:
    point = Point("cpu,01").tag("host name", "server A,1=2").field("f", 1.0)
    assert line(point).startswith(r"cpu\,01,host\ name=server\ A\,1\=2 ")


def test_strings_are_quoted_and_their_quotes_and_backslashes_escaped() -> None:
    assert r'note="a \"b\" \\ c"' in line(Point("m").field("note", 'a "b" \\ c'))


@pytest.mark.parametrize(("value", "written"), [(5.0, "f=5 "), (5.5, "f=5.5 "), (5, "f=5i "), (True, "f=true ")])
def test_the_type_of_a_field_is_in_its_form(value: object, written: str) -> None:
    """An integer gets an i and makes the field an integer for ever: a flow of 5 must be written as the float 5.0."""
    assert written in line(Point("m").field("f", value))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, None])
def test_what_is_no_number_is_not_written(value: float | None) -> None:
    """Source: "Line protocol": NaN and Inf are not accepted; the client leaves such a field out, and then the point."""
    assert line(Point("m").field("f", value)) == ""


def test_a_tag_is_never_empty() -> None:
    assert line(Point("m").tag("ward", "").field("f", 1.0)).startswith("m f=1 ")


#: Source: InfluxDB documentation, "Line protocol", special characters and their escapes: what may stand in a tag value.
TAG_VALUES = ("plain", "with space", "with,comma", "with=equals", 'with "quotes"', "with 'one'", "ünïcode 日本", "😀")


@pytest.mark.parametrize("value", TAG_VALUES)
def test_a_real_server_reads_a_tag_as_it_was_meant(influx_server, value: str) -> None:
    name = influx_server.new_database()
    heads = Heads("reading", "lake")
    written(influx_server, name, f"{heads[value]} purity_pct=93.4 {AT_MS}")
    (row,) = influx_server.rows(name, "SELECT * FROM reading")
    assert row == {"time": AT_MS, "facility": "lake", "unit": value, "purity_pct": 93.4}


#: Source: IEEE 754 binary64: its largest, its smallest, and values whose shortest form has 17 digits.
FLOATS = (1.7976931348623157e308, 5e-324, 0.1 + 0.2, 1 / 3, 123456789012345680.0, -0.0, 9007199254740993.0)


@pytest.mark.parametrize("value", FLOATS)
def test_a_real_server_keeps_a_float_to_the_last_bit(influx_server, value: float) -> None:
    name = influx_server.new_database()
    written(influx_server, name, f"reading,unit=u f={value!r} {AT_MS}")
    assert influx_server.rows(name, "SELECT f FROM reading")[0]["f"] == value


def test_a_point_is_named_by_measurement_tags_and_time(influx_server) -> None:
    """Source: "Line protocol", duplicate points: the field set becomes the union, a new value replaces the old."""
    name = influx_server.new_database()
    for fields in ("a=1,b=2", "b=3", "c=4"):
        written(influx_server, name, f"reading,unit=u {fields} {AT_MS}")
    assert influx_server.rows(name, "SELECT a, b, c FROM reading") == [{"time": AT_MS, "a": 1, "b": 3, "c": 4}]


def test_the_documented_example_is_read_as_documented(influx_server) -> None:
    """Source: "Line protocol", its first example (there with a time in ns)."""
    name = influx_server.new_database()
    written(influx_server, name, f'myMeasurement,tag1=value1,tag2=value2 fieldKey="fieldValue" {AT_MS}')
    (row,) = influx_server.rows(name, "SELECT * FROM myMeasurement")
    assert row == {"time": AT_MS, "tag1": "value1", "tag2": "value2", "fieldKey": "fieldValue"}


def test_windows_begin_at_multiples_of_their_width_since_1970(influx_server) -> None:
    """Source: InfluxQL documentation, GROUP BY time(): preset time boundaries. Read-back leans on it."""
    name = influx_server.new_database()
    width = 22 * 60_000
    written(influx_server, name, "\n".join(f"m,unit=u f=1 {AT_MS + minute * 60_000}" for minute in range(120)))
    span = f"time >= {AT_MS}ms AND time < {AT_MS + 7_200_000}ms"
    rows = influx_server.rows(name, f"SELECT sum(f) FROM m WHERE {span} GROUP BY time({width}ms)")  # noqa: S608
    assert [row["time"] % width for row in rows] == [0] * len(rows)
    assert sum(row["sum"] for row in rows) == 120


def written(server, database: str, lines: str) -> None:
    """Have lines on the server, by the client library."""
    with InfluxDBClient(url=server.url, token=BOTH_TOKEN, org="") as client:
        client.write_api(write_options=SYNCHRONOUS).write(f"{database}/autogen", "", lines, write_precision="ms")
