"""A technician types what stands in INSTALL and SECURITY: every command is one that there is."""

import re
import shlex
from pathlib import Path

import pytest

from deploy import install
from tests.deploy.command_lines import refusal

ROOT = Path(__file__).parents[2]
INSTALL = (ROOT / "deploy" / "INSTALL.md").read_text(encoding="utf-8")
SECURITY = (ROOT / "deploy" / "SECURITY.md").read_text(encoding="utf-8")
BLOCKS = [line.strip() for line in INSTALL.splitlines() if line.startswith("    ")]
#: What a command line needs that the text leaves to its reader.
STAND_INS = {"…": "x", "LOGIN": "amie", "COPY": "copy"}


def commands():
    """Every `sieveward …` of both texts, in blocks and between backticks."""
    told = [*BLOCKS, *re.findall(r"`([^`]+)`", INSTALL + SECURITY)]
    parts = [part.strip() for line in told for part in line.split("&&")]
    found = [re.sub(r"^sudo (-u sieveward )?", "", part) for part in parts]
    return sorted({line.removeprefix("sieveward ") for line in found if line.startswith("sieveward ")})


def whole(line):
    """A line with an option that alone would not do, as it is used."""
    if line == "site keys --withdraw":
        return "site keys --site s.toml --withdraw x"
    return line


@pytest.mark.parametrize("line", commands())
def test_each_command_is_taken(line) -> None:
    assert refusal(shlex.split(whole(line))) == ""


def test_there_are_commands_to_look_at() -> None:
    assert len(commands()) >= 10


def test_every_work_of_the_installer_is_explained_and_there() -> None:
    named = set(re.findall(r"deploy/install\.py (\w+)", INSTALL + SECURITY))
    assert named == set(install.WORKS)


def test_every_service_that_is_named_is_there() -> None:
    named = set(re.findall(r"\bsieveward-(?:broker|collector|dashboard|deliver|keep|bridge@)", INSTALL))
    assert {f"{name}.service" for name in named} <= {path.name for path in (ROOT / "deploy" / "systemd").iterdir()}
    assert len(named) == 6


def test_paths_are_those_of_the_services_and_the_installer() -> None:
    machine = install.Machine(Path("/"), True)
    units = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "deploy" / "systemd").iterdir())
    for path in (machine.data, machine.disk, machine.config / "site.toml", machine.config / "keys"):
        assert str(path) in INSTALL
        assert str(path) in units


def test_it_is_one_page_and_has_its_checklist() -> None:
    assert len(INSTALL.splitlines()) <= 90
    assert INSTALL.count("- [ ]") >= 6


def test_they_are_linked_from_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "(deploy/INSTALL.md)" in readme
    assert "(deploy/SECURITY.md)" in readme


def test_refused_and_held_are_said() -> None:
    for said in ("No patient data", "Not protected against", "Reporting a weakness"):
        assert said in SECURITY
