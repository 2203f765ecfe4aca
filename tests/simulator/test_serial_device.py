"""One unit on a real pseudo-terminal, read with pyserial."""

import re
from contextlib import contextmanager

import pytest
import serial

from collector.clock import ManualClock
from simulator.serial_device import SerialDevice
from tests.simulator.fleets import MINUTE, T0, fleet, site, unit
from tests.waiting import wait_for

TWO = site(unit("u1"), unit("u2"))
QUIET = "[sensors]\nmissing_share = 0\nmissing_value_share = 0\n"
TIME = r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d\d\d)?Z"
DELIMITED = re.compile(TIME + r";\d+\.\d;\d\.\d\d;\d+;\d+\.\d;\d+\.\d;\d+\.\d;\d+\.\d")
KEY_VALUE = re.compile(
    r"purity=\d+\.\d flow=\d\.\d\d power=\d+ temp=\d+\.\d volts=\d+\.\d pressure=\d+\.\d hours=\d+\.\d"
)


@contextmanager
def device(line_format="", scenario=QUIET):
    clock = ManualClock(T0)
    one = SerialDevice(fleet(scenario, TWO), "u2", clock, line_format)
    path = one.start()
    port = serial.Serial(path, 9600, timeout=0)
    try:
        yield clock, port, one
    finally:
        port.close()
        one.stop()


def lines(port, count):
    """Read whole lines; a read may end in the middle of one."""
    heard = bytearray()

    def enough():
        heard.extend(port.read(4096))
        return heard.count(b"\r\n") >= count

    wait_for(enough, 15, f"{count} lines")
    return heard.decode("ascii").split("\r\n")[:-1]


@pytest.mark.parametrize(("line_format", "pattern"), [("delimited", DELIMITED), ("key-value", KEY_VALUE)])
def test_a_unit_speaks_at_its_times(line_format, pattern):
    with device(line_format) as (clock, port, _):
        clock.advance(2 * MINUTE)
        heard = lines(port, 12)
    assert len(heard) == 12
    assert [line for line in heard if not pattern.fullmatch(line)] == []


def test_the_values_are_the_units_own():
    with device("key-value") as (clock, port, _):
        clock.advance(MINUTE)
        heard = lines(port, 6)
    own = [r for r in fleet(QUIET, TWO).readings(T0, T0 + MINUTE) if r.unit == "u2"]
    assert [line.split()[0] for line in heard] == [f"purity={r.purity_pct}" for r in own]


@pytest.mark.parametrize(("line_format", "gap"), [("delimited", ";;"), ("key-value", "")])
def test_what_is_not_measured_is_left_out(line_format, gap):
    scenario = f'{QUIET}[scenario]\nline_format = "{line_format}"\n[[unit]]\nid = "u2"\nwithout = ["volts"]\n'
    with device(scenario=scenario) as (clock, port, _):
        clock.advance(MINUTE)
        heard = lines(port, 6)
    assert all(gap in line and "volts" not in line for line in heard)


def test_nobody_reading_does_not_stop_it():
    clock = ManualClock(T0)
    one = SerialDevice(fleet(QUIET, TWO), "u2", clock)
    one.start()
    try:
        clock.advance(24 * 60 * MINUTE)
        wait_for(lambda: one.written + one.lost == 8640, 30, "a day gone by")
        assert one.lost > 0
    finally:
        one.stop()


def test_unplugged_the_reader_is_told():
    clock = ManualClock(T0)
    one = SerialDevice(fleet(QUIET, TWO), "u2", clock)
    port = serial.Serial(one.start(), 9600, timeout=1)
    one.stop()
    with pytest.raises((serial.SerialException, OSError)):
        port.read(1)
    port.close()


def test_an_unknown_unit_or_form_is_refused():
    with pytest.raises(ValueError, match="no unit 'u9'"):
        SerialDevice(fleet(QUIET, TWO), "u9", ManualClock(T0))
    with pytest.raises(ValueError, match="no line format 'xml'; there are delimited, key-value"):
        SerialDevice(fleet(QUIET, TWO), "u1", ManualClock(T0), "xml")
