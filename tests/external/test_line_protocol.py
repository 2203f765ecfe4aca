"""Facts of the line protocol that long-term storage relies on, checked on the client library that will write it.

Source: InfluxDB documentation, "Line protocol" (measurement, tag set, field set, timestamp; escaping; data types), as
published for versions 1.x and 2.x. Source: influxdb-client for Python, the reference library. The names and values are
made up; what is checked is the form.
"""

import math

import pytest
from influxdb_client.client.write.point import Point
from influxdb_client.domain.write_precision import WritePrecision

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
