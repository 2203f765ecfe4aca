"""A store with something in it, on one disk, and a folder for copies on another."""

import tempfile
from pathlib import Path

import pytest

from collector.safekeeping import Wish, keep_copy
from collector.store import open_store
from tests.collector.store.samples import note, put, run_of, upkeep

FACILITY = "lakeside"
DAY_MS = 86_400_000
MADE_MS = 1_790_000_000_000
OTHER_DISK = Path("/dev/shm")  # noqa: S108 - a file system of its own: the other disk


def fill(data, hours=3):
    """A store with readings, some of them packed, and journal rows."""
    with open_store(data, FACILITY, durable=False) as store:
        readings = run_of(hours)
        put(store, readings)
        with store.transaction():
            store.append_journal([note(f"row {number}") for number in range(50)], MADE_MS)
            store.set_status("site", {"path": "site.toml", "text": f'[facility]\nid = "{FACILITY}"\n'})
        upkeep(store, readings[len(readings) // 2].time_ms)
    return data


def keep(data, folder, wall_ms=MADE_MS, **wish):
    """Make a copy."""
    return keep_copy(Wish(data=data, folder=folder, **{"same_disk": True, **wish}), wall_ms)


@pytest.fixture
def data(tmp_path):
    """A filled data directory."""
    return fill(tmp_path / "data")


@pytest.fixture
def folder(tmp_path):
    """Where copies go."""
    made = tmp_path / "copies"
    made.mkdir()
    return made


@pytest.fixture
def other_disk():
    """A folder on another file system than the tests' own."""
    if not OTHER_DISK.is_dir():
        pytest.skip("this machine has no second file system at hand")
    with tempfile.TemporaryDirectory(dir=OTHER_DISK) as made:
        yield Path(made)
