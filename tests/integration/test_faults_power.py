"""A stand-in for a power cut: what lies in the store's files at a random moment, with torn tails, opened elsewhere.

What was acknowledged was synced before (synchronous=FULL), so it must be there; what was only on its way may be torn in
any manner. What this cannot show: a disk that says it has written and has not.
"""

import random
import struct
from contextlib import suppress
from pathlib import Path

import pytest

from collector.reading import Reading
from collector.rules.entries import NOTE, JournalEntry
from collector.store import Store, open_store
from collector.store.connect import store_path
from collector.store.history import open_reader, readings
from collector.store.journal import verify
from collector.store.soundness import damage_in

START_MS = 1_790_000_000_000
FRAME_HEADER = 24
WAL_HEADER = 32


class Writing:
    """A store that is written to, and what has been acknowledged of it."""

    def __init__(self, data: Path, seed: int) -> None:
        self.rng = random.Random(seed)  # noqa: S311 - no secret
        self.store = open_store(data, "sim-power")
        self.store.conn.execute("PRAGMA cache_size=5")  # so that a large transaction spills into the WAL half done
        self.store.conn.execute("PRAGMA wal_autocheckpoint=50")
        self.acked: list[int] = []
        self.next_ms, self.notes = START_MS, 0

    def batch(self) -> list[Reading]:
        n = self.rng.randint(1, 300)
        made = [Reading(f"u{i % 7}", self.next_ms + i * 1_000, 90.0 + i % 5, 4.0) for i in range(n)]
        self.next_ms += n * 1_000
        return made

    def write(self, store: Store, batch: list[Reading]) -> None:
        store.add_readings(batch)
        store.append_journal([JournalEntry(at_ms=batch[0].time_ms, kind=NOTE, body={"n": len(batch)})], START_MS)

    def commit(self) -> None:
        batch = self.batch()
        with self.store.transaction():
            self.write(self.store, batch)
        self.acked += [reading.time_ms for reading in batch]
        self.notes += 1


def files(data: Path) -> tuple[bytes, bytes]:
    path = store_path(data)
    return path.read_bytes(), path.with_name(path.name + "-wal").read_bytes()


def after_the_cut(folder: Path, main: bytes, wal: bytes) -> Path:
    """Another directory with what the disk holds; the -shm is memory, and gone."""
    folder.mkdir()
    path = store_path(folder)
    path.write_bytes(main)
    path.with_name(path.name + "-wal").write_bytes(wal)
    return folder


def check(folder: Path, writing: Writing) -> None:
    with open_store(folder, "sim-power"):  # the collector comes back
        pass
    assert damage_in(store_path(folder)) == ""
    conn = open_reader(folder)
    try:
        stored = {t for unit in range(7) for t in readings(conn, f"u{unit}", 0, 2**53).time_ms.tolist()}
        assert stored >= set(writing.acked)
        assert verify(conn).ok
        assert verify(conn).head_seq >= writing.notes
    finally:
        conn.close()


def torn(rng: random.Random, wal: bytes, safe: int) -> bytes:
    """A tail that was on its way: cut anywhere, or its last part garbled; a WAL begun anew has old bytes behind it."""
    cut = rng.randint(safe, len(wal))
    how = rng.choice(("cut", "zeros", "noise"))
    if how == "cut":
        return wal[:cut]
    rest = bytes(len(wal) - cut) if how == "zeros" else rng.randbytes(len(wal) - cut)
    return wal[:cut] + rest


def committed_bytes(wal: bytes) -> int:
    """Where the last commit of this WAL ends (file format: sqlite.org/fileformat2.html#the_write_ahead_log)."""
    page, salt, end = struct.unpack_from(">I", wal, 8)[0], wal[16:24], WAL_HEADER
    for place in range(WAL_HEADER, len(wal) - FRAME_HEADER - page + 1, FRAME_HEADER + page):
        if wal[place + 8 : place + 16] != salt:
            break
        if struct.unpack_from(">I", wal, place + 4)[0]:
            end = place + FRAME_HEADER + page
    return end


@pytest.mark.parametrize("seed", range(12))
def test_what_was_acknowledged_outlives_a_cut_in_the_midst_of_a_write(tmp_path, seed):
    writing = Writing(tmp_path / "data", seed)
    for _ in range(writing.rng.randint(1, 25)):
        writing.commit()
    with suppress(ZeroDivisionError), writing.store.transaction():  # the power goes while a batch is written
        for _ in range(writing.rng.randint(1, 8)):
            writing.write(writing.store, writing.batch())
        main, wal = files(tmp_path / "data")
        raise ZeroDivisionError
    wal = torn(writing.rng, wal, committed_bytes(wal))
    check(after_the_cut(tmp_path / "after", main, wal), writing)
    writing.store.close()


@pytest.mark.parametrize("seed", range(6))
def test_a_cut_in_the_midst_of_a_checkpoint_takes_nothing(tmp_path, seed):
    writing = Writing(tmp_path / "data", 100 + seed)
    writing.store.conn.execute("PRAGMA wal_autocheckpoint=0")
    for _ in range(writing.rng.randint(3, 20)):
        writing.commit()
    main, wal = files(tmp_path / "data")
    page = struct.unpack_from(">I", wal, 8)[0]
    pages = {
        struct.unpack_from(">I", wal, at)[0] for at in range(WAL_HEADER, committed_bytes(wal), FRAME_HEADER + page)
    }
    half = bytearray(main.ljust(max(pages) * page, b"\0"))
    for number in writing.rng.sample(sorted(pages), writing.rng.randint(1, len(pages))):  # half written, in any order
        at = (number - 1) * page
        half[at : at + page // 2] = writing.rng.randbytes(page // 2) if number > 1 else half[at : at + page // 2]
    check(after_the_cut(tmp_path / "after", bytes(half), wal), writing)
    writing.store.close()
