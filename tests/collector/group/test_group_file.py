"""The group file: what stands in deploy/ is good, and a fault is named with its line."""

import shutil
from pathlib import Path

import pytest

from collector.group.group_file import GroupError, load_group_file

DEPLOY = Path(__file__).parents[3] / "deploy" / "cluster"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(DEPLOY, tmp_path / "cluster")
    return tmp_path / "cluster"


def changed(folder: Path, old: str, new: str) -> Path:
    path = folder / "group.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    return path


def test_the_one_in_deploy_is_good() -> None:
    told = load_group_file(DEPLOY / "group.toml", "collector", "secret")
    assert list(told.facilities) == ["lakeside"]
    assert told.facilities["lakeside"].data == Path("/srv/sieveward/lakeside")
    assert [door.where for door in told.doors] == [f"192.0.2.{11 + n}:1883" for n in range(3)]
    assert {door.username for door in told.doors} == {"collector"}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("replicas = 3", "replica = 3", r"group.toml:12: nats.replica: unknown key; did you mean 'replicas'"),
        ("[mqtt]", "[mqt]", r"mqt: unknown key; did you mean 'mqtt'"),
        ("192.0.2.12:1883", "192.0.2.12:x", "is no broker address"),
        ('id = "north"', 'id = "North!"', r"group.toml:5: group.id"),
        ('sites = "sites"', 'sites = "none"', "holds no site file"),
        ("[group]", "[group", "not valid TOML"),
    ],
)
def test_a_fault_is_named_with_its_place_and_the_way_out(folder: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(GroupError, match=said):
        load_group_file(changed(folder, old, new))


def test_a_facility_in_two_files_is_refused(folder: Path) -> None:
    shutil.copy(folder / "sites" / "lakeside.toml", folder / "sites" / "twice.toml")
    with pytest.raises(GroupError, match=r"twice.toml: facility 'lakeside' is in .*lakeside.toml too"):
        load_group_file(folder / "group.toml")


def test_a_missing_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(GroupError, match="no such group file"):
        load_group_file(tmp_path / "no.toml")
