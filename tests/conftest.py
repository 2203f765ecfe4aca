"""Fixtures for every test: real brokers, each with an empty store of its own."""

import os

import pytest
from playwright.sync_api import expect

from collector.broker import BrokerError, start_mosquitto, start_nats
from collector.broker.mosquitto import find_mosquitto
from collector.broker.nats import find_nats
from tests import influx_server as influx_server_module
from tests.browser.hands import EXPECT_MS

BROKERS = {"nats", "mosquitto", "broker"}


# How long a browser may take is no subject of a test: a machine that runs other work beside must not fail one.
expect.set_options(timeout=EXPECT_MS)


def pytest_collection_modifyitems(items):
    """A test that asks for a broker carries the marker `broker`."""
    for item in items:
        if BROKERS & set(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.broker)


def demand(find):
    """Skip the test where `find` finds no program; fail it in CI, where every program is to be there."""
    try:
        find()
    except BrokerError as missing:
        if os.environ.get("CI") == "true":
            pytest.fail(f"CI must not skip this: {missing}")
        pytest.skip(str(missing))


@pytest.fixture
def nats(tmp_path):
    """A running nats-server."""
    demand(find_nats)
    with start_nats(tmp_path / "broker data") as broker:
        yield broker


@pytest.fixture
def mosquitto(tmp_path):
    """A running Mosquitto."""
    demand(find_mosquitto)
    with start_mosquitto(tmp_path / "broker data") as broker:
        yield broker


@pytest.fixture(params=["nats", "mosquitto"])
def broker(request):
    """Each of the supported brokers, one after the other."""
    return request.getfixturevalue(request.param)


@pytest.fixture(scope="session")
def influx_server(tmp_path_factory):
    """A running InfluxDB behind its front, one for all tests; each takes a new database."""
    with influx_server_module.running(tmp_path_factory.mktemp("influx")) as server:
        yield server
