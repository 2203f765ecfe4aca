"""Lines to readings: the five kinds of text, units, what is missing, times, and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.bridge.units import CONVERSIONS
from collector.reading import parse_utc
from tests.collector.bridge.talking import NOW, said, talk

PURITY = '[field.purity_pct]\nfrom = {}\nin = "%"\n'
DELIMITED = 'kind = "delimited"\n' + PURITY.format(1) + '[field.flow_lpm]\nfrom = 2\nin = "L/min"\n'
KEYED = 'kind = "key-value"\n' + PURITY.format('"o2"') + '[field.flow_lpm]\nfrom = "f"\nin = "L/min"\n'
JSON = 'kind = "json"\n' + PURITY.format('"gas.o2"')
REGEX = """kind = 'regex'
pattern = 'O2 (?P<purity_pct>[0-9.]+)%( F (?P<flow_lpm>[0-9.]+))?'
[field.purity_pct]
in = '%'
[field.flow_lpm]
in = 'L/min'
"""
FIXED = (
    'kind = "fixed-width"\nwidth = 9\n' + PURITY.format("[1, 4]") + '[field.flow_lpm]\nfrom = [6, 9]\nin = "L/min"\n'
)
BOTH = {"purity_pct": 93.4, "flow_lpm": 4.9}


@pytest.mark.parametrize(
    ("profile", "line", "found"),
    [
        (DELIMITED, b"93.4,4.9\n", BOTH),
        (DELIMITED, b" 93.4 , 4.90 ,x\r\n", BOTH),
        (DELIMITED, b",4.9\n", {"flow_lpm": 4.9}),
        (DELIMITED, b"93.4\n", "no column 2 for flow_lpm: the line has 1"),
        ("columns = 2\n" + DELIMITED, b"93.4,4.93.4,4.9\n", "3 columns where 2 should be"),
        (DELIMITED, b"ERR,4.9\n", "purity_pct: 'ERR' is no number"),
        (DELIMITED, b"nan,4.9\n", "purity_pct: 'nan' is no number"),
        (DELIMITED, b"1_0,4.9\n", "purity_pct: '1_0' is no number"),
        (DELIMITED, b"1e999,4.9\n", "purity_pct: inf is no value"),
        (DELIMITED, b"193.4,4.9\n", "purity_pct 193.4 is outside -1.0 to 110.0"),
        (DELIMITED, b",\n", "no measured value in it"),
        (DELIMITED, b"93.\xff,4.9\n", "not ascii text: noise, or another baud rate?"),
        ("decimal = ','\ndelimiter = ';'\n" + DELIMITED, b"93,4;4,9\n", BOTH),
        ("decimal = ','\ndelimiter = ';'\n" + DELIMITED, b"93.4;4,9\n", "purity_pct: '93.4' is no number"),
        (KEYED, b"f=4.9 o2=93.4 x=1\n", BOTH),
        (KEYED, b"o2=93.4\n", {"purity_pct": 93.4}),
        (KEYED, b"o2=93.4 o2=12\n", "'o2' is said twice"),
        (KEYED, b"hello\n", "'hello' has no '='"),
        (KEYED, b"x=1\n", "none of the profile's keys is in it"),
        ("equals = ':'\npairs = ','\n" + KEYED, b"o2: 93.4, f: 4.9\n", BOTH),
        (JSON, b'{"gas":{"o2":93.4}}\n', {"purity_pct": 93.4}),
        (JSON, b'{"gas":{"o2":"93.4"}}\n', {"purity_pct": 93.4}),
        (JSON, b'{"gas":{"o2":null}}\n', "none of the profile's keys is in it"),
        (JSON, b'{"gas":{"o2":true}}\n', "'gas.o2' is no number and no text"),
        (JSON, b'{"gas":3}\n', "none of the profile's keys is in it"),
        (JSON, b"[1]\n", "not a JSON object: Expected `object`, got `array`"),
        (REGEX, b"O2 93.4% F 4.9\n", BOTH),
        (REGEX, b"O2 93.4%\n", {"purity_pct": 93.4}),
        (REGEX, b"xO2 93.4%\n", "the pattern does not fit the line"),
        (FIXED, b"93.4  4.9\n", BOTH),
        (FIXED, b"93.4  4.9 \n", "10 signs where 9 should be"),
    ],
)
def test_a_line_becomes_a_reading_or_is_refused_with_a_reason(profile, line, found):
    assert said(profile, line) == [found]


def test_lines_that_say_nothing_are_passed_over():
    assert said("ignore = ['#']\n" + DELIMITED, b"# boot\n\n93.4,4.9\n") == [BOTH]


def test_words_units_and_marks_of_nothing():
    profile = 'kind = "delimited"\n[field.purity_pct]\nfrom = 1\nin = "%"\nstrip = "%"\nmissing = ["--"]\n' + (
        '[field.lamp]\nfrom = 2\nwords = { G = "green" }\n')  # fmt: skip
    assert said(profile, b"93.4 %,G\n--,G\n--,X\n") == [
        {"purity_pct": 93.4, "lamp": "green"}, {"lamp": "green"}, "lamp: 'X' is none of G",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("field", "unit", "shown", "value"),
    [
        ("purity_pct", "ratio", "0.934", 93.4), ("purity_pct", "ppm", "934000", 93.4),
        ("purity_pct", "per mille", "934", 93.4), ("flow_lpm", "mL/min", "4900", 4.9),
        ("flow_lpm", "m3/s", "8.3333333e-5", 5.0), ("flow_lpm", "m3/h", "0.3", 5.0),
        ("flow_lpm", "L/s", "0.1", 6.0), ("flow_lpm", "L/h", "300", 5.0), ("flow_lpm", "m3/min", "0.005", 5.0),
        ("flow_lpm", "ft3/h", "10", 4.719474), ("power_w", "kW", "0.35", 350), ("power_w", "mW", "350000", 350),
        ("temp_c", "K", "304.35", 31.2), ("temp_c", "degF", "88.16", 31.2), ("volts", "mV", "230000", 230),
        ("volts", "kV", "0.23", 230), ("pressure_kpa", "bar", "0.58", 58), ("pressure_kpa", "mbar", "580", 58),
        ("pressure_kpa", "hPa", "580", 58), ("pressure_kpa", "Pa", "58000", 58), ("pressure_kpa", "MPa", "0.058", 58),
        ("pressure_kpa", "psi", "10", 68.947573), ("pressure_kpa", "mmHg", "760", 101.325014),
        ("pressure_kpa", "cmH2O", "100", 9.80665), ("hours_h", "min", "90", 1.5), ("hours_h", "s", "5400", 1.5),
        ("hours_h", "d", "2", 48),
    ],
)  # fmt: skip
def test_units_are_converted(field, unit, shown, value):
    profile = f'kind = "delimited"\n[field.{field}]\nfrom = 1\nin = "{unit}"\n'
    (found,) = said(profile, shown.encode() + b"\n")
    assert found == {field: pytest.approx(value, abs=1e-5)}


def test_every_unit_has_a_check_above():
    (mark,) = test_units_are_converted.pytestmark
    checked = {(field, unit) for field, unit, *_ in mark.args[1]}
    plain = {"%", "L/min", "W", "degC", "V", "kPa", "h"}
    assert checked == {(field, unit) for field, units in CONVERSIONS.items() for unit in units if unit not in plain}


def test_an_absolute_pressure_becomes_gauge_at_the_height_of_the_bridge():
    profile = 'kind = "delimited"\n[field.pressure_kpa]\nfrom = 1\nin = "kPa"\nabsolute = true\n'
    assert said(profile, b"159.325\n") == [{"pressure_kpa": 58.0}]
    (high,) = said(profile, b"137.501\n", altitude_m=2000)
    assert high == {"pressure_kpa": pytest.approx(58.0, abs=0.001)}


TIMED = 'kind = "delimited"\ndelimiter = ";"\n' + PURITY.format(2) + "[field.time]\nfrom = 1\n"


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("", "2026-11-25T20:00:00Z"), ("", "2026-11-25T21:00:00+01:00"), ("", "2026-11-25 20:00:00"),
        ('zone = "Africa/Lagos"', "2026-11-25T21:00:00"), ('format = "unix"', "1795636800"),
        ('format = "unix-ms"', "1795636800000"), ('format = "%d.%m.%Y %H:%M:%S"', "25.11.2026 20:00:00"),
    ],
)  # fmt: skip
def test_a_devices_own_time_is_read_as_utc(keys, text):
    (heard,) = talk(TIMED + keys).feed(f"{text};93.4\n".encode(), NOW)
    assert heard.told.reading.time_ms == parse_utc("2026-11-25T20:00:00Z")


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ("", "yesterday"),
        ('format = "unix"', "nan"),
        ('format = "unix"', "1e300"),
        ('format = "unix-ms"', "9e15"),
        ('format = "%Y-%m-%d %H:%M"', "x"),
    ],
)
def test_a_time_that_is_none_is_refused(keys, text):
    (heard,) = talk(TIMED + keys).feed(f"{text};93.4\n".encode(), NOW)
    assert heard.said.startswith("time: ")


def test_without_a_clock_of_its_own_the_bridges_time_counts():
    (heard,) = talk(DELIMITED).feed(b"93.4,4.9\n", NOW)
    assert heard.told.reading.time_ms == NOW


@pytest.mark.parametrize("text", ["", "1970-01-01T00:00:07Z", "2000-01-01T00:00:07Z"])
def test_a_clock_that_was_never_set_counts_as_none(text):
    (heard,) = talk(TIMED).feed(f"{text};93.4\n".encode(), NOW)
    assert heard.told.reading.time_ms == NOW


@pytest.mark.parametrize("profile", [DELIMITED, KEYED, JSON, REGEX, FIXED])
@given(data=st.binary(max_size=200))
def test_noise_is_refused_or_passed_over_and_never_an_error(profile, data):
    for heard in talk(profile).feed(data + b"\n", NOW):
        assert (heard.told is None) == bool(heard.said)


def test_a_careless_pattern_and_a_long_line_take_no_time():
    """A backtracking matcher needs more steps than there are atoms for this one; the bound is generous."""
    profile = "kind = 'regex'\npattern = '((?P<purity_pct>[0-9]+)*)*X'\n[field.purity_pct]\nin = '%'\n"
    assert said(profile, b"1" * 500 + b"\n") == ["the pattern does not fit the line"]
