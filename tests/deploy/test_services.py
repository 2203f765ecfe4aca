"""The services: systemd itself reads them, and what they start is what the command takes."""

import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.deploy.command_lines import refusal

FOLDER = Path(__file__).parents[2] / "deploy" / "systemd"
UNITS = sorted(path.name for path in FOLDER.glob("sieveward*"))
SERVICES = [name for name in UNITS if name.endswith(".service")]
PROGRAM = "/opt/sieveward/current/.venv/bin/"
#: Exposure by `systemd-analyze security` (0 the best, 10 the worst); what the services have now, rounded up.
MOST_EXPOSED = 2.0


@pytest.fixture
def analyze():
    """systemd's own checker."""
    found = shutil.which("systemd-analyze")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("CI must not skip this: systemd-analyze is missing")
        pytest.skip("systemd-analyze is not installed")
    return found


def verified(analyze, folder):
    names = [name.replace("@.", "@ward.") for name in UNITS]
    environment = {**os.environ, "SYSTEMD_UNIT_PATH": f"{folder}:"}
    done = subprocess.run([analyze, "verify", "--man=no", *names], capture_output=True, text=True, check=False,
                          env=environment)  # fmt: skip
    return [line for line in (done.stdout + done.stderr).splitlines() if "sieveward" in line]


@pytest.fixture
def units(tmp_path):
    """The units, with a program that is there in the place of ours."""
    for name in UNITS:
        text = (FOLDER / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(re.sub(re.escape(PROGRAM) + r"[a-z-]+", "/bin/true", text))
    return tmp_path


def test_systemd_has_nothing_against_them(analyze, units) -> None:
    assert verified(analyze, units) == []


def test_that_check_can_fail(analyze, units) -> None:
    unit = units / "sieveward-collector.service"
    unit.write_text(unit.read_text().replace("Restart=always", "Restart=allways"))
    assert any("Failed to parse" in line for line in verified(analyze, units))


@pytest.mark.parametrize("name", SERVICES)
def test_they_expose_little(analyze, name) -> None:
    done = subprocess.run([analyze, "security", "--offline=true", "--no-pager", str(FOLDER / name)],
                          capture_output=True, text=True, check=False)  # fmt: skip
    found = re.search(r"Overall exposure level for \S+: ([\d.]+)", done.stdout)
    assert found, done.stderr
    assert float(found[1]) <= MOST_EXPOSED


@pytest.mark.parametrize("name", SERVICES)
def test_each_starts_a_command_that_there_is(name) -> None:
    text = (FOLDER / name).read_text(encoding="utf-8")
    (line,) = re.findall(r"^ExecStart=(.+)$", text, re.MULTILINE)
    program, *words = shlex.split(line.replace("$MORE", "").replace("${ADDRESS}", "::").replace("${PORT}", "1"))
    assert program.startswith(PROGRAM)
    if program.endswith("/sieveward"):
        assert refusal(words) == ""


@pytest.mark.parametrize("name", [name for name in SERVICES if "keep" not in name])
def test_each_starts_again_and_is_held_to_its_memory(name) -> None:
    text = (FOLDER / name).read_text(encoding="utf-8")
    assert "\nRestart=always\n" in text
    assert "\nMemoryMax=" in text


@pytest.mark.parametrize("name", ["collector", "deliver", "bridge@"])
def test_each_of_our_loops_is_watched(name) -> None:
    text = (FOLDER / f"sieveward-{name}.service").read_text(encoding="utf-8")
    assert "\nType=notify\n" in text
    assert "\nWatchdogSec=" in text


def test_the_check_of_command_lines_can_fail() -> None:
    assert "no command" in refusal(["colect"])
    assert refusal(["collect", "--sight", "x"])
    assert refusal(["collect"])
