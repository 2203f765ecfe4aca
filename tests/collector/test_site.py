"""The site file: what it accepts, and that a wrong one is refused with line, key and the way out."""

from datetime import date
from pathlib import Path
from typing import get_args

import pytest

from collector.rules.catalogue import CATALOGUE, CAUSES
from collector.site import Site, SiteError, load_site, parse_site
from collector.site_tables import TaskSign

GOOD = """
[facility]
id = "lake"
timezone = "Africa/Banjul"
[[ward]]
id = "newborn"
[[model]]
id = "five"
[[model.task]]
id = "intake-filter"
every_days = 180
[[unit]]
id = "u1"
ward = "newborn"
model = "five"
in_service = 2025-03-01
[[unit]]
id = "u2"
"""


def faults(text: str) -> list[str]:
    with pytest.raises(SiteError) as caught:
        parse_site(text, "site.toml")
    return caught.value.faults


def test_everything_but_ids_is_optional() -> None:
    site = parse_site('[facility]\nid = "lake"\n')
    assert (site.units, site.wards, site.simulated, site.places()) == ((), (), False, ())


def test_defaults_of_a_model() -> None:
    model = parse_site(GOOD).model_of("u1")
    assert (model.amber_pct, model.red_pct, model.shutdown_pct, model.warm_up_min) == (85, 82, 70, 10)
    assert model.power_w == 350  # WHO: 70 W per L/min at the most


SERVICE = """
[facility]
id = "lake"
[[ward]]
id = "newborn"
quiet_hours = "21:00-07:30"
[[part]]
id = "felt"
name = "intake filter"
[[analyser]]
id = "analyser-a"
calibrated = 2026-01-10
[[cylinder]]
id = "c1"
place = "by the door"
[[model]]
id = "five"
[[model.task]]
id = "sieve"
every_h = 20000
condition = "sieve-worn"
parts = ["felt", "intake filter"]
[[model.task]]
id = "valves"
condition = ["valve-fault", "leak"]
takes_unit_out = false
"""


def test_what_service_needs_has_its_place_and_defaults() -> None:
    site = parse_site(SERVICE)
    assert (site.facility.technician_h_per_day, site.facility.electricity_cost_per_kwh) == (6, 0)
    assert site.ward("newborn").quiet_min == (1260, 450)
    assert parse_site(GOOD).ward("newborn").quiet_min is None
    assert site.part("felt") is site.part("intake filter") is site.parts[0]
    assert (site.parts[0].stock, site.parts[0].lead_days, site.parts[0].service_level) == (0, 30, 0.95)
    analyser = site.analyser("analyser-a")
    assert analyser is not None
    assert (analyser.calibrated, analyser.calibrate_days) == (date(2026, 1, 10), 365)
    assert (site.part("gone"), site.analyser("gone")) == (None, None)
    assert (site.cylinders[0].place, site.cylinders[0].reserve_share) == ("by the door", 0.2)


def test_a_task_is_due_by_one_sign_or_several() -> None:
    sieve, valves = parse_site(SERVICE).model("five").task
    assert (sieve.condition, valves.condition) == (("sieve-worn",), ("valve-fault", "leak"))
    assert (sieve.takes_unit_out, valves.takes_unit_out, sieve.proof, sieve.by) == (True, False, False, "engineer")


def test_the_signs_that_make_a_task_due_are_those_that_the_rules_tell() -> None:
    signs = set(get_args(TaskSign))
    assert signs - set(CATALOGUE) == set(CAUSES) - {"unknown"} - set(CATALOGUE)


def test_without_any_part_tasks_name_parts_freely() -> None:
    text = '[facility]\nid="a"\n[[model]]\nid="m"\n[[model.task]]\nid="t"\nevery_h=5\nparts=["string"]'
    assert parse_site(text).model("m").task[0].parts == ("string",)


def test_two_tasks_of_a_model_have_different_ids() -> None:
    task = '[[model.task]]\nid="t"\nevery_h=5\n'
    (said,) = faults('[facility]\nid="a"\n[[model]]\nid="m"\n' + task + task)
    assert "two tasks of this model have the id 't'" in said


def test_a_unit_without_ward_or_model_has_a_place_and_the_defaults() -> None:
    site = parse_site(GOOD)
    assert site.ward_of("u2").id == "unassigned"
    assert [ward.id for ward in site.places()] == ["newborn", "unassigned"]
    assert site.model_of("u2").rated_flow_lpm == 5
    unit = site.unit("u1")
    assert unit is not None
    assert unit.in_service == date(2025, 3, 1)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('[facility]\nid="a"\nnmae="x"', "site.toml:3: unknown key 'nmae'; did you mean 'name'?"),
        ('[facilty]\nid="a"', "site.toml:1: unknown key 'facilty'; did you mean 'facility'?"),
        (
            '[facility]\nid="a"\n[[unit]]\nid="u"\n[[unit]]\nid="v"\n\nwrad="w"',
            "site.toml:8: unknown key 'wrad'; did you mean 'ward'?",
        ),
        (
            '[facility]\nid="a"\n[[model]]\nid="m"\n[[model.task]]\nid="t"\nevry_h=5',
            "site.toml:7: unknown key 'evry_h'; did you mean 'every_h'?",
        ),
        (
            '[facility]\nid="a"\n[[unit]]\nid="u"\nward="w"\n[[ward]]\nid="wa"',
            "site.toml:5: no [[ward]] has the id 'w'; did you mean 'wa'?",
        ),
        (
            '[facility]\nid="a"\n[[unit]]\nid="u"\n[[unit]]\nid="u"',
            "site.toml:6: two [[unit]] have the id 'u'; rename one",
        ),
        ('[facility]\nid="a"\n[[unit]]\nward="u"', "site.toml:3: [unit] needs 'id'; add it"),
        ('[facility]\nid="a"\n[[part]]\nid="p"\nstok=3', "site.toml:5: unknown key 'stok'; did you mean 'stock'?"),
        (
            '[facility]\nid="a"\n[[part]]\nid="p"\n[[part]]\nid="p"',
            "site.toml:6: two [[part]] have the id 'p'; rename one",
        ),
        (
            '[facility]\nid="a"\n[[part]]\nid="felt"\nname="Intake filter"\n[[model]]\nid="m"\n[[model.task]]\nid="t"\n'
            'every_h=5\nparts=["intake filter"]',
            "site.toml:11: no [[part]] has the id or name 'intake filter'; did you mean 'Intake filter'?",
        ),
    ],
)
def test_a_wrong_key_is_named_with_its_line_and_the_nearest_known_one(text: str, expected: str) -> None:
    assert expected in faults(text)


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('[facility]\nid="A b"', 2, "an id is small letters"),
        ('[facility]\nid="a"\ntimezone="Mars/Base"', 3, "no time zone 'Mars/Base'"),
        ('[facility]\nid="a"\n[[model]]\nid="m"\nred_pct=90', 3, "limits must rise"),
        ('[facility]\nid="a"\n[[model]]\nid="m"\nred_pct="low"', 5, "valid number"),
        ('[facility]\nid="a"\n[[ward]]\nid="w"\nchangeover_min=-3', 5, "greater than 0"),
        ('[facility]\nid="a"\n[[unit]]\nid="u"\nin_service="yesterday"', 5, "in_service"),
        ('[facility]\nid="a"\ntechnician_h_per_day=0', 3, "greater than 0"),
        ('[facility]\nid="a"\n[[ward]]\nid="w"\nquiet_hours="9 to 5"', 5, "such as '21:00-07:00'"),
        ('[facility]\nid="a"\n[[ward]]\nid="w"\nquiet_hours="07:00-07:00"', 5, "two different times"),
        ('[facility]\nid="a"\n[[model]]\nid="m"\n[[model.task]]\nid="t"', 5, "the task is never due"),
        ('[facility]\nid="a"\n[[model]]\nid="m"\n[[model.task]]\nid="t"\ncondition="rust"', 7, "'sieve-worn'"),
        ('[facility]\nid="a"\n[[part]]\nid="p"\nservice_level=1', 5, "less than 1"),
        ('[facility]\nid="a"\n[[part]]\nid="p"\nstock=-1', 5, "greater than or equal to 0"),
        ('[facility]\nid="a"\n[[analyser]]\nid="x"\ncalibrated="lately"', 5, "date"),
        ('[facility]\nid="a"\n[[cylinder]]\nid="c"\nreserve_share=1', 5, "less than 1"),
    ],
)
def test_a_wrong_value_is_named_with_its_line(text: str, line: int, said: str) -> None:
    (first, *_) = faults(text)
    assert first.startswith(f"site.toml:{line}: ")
    assert said in first


def test_every_fault_is_named_at_once() -> None:
    assert len(faults('[facility]\nid="a"\nx=1\n[[unit]]\nid="u"\ny=2\n[[ward]]\nz=3')) == 4


def test_a_broken_toml_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    assert "line 1" in faults("[facility\n")[0]
    with pytest.raises(SiteError, match="no such file"):
        load_site(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"[facility]\nid='\xe9'\n")
    with pytest.raises(SiteError, match="cannot be read"):
        load_site(tmp_path / "latin.toml")


def test_a_simulated_facility_is_told_by_its_id() -> None:
    assert parse_site('[facility]\nid="sim-lake"').simulated
    assert isinstance(parse_site(GOOD), Site)


def test_a_bridge_may_only_list_what_there_is() -> None:
    text = 'facility.id = "lake"\n[[unit]]\nid = "u1"\n[[bridge]]\nid = "a"\nunits = ["u2"]\ncylinders = ["c"]\n'
    with pytest.raises(SiteError) as error:
        parse_site(text)
    assert error.value.faults == [
        "site.toml:6: no [[unit]] has the id 'u2'; did you mean 'u1'?",
        "site.toml:7: no [[cylinder]] has the id 'c'",
    ]
    assert parse_site(text.replace("u2", "u1").replace('"c"', "")).bridges[0].title == "a"


INFLUX = GOOD + '[influx]\nurl = "{url}"\nbucket = "oxygen"\ntoken_file = "influx.token"\n'


def test_a_long_memory_is_named_without_its_secret() -> None:
    influx = parse_site(INFLUX.format(url="https://archive.example:8086/")).influx
    assert influx is not None
    assert (influx.url, influx.bucket, influx.org) == ("https://archive.example:8086", "oxygen", "")
    assert (
        "unknown key 'token'; did you mean 'token_file'?"
        in faults(INFLUX.format(url="https://a.example") + 'token = "x"\n')[0]
    )


@pytest.mark.parametrize("url", ["archive.example:8086", "ftp://archive.example", "http://", "http://a b"])
def test_an_address_that_is_none_is_refused_with_an_example(url: str) -> None:
    assert "such as 'https://archive.example:8086'" in faults(INFLUX.format(url=url))[0]
