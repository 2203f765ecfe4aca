"""The site file: what it accepts, and that a wrong one is refused with line, key and the way out."""

from datetime import date
from pathlib import Path

import pytest

from collector.site import Site, SiteError, load_site, parse_site

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
