"""What comes back is what was kept."""

import pytest

from collector.safekeeping import KeepingError, restore_copy
from collector.safekeeping.manifest import NAME, STORE
from collector.store import JournalWriter, open_reader, open_store
from collector.store.history import iter_readings, journal_rows
from collector.store.journal import verify
from tests.collector.safekeeping.copies import DAY_MS, MADE_MS, keep
from tests.collector.store.samples import UNITS, note


def everything(data):
    conn = open_reader(data)
    try:
        measured = [list(iter_readings(conn, 0, 2**53, [unit])) for unit in UNITS]
        return measured, [row for row in journal_rows(conn) if row.kind == "note"]
    finally:
        conn.close()


@pytest.fixture
def kept(data, folder):
    return keep(data, folder)


def test_the_same_comes_back_and_the_journal_goes_on(data, kept, tmp_path) -> None:
    back = restore_copy(kept.folder, tmp_path / "new", MADE_MS + 5, "Amie")
    assert everything(tmp_path / "new") == everything(data)
    conn = open_reader(tmp_path / "new")
    chain = verify(conn, (kept.manifest.head_seq, kept.manifest.head_hash))
    assert (chain.ok, chain.head_seq, chain.head_hash) == (True, 51, back.head_hash)
    (row,) = journal_rows(conn, kinds=("store-restored",))
    assert (row.who, row.body["copy"], row.body["head_seq"]) == ("Amie", kept.manifest.copy, 50)


def test_it_can_be_worked_with(kept, tmp_path) -> None:
    restore_copy(kept.folder, tmp_path / "new", MADE_MS)
    JournalWriter(tmp_path / "new").append([note("on it goes")])
    with open_store(tmp_path / "new", "lakeside") as store:
        assert verify(store.conn).ok
    assert sorted(file.name for file in (tmp_path / "new").iterdir()) == ["site.toml", "store.sqlite3"]


@pytest.mark.parametrize("name", ["a file", "a store"])
def test_nothing_is_put_over_what_is_there(data, kept, tmp_path, name) -> None:
    there = data if name == "a store" else tmp_path / "other"
    if name == "a file":
        there.mkdir()
        (there / "notes.txt").write_text("mine")
    before = {file.name: file.read_bytes() for file in there.iterdir()}
    with pytest.raises(KeepingError, match="is not empty"):
        restore_copy(kept.folder, there, MADE_MS)
    assert {file.name: file.read_bytes() for file in there.iterdir()} == before


@pytest.mark.parametrize("part", ["start", "middle", "end", "cut", "gone"])
def test_a_damaged_copy_is_refused_and_leaves_nothing(kept, tmp_path, part) -> None:
    file = kept.folder / STORE
    content = bytearray(file.read_bytes())
    if part == "gone":
        file.unlink()
    elif part == "cut":
        file.write_bytes(content[:-100])
    else:
        content[{"start": 5, "middle": len(content) // 2, "end": -1}[part]] ^= 0x10
        file.write_bytes(content)
    with pytest.raises(KeepingError, match=r"store\.sqlite3\.zst (is damaged|cannot be read)"):
        restore_copy(kept.folder, tmp_path / "new", MADE_MS)
    assert not (tmp_path / "new").exists()


def test_a_copy_whose_sums_were_made_anew_is_still_held_against_its_head(data, folder, kept, tmp_path) -> None:
    JournalWriter(data).append([note("later")])
    later = keep(data, folder, MADE_MS + 1000)
    text = (later.folder / NAME).read_text(encoding="utf-8").replace(later.manifest.head_hash, kept.manifest.head_hash)
    (later.folder / NAME).write_text(text)
    with pytest.raises(KeepingError, match="not the one that was noted"):
        restore_copy(later.folder, tmp_path / "new", MADE_MS)


def test_a_newer_versions_copy_is_refused(kept, tmp_path) -> None:
    text = (kept.folder / NAME).read_text(encoding="utf-8").replace('"first_layout"', '"from_the_future"')
    (kept.folder / NAME).write_text(text)
    with pytest.raises(KeepingError, match=r"newer version \(from_the_future\)"):
        restore_copy(kept.folder, tmp_path / "new", MADE_MS)


def test_a_manifest_cannot_name_files_elsewhere(kept, tmp_path) -> None:
    text = (kept.folder / NAME).read_text(encoding="utf-8").replace('"site.toml"', '"../site.toml"')
    (kept.folder / NAME).write_text(text)
    with pytest.raises(KeepingError, match="outside its folder"):
        restore_copy(kept.folder, tmp_path / "new", MADE_MS)


def test_no_copy_at_all_is_said(tmp_path) -> None:
    with pytest.raises(KeepingError, match="is no safe copy"):
        restore_copy(tmp_path, tmp_path / "new", MADE_MS)


def test_nobody_is_signed_in_afterwards(data, folder, tmp_path) -> None:
    with open_store(data, "lakeside") as store:
        store.conn.execute("INSERT INTO session VALUES (1, 'hash', 1, 0, 0, '', '', NULL)")
        store.conn.execute("INSERT INTO one_time_code VALUES ('hash', 'first', NULL, 0)")
        store.conn.execute("INSERT INTO wall_link VALUES (1, 'hash', 'newborn', '', 0, '', NULL)")
    back = restore_copy(keep(data, folder).folder, tmp_path / "new", MADE_MS)
    conn = open_reader(tmp_path / "new")
    assert conn.execute("SELECT count(*) FROM session WHERE ended_ms IS NULL").fetchone() == (0,)
    assert conn.execute("SELECT count(*) FROM one_time_code").fetchone() == (0,)
    assert back.wall_links == 1


def test_secrets_come_back_where_they_are_asked_for(data, folder, tmp_path) -> None:
    (tmp_path / "keys").mkdir()
    (tmp_path / "keys" / "account.toml").write_text("password = 'x'")
    plain, full = keep(data, folder), keep(data, folder, MADE_MS + DAY_MS, secrets=tmp_path / "keys")
    with pytest.raises(KeepingError, match="holds no secrets"):
        restore_copy(plain.folder, tmp_path / "one", MADE_MS, secrets=tmp_path / "back")
    restore_copy(full.folder, tmp_path / "two", MADE_MS, secrets=tmp_path / "back")
    assert (tmp_path / "back" / "account.toml").read_text() == "password = 'x'"
