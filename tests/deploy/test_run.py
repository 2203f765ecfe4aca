"""The set-up script: when it installs, what it runs, and what it says where it cannot."""

import ast
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from deploy import run

SCRIPT = Path(run.__file__)


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A project folder, with a space in its name, where both locks lie and nothing is installed yet."""
    root = tmp_path / "our project"
    (root / "deploy").mkdir(parents=True)
    locks = {
        "runtime": root / "deploy" / "requirements.lock",
        "test": root / "deploy" / "requirements-test.lock",
    }
    for kind, lock in locks.items():
        lock.write_text(f"# {kind}\n")
    venv = root / ".venv"
    for name, value in {
        "ROOT": root,
        "VENV": venv,
        "PYTHON": venv / "bin" / "python",
        "STAMP": venv / ".installed",
        "UNDER_WAY": root / ".venv.under-way",
        "LOCKS": locks,
    }.items():
        monkeypatch.setattr(run, name, value)
    return root


def installed(kind):
    """Leave what a finished installation of `kind` leaves, without the packages."""
    run.PYTHON.parent.mkdir(parents=True, exist_ok=True)
    run.PYTHON.unlink(missing_ok=True)
    run.PYTHON.symlink_to(Path(sys.executable).resolve())
    (run.VENV / "pyvenv.cfg").write_text(f"home = {Path(sys.executable).resolve().parent}\n")
    run.STAMP.write_text(run.wanted(kind) + "\n")


def test_the_fingerprint_changes_with_the_lock_the_python_and_the_place():
    same = run.fingerprint(b"lock", "3.11.2", "/a")
    assert same == run.fingerprint(b"lock", "3.11.2", "/a")
    others = {
        run.fingerprint(b"lock2", "3.11.2", "/a"),
        run.fingerprint(b"lock", "3.12.0", "/a"),
        run.fingerprint(b"lock", "3.11.2", "/b"),
    }
    assert len(others) == 3
    assert same not in others


@pytest.mark.parametrize("kind", ["runtime", "test"])
def test_an_empty_folder_is_not_current(place, kind):
    assert not run.is_current(kind)


@pytest.mark.parametrize(
    ("has", "asked", "serves"),
    [
        ("runtime", "runtime", True),
        ("test", "test", True),
        ("test", "runtime", True),
        ("runtime", "test", False),
    ],
)
def test_the_test_installation_serves_the_runtime_but_not_the_reverse(place, has, asked, serves):
    installed(has)
    assert run.is_current(asked) is serves


def test_a_changed_lock_asks_for_a_new_installation(place):
    installed("test")
    run.LOCKS["test"].write_text("# another\n")
    assert not run.is_current("test")
    assert not run.is_current("runtime")


def test_an_installation_that_was_broken_off_is_neither_current_nor_built_upon(place):
    installed("test")
    assert run.is_current("test")
    run.UNDER_WAY.touch()
    assert not run.is_current("test")
    assert not run.is_current("runtime")


def test_a_failed_installation_says_what_pip_said_and_is_not_taken_for_good(place):
    run.LOCKS["test"].write_text("!damaged! ==1.0\n")  # pip refuses it before it asks anybody
    with pytest.raises(run.Unusable, match=r"(?s)could not install .*Invalid requirement"):
        run.ensure("test")
    assert not run.is_current("test")
    assert not run.is_current("runtime")
    assert not run.is_reusable()


def test_a_missing_lock_is_named(place):
    run.LOCKS["runtime"].unlink()
    with pytest.raises(run.Unusable, match=r"requirements\.lock is missing"):
        run.ensure("runtime")
    assert not run.VENV.exists()


@pytest.mark.parametrize(
    ("version", "has_venv", "platform", "said"),
    [
        ((3, 10, 12), True, "linux", "Python 3.11 or newer is needed, this is 3.10.12"),
        ((3, 11, 2), False, "linux", "apt-get install python3-venv"),
        ((3, 13, 0), True, "win32", "WSL"),
    ],
)
def test_an_unfit_python_is_refused_with_the_way_out(version, has_venv, platform, said):
    with pytest.raises(run.Unusable, match=said.replace(".", r"\.")):
        run.refuse_wrong_python(version, has_venv, platform)


def test_a_fit_python_is_accepted():
    run.refuse_wrong_python((3, 11, 0), True, "linux")
    run.refuse_wrong_python((4, 0, 0), True, "darwin")


def test_an_old_python_can_read_the_script_far_enough_to_refuse():
    ast.parse(SCRIPT.read_text(), feature_version=(3, 7))


def test_test_runs_pytest_and_anything_else_the_command(place):
    python = str(run.PYTHON)
    assert run.command_line(["test", "-k", "a b"]) == [python, "-m", "pytest", "-k", "a b"]
    launcher = str(run.VENV / "bin" / "sieveward")
    assert run.command_line(["check", "x y.toml"]) == [python, launcher, "check", "x y.toml"]


@pytest.mark.parametrize(("arguments", "status"), [([], 2), (["--help"], 0), (["-h"], 0)])
def test_without_a_command_it_only_explains_itself(place, capsys, arguments, status):
    with pytest.raises(SystemExit) as ended:
        run.main(arguments)
    assert ended.value.code == status
    assert "run.py COMMAND" in capsys.readouterr().err
    assert not run.VENV.exists()


def test_the_launcher_works_from_a_folder_with_a_space_and_passes_the_status(place):
    installed("runtime")
    package = place / "collector"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "cli.py").write_text("import sys\n\ndef main():\n    sys.exit(len(sys.argv[1:]) + 40)\n")
    site = run.VENV / "lib" / f"python{sys.version_info[0]}.{sys.version_info[1]}" / "site-packages"
    site.mkdir(parents=True)
    run.put_on_path()
    ended = subprocess.run(
        [run.VENV / "bin" / "sieveward", "a b", "c"], check=False, cwd="/", env={"PATH": os.environ["PATH"]}
    )
    assert ended.returncode == 42


def test_the_two_locks_agree_and_every_pin_has_hashes_and_no_host():
    def pins(lock):
        text = lock.read_text()
        assert "://" not in text
        blocks = [block for block in text.split("\n") if block and not block.startswith((" ", "#"))]
        assert text.count(" \\\n    --hash=sha256:") >= len(blocks)
        return {line.split(" \\")[0] for line in blocks}

    runtime, test = pins(run.LOCKS["runtime"]), pins(run.LOCKS["test"])
    assert runtime < test
    assert any(pin.startswith("paho-mqtt==") for pin in runtime)
    assert any(pin.startswith("pytest==") for pin in test - runtime)


def test_the_lock_satisfies_what_the_project_asks_for():
    """A changed range in pyproject.toml without a new lock is found here."""
    project = tomllib.loads((run.ROOT / "pyproject.toml").read_text())["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    pinned: dict[str, set[str]] = {}
    for line in run.LOCKS["test"].read_text().splitlines():
        if "==" in line:
            name, version = line.split()[0].split("==")
            pinned.setdefault(canonicalize_name(name), set()).add(version)
    for requirement in map(Requirement, asked):
        for version in pinned.get(canonicalize_name(requirement.name), {"0"}):
            assert requirement.specifier.contains(version), f"{requirement} is not what the lock pins: {version}"
