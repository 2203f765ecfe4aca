"""Registers read from a real Modbus server, pymodbus's, over a pseudo-terminal: the independent other side.

Source: pymodbus. What it serves is written with pymodbus's own types, so number types and word order are checked
against it too.
"""

import pytest
from pymodbus.constants import ExcCodes
from pymodbus.simulator import DataType, SimData, SimDevice

from collector.bridge.ports import Ports
from collector.reading import EARLIEST_MS
from tests.collector.bridge.modbus_server import modbus_server
from tests.collector.bridge.plugs import bridge_file
from tests.collector.bridge.talking import values
from tests.waiting import wait_for


def device(number, purity=934, action=None):
    data = [
        SimData(0, values=[purity, 490, 58, 2], datatype=DataType.UINT16),
        SimData(10, values=31.25, datatype=DataType.FLOAT32),
        SimData(12, values=4_334_400, datatype=DataType.UINT32),
    ]
    return SimDevice(id=number, simdata=data, action=action)


def ports_on(pair, tmp_path, units, profile="registers"):
    table = {"path": pair.near, "profile": profile, "baud": 19200, "units": units}
    return Ports(bridge_file(table), tmp_path)


def read(ports, until):
    found: list = []

    def enough():
        found.extend(ports.turn(EARLIEST_MS))
        return until(found)

    wait_for(enough, 10, "readings")
    return {reading.unit: values(reading) for reading in found}


ALL = {"purity_pct": 93.4, "flow_lpm": 4.9, "pressure_kpa": 58.0, "lamp": "amber", "temp_c": 31.25, "hours_h": 1204.0}


def test_registers_of_all_types_are_read_as_the_server_wrote_them(tmp_path):
    with modbus_server([device(17), device(18, 891)]) as pair:
        ports = ports_on(pair, tmp_path, {"17": "u1", "18": "u2"})
        found = read(ports, lambda readings: len(readings) == 2)
        ports.close()
    assert found == {"u1": ALL, "u2": {**ALL, "purity_pct": 89.1}}


def test_noise_before_an_answer_costs_nothing(tmp_path):
    with modbus_server([device(17)]) as pair:
        pair.noise = b"\x00\x11\x03\x08\xff"  # even the beginning of an answer
        ports = ports_on(pair, tmp_path, {"17": "u1"})
        found = read(ports, lambda readings: len(readings) == 1)
        assert ports.state()[0].timeouts == 0
        ports.close()
    assert found == {"u1": ALL}


def test_a_register_that_is_not_there_is_told_and_the_rest_is_read(tmp_path):
    (tmp_path / "more.toml").write_text(
        'kind = "modbus"\n[field.purity_pct]\naddress = 0\nin = "%"\nscale = 0.1\n'
        '[field.volts]\naddress = 500\nin = "V"\n'
    )
    with modbus_server([device(17)]) as pair:
        ports = ports_on(pair, tmp_path, {"17": "u1"}, "more.toml")
        found = read(ports, lambda readings: len(readings) == 1)
        (state,) = ports.state()
        ports.close()
    assert found == {"u1": {"purity_pct": 93.4}}
    assert (state.refused, state.readings) == (1, 1)


async def busy(*_):
    return ExcCodes.DEVICE_BUSY


def test_a_device_that_refuses_is_told_apart_and_the_next_one_asked(tmp_path):
    with modbus_server([device(17, action=busy), device(18)]) as pair:
        ports = ports_on(pair, tmp_path, {"17": "u1", "18": "u2"})
        said = set()

        def until(readings):
            said.add(ports.state()[0].said)
            return len(readings) == 1

        found = read(ports, until)
        ports.close()
    assert found == {"u2": ALL}
    assert "device 17 refuses registers 0 to 3: device busy (6)" in said


@pytest.mark.parametrize(
    ("word_order", "byte_order", "registers"),
    [  # 93.4 as IEEE 754 single precision is 42 BA CC CD
        ("big", "big", [0x42BA, 0xCCCD]),
        ("little", "big", [0xCCCD, 0x42BA]),
        ("big", "little", [0xBA42, 0xCDCC]),
        ("little", "little", [0xCDCC, 0xBA42]),
    ],
)
def test_all_four_orders_of_a_float(tmp_path, word_order, byte_order, registers):
    (tmp_path / "float.toml").write_text(
        f'kind = "modbus"\n[modbus]\nword_order = "{word_order}"\nbyte_order = "{byte_order}"\n'
        '[field.purity_pct]\naddress = 0\ntype = "float32"\nin = "%"\n'
    )
    served = SimDevice(id=17, simdata=[SimData(0, values=registers, datatype=DataType.UINT16)])
    with modbus_server([served]) as pair:
        ports = ports_on(pair, tmp_path, {"17": "u1"}, "float.toml")
        found = read(ports, lambda readings: len(readings) == 1)
        ports.close()
    assert found == {"u1": {"purity_pct": pytest.approx(93.4, abs=1e-5)}}
