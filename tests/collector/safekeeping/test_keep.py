"""A safe copy is whole or it is not there."""

import hashlib
import os
import shutil
import subprocess

import pytest

from collector.safekeeping import KeepingError, Rotation, copies_in, prove_copy
from collector.safekeeping.manifest import NAME, SECRETS, SITE, STORE, SUMS
from collector.store import open_reader
from tests.collector.safekeeping.copies import DAY_MS, MADE_MS, keep


def test_a_copy_says_what_it_holds(data, folder) -> None:
    kept = keep(data, folder)
    held = kept.manifest
    assert kept.folder == folder / "sieveward-lakeside-20260921T141320Z"
    assert (held.facility, held.units, held.readings, held.head_seq) == ("lakeside", 3, 1620, 50)
    assert {file.name for file in kept.folder.iterdir()} == {NAME, SUMS, STORE, SITE}
    assert (kept.folder / SITE).read_text(encoding="utf-8").startswith("[facility]")


def test_its_sums_can_be_checked_without_this_program(data, folder) -> None:
    kept = keep(data, folder)
    for line in (kept.folder / SUMS).read_text(encoding="utf-8").splitlines():
        digest, name = line.split("  ")
        assert hashlib.sha256((kept.folder / name).read_bytes()).hexdigest() == digest


def test_it_is_proven_again_by_itself(data, folder, tmp_path) -> None:
    kept = keep(data, folder)
    assert prove_copy(kept.folder, tmp_path) == kept.manifest
    assert not list(tmp_path.glob(".being*"))


def test_a_folder_that_is_not_there_is_not_made(data, folder) -> None:
    with pytest.raises(KeepingError, match=r"is not there\. Plug the disk in"):
        keep(data, folder / "usb")
    assert not (folder / "usb").exists()


def test_the_datas_own_disk_is_refused_unless_asked_for(data, folder) -> None:
    with pytest.raises(KeepingError, match="Is the other disk mounted"):
        keep(data, folder, same_disk=False)
    assert list(folder.iterdir()) == []


def test_another_disk_is_good(data, other_disk) -> None:
    assert keep(data, other_disk, same_disk=False).folder.is_dir()


def test_no_room_is_said_before_anything_is_written(data, folder, monkeypatch) -> None:
    keep(data, folder)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: shutil._ntuple_diskusage(10**9, 10**9, 10_000))
    with pytest.raises(KeepingError, match=r"has 0 MiB free, the copy may need"):
        keep(data, folder, MADE_MS + DAY_MS)
    assert len(copies_in(folder)) == 1


@pytest.fixture
def small_disk(tmp_path):
    """A file system with less room than a copy needs."""
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("only root may mount a small file system, and not in every container")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_disk_that_fills_up_meanwhile_leaves_nothing_behind(data, small_disk, monkeypatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: shutil._ntuple_diskusage(10**9, 0, 10**9))
    with pytest.raises(KeepingError, match=r"full|no room"):
        keep(data, small_disk, same_disk=False)
    assert [file.name for file in small_disk.iterdir()] == [".sieveward-lock"]


def test_a_damaged_store_is_not_kept(data, folder) -> None:
    store = data / "store.sqlite3"
    good = keep(data, folder)
    content = bytearray(store.read_bytes())
    middle = len(content) // 2 // 4096 * 4096
    content[middle : middle + 4096] = b"\xa5" * 4096
    store.write_bytes(content)
    with pytest.raises(KeepingError, match="damaged"):
        keep(data, folder, MADE_MS + DAY_MS, rotation=Rotation(daily=1, weekly=0, monthly=0))
    assert [path for path, _ in copies_in(folder)] == [good.folder]


def test_a_journal_that_was_altered_is_not_kept(data, folder) -> None:
    from collector.store.connect import connect_writer

    conn = connect_writer(data / "store.sqlite3")
    conn.execute("DROP TRIGGER journal_no_update")
    conn.execute("UPDATE journal SET who = 'nobody' WHERE seq = 7")
    conn.close()
    with pytest.raises(KeepingError, match="broken at row 7"):
        keep(data, folder)
    assert copies_in(folder) == []


def test_what_was_broken_off_is_cleared_away(data, folder) -> None:
    (folder / ".under-way-1").mkdir()
    (folder / ".under-way-1" / "taken.sqlite3").write_bytes(b"half")
    keep(data, folder)
    assert not list(folder.glob(".under-way*"))


def test_older_copies_go_when_the_new_one_is_good(data, folder) -> None:
    for day in range(4):
        kept = keep(data, folder, MADE_MS + day * DAY_MS, rotation=Rotation(daily=2, weekly=0, monthly=0))
    assert len(kept.dropped) == 1
    assert [held.made_ms for _, held in copies_in(folder)] == [MADE_MS + 3 * DAY_MS, MADE_MS + 2 * DAY_MS]


def test_other_files_and_other_facilities_stay(data, folder) -> None:
    (folder / "holiday pictures").mkdir()
    first = keep(data, folder)
    other = folder / "sieveward-hillside-20200101T000000Z"
    shutil.copytree(first.folder, other)
    text = (other / NAME).read_text(encoding="utf-8")
    (other / NAME).write_text(text.replace("lakeside", "hillside").replace("20260921T141320Z", "20200101T000000Z"))
    keep(data, folder, MADE_MS + DAY_MS, rotation=Rotation(daily=1, weekly=0, monthly=0))
    assert (folder / "holiday pictures").is_dir()
    assert (folder / "holiday pictures", other.is_dir()) == (folder / "holiday pictures", True)


def test_secrets_go_along_only_when_asked_for(data, folder, tmp_path) -> None:
    keys = tmp_path / "keys"
    keys.mkdir()
    (keys / "account.toml").write_text("password = 'x'")
    kept = keep(data, folder, secrets=keys)
    assert (kept.folder / SECRETS).stat().st_mode & 0o777 == 0o600
    assert (kept.folder.stat().st_mode & 0o777) == 0o700


def test_an_empty_store_can_be_kept(tmp_path, folder) -> None:
    from collector.store import open_store

    open_store(tmp_path / "new", "lakeside").close()
    assert keep(tmp_path / "new", folder).manifest.readings == 0


def test_the_store_in_use_is_only_read(data, folder) -> None:
    before = open_reader(data).execute("PRAGMA data_version").fetchone()
    keep(data, folder)
    assert open_reader(data).execute("PRAGMA data_version").fetchone() == before
