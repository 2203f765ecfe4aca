"""Every process is killed under load, some in the same moment; `tests.bench.kill_all` does it a hundred times."""

import random
import threading
from functools import partial

import pytest

from collector.broker import start_mosquitto, start_nats
from collector.broker.mosquitto import find_mosquitto
from tests.conftest import demand
from tests.integration.whole_house import House, faults

ROUNDS = (("broker", "hand"), ("collector", "bridge"), ("dashboard", "hand"), ("collector", "broker", "bridge"))
quick_mosquitto = partial(start_mosquitto, save_every_change=False)


@pytest.fixture(params=["nats", "mosquitto"])
def house(request, tmp_path):
    """Mosquitto acknowledges before it writes, so its own death loses what it said last: there it is left alone."""
    if request.param == "mosquitto":
        demand(find_mosquitto)
    made = House(tmp_path, start_nats if request.param == "nats" else quick_mosquitto, units=20)
    made.spared = frozenset({"broker"}) if request.param == "mosquitto" else frozenset()
    yield made
    made.close()


@pytest.mark.slow
@pytest.mark.broker
def test_nothing_promised_is_lost_and_nothing_happens_twice(house) -> None:
    rng, pause = random.Random(20261125), threading.Event()  # noqa: S311 - no secret
    for names in ROUNDS:
        house.ready()
        pause.wait(rng.uniform(0.5, 1.5))  # the moment of the kill is what is random here
        for name in names:
            house.kill(name)
    house.ready()
    house.finish()
    figures = house.check()
    assert faults(figures) == {}
    assert min(figures["readings"], figures["transitions_bridged"], figures["promises"]) > 0
