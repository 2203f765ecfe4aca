"""A real store in a directory of its own."""

import pytest

from collector.store import open_reader, open_store


@pytest.fixture
def data_dir(tmp_path):
    """Where the store of a test lies; a name with a space and a question mark, since paths go through a URI."""
    return tmp_path / "data of ward ?1"


@pytest.fixture
def store(data_dir):
    """A store that is quick rather than safe from power cuts."""
    with open_store(data_dir, "sim-test", durable=False) as opened:
        yield opened


@pytest.fixture
def reader(store, data_dir):
    """A connection that only reads the store beside the one that writes it."""
    conn = open_reader(data_dir)
    yield conn
    conn.close()
