"""Houses to sign in to."""

import pytest

from tests.collector.people.house import House


@pytest.fixture
def house(tmp_path):
    """A facility with nobody in it."""
    return House(tmp_path / "data")
