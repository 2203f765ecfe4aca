"""A wrong scenario is refused with the line, the key and the way out; those that come with the program are right."""

from pathlib import Path

import pytest

import simulator
from collector.site import load_site
from simulator.offsets import offset_ms
from simulator.scenario import FOLDER, ScenarioError, load_scenario, parse_scenario
from tests.simulator.fleets import site, unit

HOME = Path(simulator.__file__).parent


def refused(text):
    with pytest.raises(ScenarioError) as error:
        parse_scenario(text, site(unit("heron"), unit("wren")), "s.toml")
    return error.value.faults


WHOM = "s.toml:2: say whom it befalls with one of unit, units, ward or bridge"
FAULT = '[[fault]]\nkind = "leak"\nunit = "heron"\nstart = "1h"\nsize = 1.0\n'


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[scenario\n", "s.toml: not valid TOML"),
        ("[secnario]\n", "s.toml:1: unknown key 'secnario'; did you mean 'scenario'?"),
        ("[scenario]\ntitel = 'x'\n", "s.toml:2: unknown key 'titel'; did you mean 'title'?"),
        ("[sensors]\nmissing_share = 2\n", "s.toml:2: sensors.missing_share: Input should be less than or equal to 1 (it says 2)"),  # noqa: E501
        (FAULT.replace("leak", "leek"), "s.toml:2: no kind of fault is called 'leek'; did you mean 'leak'?"),
        (FAULT.replace("heron", "hero"), "s.toml:3: no unit is called 'hero'; did you mean 'heron'?"),
        (FAULT.replace('"1h"', '"soon"'), "s.toml:4: fault.start: not a time; write it like '2h10m', '90s' or '-3d', or as a number of minutes (it says 'soon')"),  # noqa: E501
        (FAULT.replace("1.0", "50"), "s.toml:5: 50.0 is outside 0 to 20 (L/min lost inside the unit)"),
        (FAULT.replace("size = 1.0\n", ""), "s.toml:2: 'leak' needs a size (L/min lost inside the unit); add it"),
        (FAULT.replace("start", "begin"), "s.toml:1: [fault] needs 'start'; add it"),
        (FAULT.replace("leak", "supply-cut"), "s.toml:5: 'supply-cut' has no size; leave it out"),
        (FAULT.replace("leak", "overdraw") + 'shape = "linear"\n', "s.toml:2: 'overdraw' is there or not; leave out shape and rise"),  # noqa: E501
        (FAULT + 'shape = "linear"\n', "s.toml:6: a fault that grows needs 'rise': how long it takes to grow; add it"),
        (FAULT + 'length = "0s"\n', "s.toml:6: must be longer than nothing"),
        (FAULT + 'ward = "a"\n', WHOM),
        (FAULT.replace('unit = "heron"\n', ""), WHOM),
        (FAULT.replace('unit = "heron"', 'ward = "c"'), "s.toml:3: no ward is called 'c'; known here: a, b"),
        ('[[fault]]\nkind = "bridge-silent"\nunit = "heron"\nstart = 5\n', "s.toml:2: 'bridge-silent' befalls a bridge; add bridge"),  # noqa: E501
        ('[[unit]]\nid = "hern"\n', "s.toml:2: the site has no unit 'hern'; did you mean 'heron'?"),
        ('[[bridge]]\nid = "x"\nunits = ["heron"]\n', "s.toml:1: no bridge reads wren; add them to one, or leave out all bridges"),  # noqa: E501
        ('[[bridge]]\nid = "x"\nunits = ["heron", "wren"]\n[[bridge]]\nid = "y"\nunits = ["wren"]\n', "s.toml:6: 'wren' is read by the bridge 'x' already; name it once"),  # noqa: E501
    ],
)  # fmt: skip
def test_a_fault_is_named_with_its_line(text, expected):
    assert any(said.startswith(expected) for said in refused(text)), refused(text)


def test_every_fault_is_named_at_once():
    assert len(refused(FAULT.replace("leak", "leek") + FAULT.replace("heron", "hero"))) == 2


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(ScenarioError, match="no such scenario; name a file, or one of: calm, night, one-unit"):
        load_scenario(tmp_path / "nothing.toml", site())


@pytest.mark.parametrize("name", sorted(path.stem for path in FOLDER.glob("*.toml")))
def test_the_scenarios_that_come_with_the_program(name):
    own = HOME / f"{name}.toml"
    hospital = load_site(own if own.exists() else HOME / "hospital.toml")
    assert hospital.simulated
    assert load_scenario(name, hospital).scenario.title


def test_the_demo_hospital():
    hospital = load_site(HOME / "hospital.toml")
    assert (len(hospital.units), len(hospital.wards)) == (24, 5)
    assert all(hospital.units_of(ward.id) for ward in hospital.wards)
    assert {cylinder.ward for cylinder in hospital.cylinders} == {ward.id for ward in hospital.wards}


@pytest.mark.parametrize(
    ("written", "minutes"),
    [("2h10m", 130), ("90s", 1.5), (7, 7), (2.5, 2.5), ("-3d", -4320), ("1d 2h", 1560), ("+5m", 5), ("0s", 0), ("1.5h", 90)],  # noqa: E501
)  # fmt: skip
def test_offsets(written, minutes):
    assert offset_ms(written) == minutes * 60_000


@pytest.mark.parametrize("written", ["", "2", "h", "2h-3m", "2 weeks", None, True, []])
def test_what_is_no_offset(written):
    with pytest.raises(ValueError, match="not a time"):
        offset_ms(written)
