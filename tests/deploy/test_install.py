"""Installing, upgrading and going back, on a tree of its own; what would touch the machine is written down instead."""

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from deploy import install
from tests.deploy.command_lines import refusal

SCRIPT = Path(install.__file__)


class Tree(install.Machine):
    """A machine whose commands are only written down; `answers` are exit statuses by a word of the command."""

    def __init__(self, root):
        super().__init__(root, False)
        self.offline, self.ran, self.answers = False, [], {}
        self.acts = {}

    def run(self, *command, may_fail=False):
        words = " ".join(map(str, command))
        self.ran.append(words)
        for word, act in self.acts.items():
            if word in words:
                act(command)
        status = next((status for word, status in self.answers.items() if word in words), 0)
        if status and not may_fail:
            raise install.Unusable(f"this failed with exit status {status}: {words}")
        return status

    def commands(self, *names):
        """What ran of some programs, in order."""
        return [words for words in self.ran if any(name in words for name in names)]


@pytest.fixture
def source(tmp_path, monkeypatch):
    """A checkout of a few files."""
    made = tmp_path / "checkout"
    shutil.copytree(SCRIPT.parent / "systemd", made / "deploy" / "systemd")
    for name in ("collector", "dashboard", "simulator"):
        (made / name / "__pycache__").mkdir(parents=True)
        (made / name / "__pycache__" / "x.pyc").write_bytes(b"x")
        (made / name / "a.py").write_text("1")
    for name in ("README.md", "DEVELOPERS.md"):
        (made / name).write_text(name)
    (made / "pyproject.toml").write_text('[project]\nversion = "0.1.0"\n')
    monkeypatch.setattr(install, "SOURCE", made)
    monkeypatch.setattr(install, "HERE", made / "deploy")
    return made


@pytest.fixture
def tree(tmp_path, source):
    """A machine with a first version, a site file, keys and a store."""
    made = Tree(tmp_path / "root")
    install.install(made)
    (made.config / "site.toml").write_text("[facility]")
    (made.config / "keys").mkdir()
    (made.data / "store.sqlite3").write_text("old data")
    made.ran.clear()
    return made


@pytest.fixture
def upgraded(tree, source):
    """The machine after an upgrade."""
    first = tree.current.resolve()
    (source / "collector" / "a.py").write_text("2")
    install.upgrade(tree)
    (tree.copies / "sieveward-lakeside-20261003T020000Z").mkdir()
    tree.ran.clear()
    return first, tree.current.resolve()


def test_an_installation_is_complete_and_can_be_repeated(tree) -> None:
    version = tree.current.resolve()
    assert (version / "collector" / "a.py").read_text() == "1"
    assert not list(version.rglob("__pycache__"))
    assert (tree.units / "sieveward-collector.service").exists()
    assert tree.journald.exists()
    before = sorted(str(path) for path in tree.root.rglob("*"))
    install.install(tree)
    assert sorted(str(path) for path in tree.root.rglob("*")) == before
    assert "systemctl start sieveward.target sieveward-keep.timer" in tree.ran


def test_what_is_private_is_for_its_user_only(tree) -> None:
    for path in (tree.config, tree.data, tree.copies):
        assert stat.S_IMODE(path.stat().st_mode) == 0o750


def test_without_a_site_file_nothing_is_started(tmp_path, source, capsys) -> None:
    made = Tree(tmp_path / "root")
    install.install(made)
    assert not made.commands("systemctl start")
    assert "Still to do before it can start" in capsys.readouterr().err


def test_installing_over_another_version_is_refused(tree, source) -> None:
    (source / "collector" / "a.py").write_text("2")
    with pytest.raises(install.Unusable, match="use `upgrade`"):
        install.install(tree)


def test_an_upgrade_makes_a_copy_before_it_switches(tree, source) -> None:
    first = tree.current.resolve()
    seen = []
    tree.acts["keep now"] = lambda command: seen.append((tree.current.resolve(), str(command)))
    (source / "collector" / "a.py").write_text("2")
    install.upgrade(tree)
    new = tree.current.resolve()
    assert new != first
    assert tree.previous.resolve() == first
    assert seen[0][0] == first
    order = tree.commands("check", "systemctl stop", "keep now", "systemctl start")
    assert [words.split("sieveward ")[-1].split(" ")[0] for words in order[1:3]] == ["check", "systemctl"]
    assert order[3].endswith("--daily 2 --weekly 0 --monthly 0")
    assert str(first) in order[3]
    assert order[-1] == "systemctl start sieveward-collector.service"


def test_a_copy_that_fails_stops_the_upgrade_and_starts_the_old_version(tree, source) -> None:
    first = tree.current.resolve()
    tree.answers["keep now"] = 1
    (source / "collector" / "a.py").write_text("2")
    with pytest.raises(install.Unusable, match="keep now"):
        install.upgrade(tree)
    assert tree.current.resolve() == first
    assert tree.ran[-2] == "systemctl start sieveward-collector.service"


def test_a_site_file_that_the_new_version_refuses_stops_it_before_anything_stops(tree, source) -> None:
    tree.answers["check /"] = 2
    tree.answers[f"check {tree.config}"] = 2
    (source / "collector" / "a.py").write_text("2")
    with pytest.raises(install.Unusable):
        install.upgrade(tree)
    assert not tree.commands("systemctl stop")


def test_an_upgrade_that_does_not_start_is_taken_back(tree, source) -> None:
    first = tree.current.resolve()
    fails = iter([1, 0])
    tree.acts["start sieveward-collector"] = lambda _: tree.answers.update({"start sieveward-collector": next(fails)})
    (source / "collector" / "a.py").write_text("2")
    with pytest.raises(install.Unusable, match="taken back"):
        install.upgrade(tree)
    assert tree.current.resolve() == first
    assert (tree.data / "store.sqlite3").read_text() == "old data"


def test_the_same_version_is_no_upgrade(tree) -> None:
    install.upgrade(tree)
    assert not tree.commands("systemctl stop")


def test_going_back_keeps_the_data_where_the_old_version_can_read_them(tree, upgraded) -> None:
    first, new = upgraded
    install.rollback(tree)
    assert (tree.current.resolve(), tree.previous.resolve()) == (first, new)
    assert not tree.commands("restore")
    assert (tree.data / "store.sqlite3").exists()


def test_a_broken_journal_is_no_reason_to_put_a_copy_back(tree, upgraded) -> None:
    tree.answers["journal verify"] = 1
    install.rollback(tree)
    assert not tree.commands("restore")


def test_going_back_over_a_migration_puts_the_copy_back_and_throws_nothing_away(tree, upgraded) -> None:
    first, _ = upgraded
    tree.answers["journal verify"] = install.CANNOT_READ
    tree.acts["restore"] = lambda _: (tree.data.mkdir(), (tree.data / "store.sqlite3").write_text("from the copy"))
    install.rollback(tree)
    assert (tree.data / "store.sqlite3").read_text() == "from the copy"
    (aside,) = tree.state.glob("data-set-aside-*")
    assert (aside / "store.sqlite3").read_text() == "old data"
    (restored,) = tree.commands("restore")
    assert str(first) in restored
    assert "sieveward-lakeside-20261003T020000Z" in restored


def test_a_copy_that_cannot_be_put_back_leaves_the_data_where_they_were(tree, upgraded) -> None:
    tree.answers |= {"journal verify": install.CANNOT_READ, "restore": 1}
    with pytest.raises(install.Unusable, match="restore"):
        install.rollback(tree)
    assert (tree.data / "store.sqlite3").read_text() == "old data"


def test_without_a_version_before_there_is_no_way_back(tree) -> None:
    with pytest.raises(install.Unusable, match="no version to go back to"):
        install.rollback(tree)


def test_old_versions_go_but_the_way_back_stays(tree, upgraded, source) -> None:
    _, second = upgraded
    (source / "collector" / "a.py").write_text("3")
    install.upgrade(tree)
    assert {path.resolve() for path in tree.versions.iterdir()} == {second, tree.current.resolve()}


def test_what_it_asks_of_a_version_is_what_the_command_takes(tree, source) -> None:
    (source / "collector" / "a.py").write_text("2")
    install.upgrade(tree)
    (tree.copies / "sieveward-lakeside-20261003T020000Z").mkdir()
    tree.answers["journal verify"] = install.CANNOT_READ
    tree.acts["restore"] = lambda _: tree.data.mkdir()
    install.rollback(tree)
    asked = [words.split("/.venv/bin/sieveward ")[1].split() for words in tree.ran if "/.venv/bin/sieveward " in words]
    assert [words[0] for words in asked] == ["check", "keep", "journal", "restore"]
    assert [refusal(words) for words in asked] == [""] * 4


def run(*arguments):
    return subprocess.run([sys.executable, str(SCRIPT), *arguments], capture_output=True, text=True, check=False)


def test_below_a_root_it_leaves_the_running_system_alone(tmp_path) -> None:
    done = run("install", "--root", str(tmp_path / "image"))
    assert done.returncode == 0, done.stderr
    assert "would run: useradd" in done.stderr or "would run: getent" in done.stderr
    assert (tmp_path / "image/opt/sieveward/current/collector/cli/main.py").exists()
    assert (tmp_path / "image/etc/systemd/system/sieveward-bridge@.service").exists()
    assert run("status", "--root", str(tmp_path / "image")).stdout.rstrip().endswith("  current")


def test_a_dry_run_does_nothing(tmp_path) -> None:
    done = run("install", "--dry-run", "--root", str(tmp_path / "image"))
    assert done.returncode == 0
    assert not (tmp_path / "image").exists()


@pytest.mark.parametrize("work", ["upgrade", "rollback"])
def test_where_nothing_is_installed_it_says_so(tmp_path, work) -> None:
    done = run(work, "--root", str(tmp_path))
    assert (done.returncode, "is not there" in done.stderr) == (1, True)


def test_it_is_not_run_by_accident() -> None:
    if os.geteuid() == 0:
        pytest.skip("root may do it")
    assert "with sudo" in run("install").stderr
