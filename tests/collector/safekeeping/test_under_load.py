"""Copies of a store that another process writes to all the time; and copies that are broken off."""

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from collector.safekeeping import copies_in, prove_copy, restore_copy
from collector.store import open_reader
from collector.store.history import extent
from collector.store.journal import verify
from tests.collector.safekeeping.copies import DAY_MS, FACILITY, MADE_MS, fill, keep
from tests.waiting import wait_for

ROOT = Path(__file__).parents[3]
WRITER = """
import sys
from pathlib import Path
from collector.store import open_store
from tests.collector.store.samples import note, put, run_of, START, HOUR
with open_store(Path(sys.argv[1]), sys.argv[2], durable=False) as store:
    number = 0
    while True:
        number += 1
        put(store, run_of(0.05, every_ms=1000, start=START + (10 + number) * HOUR, seed=number))
        with store.transaction():
            store.append_journal([note(f"{number}")], number)
"""
KEEPER = """
import sys
from pathlib import Path
from collector.safekeeping import Wish, keep_copy
keep_copy(Wish(data=Path(sys.argv[1]), folder=Path(sys.argv[2]), same_disk=True), int(sys.argv[3]))
"""


def child(code, *arguments):
    return subprocess.Popen([sys.executable, "-c", code, *map(str, arguments)], cwd=ROOT)


def journal_rows(data):
    conn = open_reader(data)
    try:
        return extent(conn).journal_rows
    finally:
        conn.close()


@pytest.fixture
def writer(data):
    """A process that commits without a pause."""
    process = child(WRITER, data, FACILITY)
    try:
        wait_for(lambda: journal_rows(data) > 55, 20, "the writer at work")
        yield process
    finally:
        process.kill()
        process.wait()


def test_copies_under_load_are_of_one_moment_each_and_the_writer_goes_on(data, folder, writer, tmp_path) -> None:
    for number in range(3):
        before = journal_rows(data)
        kept = keep(data, folder, MADE_MS + number * DAY_MS)
        wait_for(lambda seen=before: journal_rows(data) > seen + 5, 20, "rows written meanwhile")
        assert before <= kept.manifest.head_seq
        # Each note follows 540 readings; a note without its readings, or more than one batch ahead, would show here.
        notes = kept.manifest.head_seq - 50
        assert notes * 540 <= kept.manifest.readings - 1620 <= (notes + 1) * 540
        back = restore_copy(kept.folder, tmp_path / f"new{number}", MADE_MS)
        assert verify(open_reader(back.data)).ok
    assert writer.poll() is None


@pytest.mark.slow
def test_a_copy_that_is_killed_at_any_moment_leaves_the_last_good_one(tmp_path, folder) -> None:
    data = fill(tmp_path / "more data", hours=12)
    good = keep(data, folder)
    rng = random.Random(20261125)  # noqa: S311 - no secret
    killed = 0
    for number in range(1, 13):
        process = child(KEEPER, data, folder, MADE_MS + number * DAY_MS)
        wait_for(lambda p=process: p.poll() is not None or list(folder.glob(".under-way-*/*")), 30, "a copy under way")
        try:
            process.wait(rng.uniform(0.0, 0.25))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.wait()
            killed += 1
        whole = copies_in(folder)
        assert whole
        for path, manifest in whole[:1]:
            assert prove_copy(path, tmp_path) == manifest
    assert killed >= 3
    assert prove_copy(good.folder, tmp_path) == good.manifest
    keep(data, folder, MADE_MS + 40 * DAY_MS)
    assert not list(folder.glob(".under-way*"))
