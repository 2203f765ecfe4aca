"""Real pseudo-terminals: several at once, pulled out and put in again, silent, asked, and never waited for."""

import select
from functools import partial
from itertools import pairwise

import pytest

from collector.bridge.bridge_file import BridgeFileError, load_bridge_file
from collector.bridge.port import LONGEST_RETRY_S
from collector.bridge.ports import Ports
from collector.clock import ManualClock
from simulator.serial_device import SerialDevice
from tests.collector.bridge.plugs import Adapter, Tick, bridge_file, ports_of
from tests.collector.bridge.talking import values
from tests.simulator.fleets import MINUTE, T0, fleet, site, unit
from tests.waiting import wait_for

ONE = 'kind = "delimited"\n[field.purity_pct]\nfrom = 1\nin = "%"\n'
ASKED = 'kind = "delimited"\n[poll]\nrequest = "{unit}?"\nevery_s = 10\ntimeout_s = 1\n' + ONE.split("\n", 1)[1]
NOW = T0


@pytest.fixture
def tick():
    return Tick()


@pytest.fixture
def adapter(tmp_path):
    found = Adapter(tmp_path / "adapter-1")
    found.plug()
    return found


def port(adapter, profile="one.toml", **keys):
    who = {} if "units" in keys else {"unit": "u1"}
    return {"path": str(adapter.path), "profile": profile, **who, **keys}


@pytest.fixture(autouse=True)
def profiles(tmp_path):
    (tmp_path / "one.toml").write_text(ONE)
    (tmp_path / "asked.toml").write_text(ASKED)


def read(ports, count=1):
    """Turn, waiting on the lines as a bridge does, until so many readings came."""
    found = []

    def enough():
        select.select(ports.filenos(), [], [], 0)
        found.extend(ports.turn(NOW))
        return len(found) >= count

    wait_for(enough, 5, f"{count} readings")
    return found


def test_what_is_read_is_given_on_without_waiting(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter))
    assert ports.turn(NOW) == []
    adapter.says(b"tail of a line\n93.")
    assert ports.turn(NOW) == []
    adapter.says(b"4\n")
    (reading,) = read(ports)
    assert (reading.unit, reading.time_ms, values(reading)) == ("u1", NOW, {"purity_pct": 93.4})
    (state,) = ports.state()
    assert (state.open, state.stale, state.readings, state.refused, state.dropped_bytes) == (True, False, 1, 0, 15)
    ports.close()


def test_of_one_moment_there_is_one_reading(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter))
    ports.turn(NOW)
    adapter.says(b"x\n91.0\n92.0\n93.0\n")
    (reading,) = read(ports)
    assert reading.purity_pct == 93.0


def test_an_adapter_pulled_out_and_put_in_again(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter))
    ports.turn(NOW)
    adapter.says(b"x\n93.4\n93.")
    read(ports)
    adapter.pull()
    wait_for(lambda: ports.turn(NOW) == [] and not ports.state()[0].open, 5, "the port to be gone")
    assert ports.filenos() == []
    tick.advance(LONGEST_RETRY_S)
    assert ports.turn(NOW) == []
    assert "is it plugged in" in ports.state()[0].said
    adapter.plug()
    tick.advance(LONGEST_RETRY_S)
    ports.turn(NOW)
    assert ports.state()[0].open
    adapter.says(b"3.4\n90.1\n")
    assert [reading.purity_pct for reading in read(ports)] == [90.1]
    adapter.pull()


def test_a_port_that_is_not_there_is_tried_less_and_less_often(tmp_path, tick):
    tried = []

    def gone(table):
        tried.append(tick())
        raise FileNotFoundError(2, "none")

    adapter = Adapter(tmp_path / "none")
    ports = Ports(bridge_file(port(adapter)), tmp_path, tick, gone)
    for _ in range(300):
        ports.turn(NOW)
        assert ports.wait_s() <= 1.0
        tick.advance(0.1)
    gaps = [round(b - a, 1) for a, b in pairwise(tried)]
    assert gaps == sorted(gaps)
    assert gaps[0] <= 0.6
    assert gaps[-1] <= LONGEST_RETRY_S + 0.1


def test_one_port_gone_leaves_the_others_alone(tmp_path, tick, adapter):
    other = Adapter(tmp_path / "adapter-2")
    other.plug()
    ports = ports_of(tmp_path, tick, port(adapter), port(other, unit="u2"))
    ports.turn(NOW)
    adapter.pull()
    other.says(b"x\n90.0\n")
    assert [reading.unit for reading in read(ports)] == ["u2"]
    assert [state.open for state in ports.state()] == [False, True]
    ports.close()


def test_another_device_at_the_same_path_is_noticed_though_the_old_line_stays_open(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter))
    ports.turn(NOW)
    adapter.plug()  # the old pair is never closed: silence is all there is to hear
    tick.advance(LONGEST_RETRY_S)
    ports.turn(NOW)
    assert "another device" in ports.state()[0].said
    tick.advance(LONGEST_RETRY_S)
    ports.turn(NOW)
    adapter.says(b"x\n93.4\n")
    assert len(read(ports)) == 1


def test_silence_is_told_by_unit(tmp_path, tick, adapter):
    (tmp_path / "named.toml").write_text(ONE.replace("from = 1", "from = 2") + "[field.unit]\nfrom = 1\n")
    ports = ports_of(tmp_path, tick, port(adapter, "named.toml", units={"a": "u1", "b": "u2"}, stale_s=30))
    ports.turn(NOW)
    tick.advance(29)
    adapter.says(b"x\na,93.4\n")
    read(ports)
    assert not ports.state()[0].stale
    tick.advance(2)
    (state,) = ports.state()
    assert (state.stale, state.silent) == (True, ("u2",))


def test_each_unit_is_asked_in_turn_and_a_dead_one_costs_its_time_only(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter, "asked.toml", units={"a": "u1", "b": "u2"}))
    ports.turn(NOW)
    assert wait_for(adapter.heard, 5, "a request") == b"a?"
    tick.advance(1.1)
    assert ports.turn(NOW) == []
    tick.advance(1.0)
    ports.turn(NOW)
    assert wait_for(adapter.heard, 5, "the next request") == b"b?"
    adapter.says(b"93.4\n")
    assert [reading.unit for reading in read(ports)] == ["u2"]
    assert (ports.state()[0].timeouts, ports.state()[0].refused) == (1, 1)
    tick.advance(7)
    ports.turn(NOW)
    assert adapter.heard() == b""
    tick.advance(1)
    ports.turn(NOW)
    assert wait_for(adapter.heard, 5, "the next round") == b"a?"
    ports.close()


def test_a_bridge_says_how_long_it_may_wait(tmp_path, tick, adapter):
    ports = ports_of(tmp_path, tick, port(adapter, "asked.toml", units={"a": "u1"}))
    ports.turn(NOW)
    assert ports.wait_s() == 1.0
    tick.advance(0.75)
    assert ports.wait_s() == pytest.approx(0.25)
    ports.close()


@pytest.mark.parametrize(("form", "profile"), [("delimited", "semicolon-line"), ("key-value", "key-value-line")])
def test_a_simulated_unit_on_a_pseudo_terminal_is_read_as_it_is(tmp_path, tick, form, profile):
    quiet = "[sensors]\nmissing_share = 0\nmissing_value_share = 0\n"
    clock = ManualClock(T0)
    device = SerialDevice(fleet(quiet, site(unit("u1"))), "u1", clock, form)
    path = device.start()
    ports = ports_of(tmp_path, tick, {"path": path, "profile": profile, "unit": "u1"})
    ports.turn(T0)
    own = list(fleet(quiet, site(unit("u1"))).readings(T0, T0 + 2 * MINUTE))
    found: list = []

    def heard(count):
        found.extend(ports.turn(clock.now_ms()))
        return ports.state()[0].readings >= count

    for line in range(12):  # a line is heard before the next one is due, as it is in life
        clock.advance(10_000)
        wait_for(partial(heard, line), 5, f"line {line}")
    device.stop()
    ports.close()
    assert [reading.purity_pct for reading in found] == [reading.purity_pct for reading in own[1:]]
    assert [reading.power_w for reading in found] == [reading.power_w for reading in own[1:]]
    if form == "delimited":
        assert [reading.time_ms for reading in found] == [reading.time_ms for reading in own[1:]]


BRIDGE = (
    'facility = "lakeside"\nbridge = "b1"\nbroker = "localhost"\n[[port]]\npath = "/dev/x"\nprofile = "registers"\n'
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (BRIDGE, "bridge.toml:4: port: name the unit behind the port"),
        (BRIDGE + 'unit = "u1"\nspeed = 3\n', "bridge.toml:8: unknown key 'speed'"),
        (BRIDGE.replace('broker = "localhost"', "") + 'unit = "u1"\n', "say where readings go"),
        (BRIDGE + 'unit = "u1"\n[[port]]\npath = "/dev/x"\nprofile = "x"\nunit = "u2"\n', "two ports have the path"),
        (BRIDGE + 'unit = "U 1"\n', "an id is small letters"),
        (BRIDGE + 'unit = "u1"\ncalibrated_altitude_m = 0\n', "say at which altitude_m the bridge stands"),
        (BRIDGE + "units = { a = 'u1', b = 'u1' }\n", "stand for the same unit"),
        ('facility = "x"\nbridge = "y"\nbroker = "z"\n', "needs 'port'"),
        ("facility", "not valid TOML"),
    ],
)
def test_a_wrong_bridge_file_is_refused_with_its_line(tmp_path, text, said):
    path = tmp_path / "bridge.toml"
    path.write_text(text)
    with pytest.raises(BridgeFileError) as error:
        load_bridge_file(path)
    assert said in str(error.value)


def test_paths_of_a_bridge_file_are_relative_to_it(tmp_path):
    path = tmp_path / "bridge.toml"
    path.write_text(BRIDGE.replace('broker = "localhost"', 'account = "a.toml"') + 'unit = "u1"\n')
    found = load_bridge_file(path)
    assert (found.account, found.spool) == (tmp_path / "a.toml", tmp_path / "spool")
    with pytest.raises(BridgeFileError, match="no such file"):
        load_bridge_file(tmp_path / "none.toml")


def test_a_port_that_another_program_has_is_said(tmp_path, tick, adapter):
    first = ports_of(tmp_path, tick, port(adapter))
    second = ports_of(tmp_path, tick, port(adapter))
    first.turn(NOW)
    second.turn(NOW)
    assert second.state()[0].said == "another program has it open; end that one"
    first.close()
    tick.advance(LONGEST_RETRY_S)
    second.turn(NOW)
    assert second.state()[0].open
    second.close()


def test_a_pressure_from_vacuum_needs_the_height(tmp_path, tick, adapter):
    (tmp_path / "vacuum.toml").write_text(
        'kind = "delimited"\n[field.pressure_kpa]\nfrom = 1\nin = "kPa"\nabsolute = true\n'
    )
    with pytest.raises(BridgeFileError, match="say altitude_m"):
        ports_of(tmp_path, tick, port(adapter, "vacuum.toml"))
    ports_of(tmp_path, tick, port(adapter, "vacuum.toml"), altitude_m=0)


def test_a_profile_that_does_not_fit_its_port_is_refused(tmp_path, tick, adapter):
    with pytest.raises(BridgeFileError, match="do not say which unit speaks"):
        ports_of(tmp_path, tick, port(adapter, units={"a": "u1"}))
