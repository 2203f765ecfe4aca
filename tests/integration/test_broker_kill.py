"""What a broker keeps at its own kill -9 under load, with the configuration that a hospital gets: a short version.

The long one is `python -m tests.bench.broker_kill`.
"""

import pytest

from collector.broker.mosquitto import find_mosquitto
from collector.broker.nats import find_nats
from tests.bench.broker_kill import measure
from tests.conftest import demand

pytestmark = [pytest.mark.broker, pytest.mark.slow]
KILLS = 2


def test_nats_server_loses_nothing_that_it_acknowledged(tmp_path):
    demand(find_nats)
    row = measure("nats", tmp_path / "nats", KILLS, seed=2)
    assert int(row["acknowledged"]) > 100
    assert (row["lost"], row["rounds_out_of_order"]) == ("0", "0")


def test_mosquitto_loses_the_last_one_at_the_most(tmp_path):
    """It acknowledges a message and saves it then: one may be in between, and all before it are on disk."""
    demand(find_mosquitto)
    row = measure("mosquitto", tmp_path / "mosquitto", KILLS, seed=2)
    assert int(row["acknowledged"]) > 20
    assert int(row["lost"]) <= KILLS
    assert row["rounds_out_of_order"] == "0"
