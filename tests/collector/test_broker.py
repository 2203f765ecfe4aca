"""The broker starter, with the real brokers: what they keep, how they end, and what is said when they cannot."""

import os
import socket
import subprocess
import sys
import sysconfig
import threading

import pytest
from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import BrokerError, start_mosquitto, start_nats
from collector.broker import process as process_module
from collector.broker.nats import find_nats
from collector.broker.ports import answers_mqtt, is_free
from collector.broker.process import Broker
from tests.waiting import free_port, wait_for

TOPIC = "oxygen/v1/sim-lake/unit/u1/readings"


class Subscriber:
    """A subscriber with a persistent session that keeps what it got, in order."""

    def __init__(self, broker):
        self.got: list[bytes] = []
        self.subscribed = threading.Event()
        self.client = Client(CallbackAPIVersion.VERSION2, client_id="keeper", clean_session=False, protocol=MQTTv311)
        self.client.on_connect = lambda client, *_: client.subscribe("oxygen/#", qos=1)
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.on_message = lambda _client, _data, message: self.got.append(bytes(message.payload))
        self.client.connect(broker.host, broker.port)

    def __enter__(self):
        self.client.loop_start()
        assert self.subscribed.wait(10)
        return self

    def __exit__(self, *_):
        self.client.disconnect()
        self.client.loop_stop()


def publish(broker, payloads, *, topic=TOPIC, retain=False):
    """Publish with QoS 1 and return when every message is acknowledged."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv311)
    client.connect(broker.host, broker.port)
    client.loop_start()
    for sent in [client.publish(topic, payload, qos=1, retain=retain) for payload in payloads]:
        sent.wait_for_publish(20)
    client.disconnect()
    client.loop_stop()


def test_it_answers_says_what_it_is_and_stops(broker):
    assert broker.running
    assert answers_mqtt(broker.host, broker.port)
    assert broker.name.split()[0] in {"nats-server", "mosquitto"}
    assert broker.log_path.read_text()
    pid = broker.pid
    broker.stop()
    assert not broker.running
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert is_free(broker.host, broker.port)


def crash_with_an_absent_subscriber(broker, before_the_crash=lambda: None):
    """Publish 200 readings and a retained message to an absent subscriber, crash, and check that it gets them."""
    with Subscriber(broker):
        pass
    payloads = [str(number).encode() for number in range(200)]
    publish(broker, payloads)
    publish(broker, [b"retained"], topic="oxygen/v1/sim-lake/ward/a/signal", retain=True)
    before_the_crash()
    port = broker.port
    broker.kill()
    broker.restart()
    assert broker.port == port
    with Subscriber(broker) as again:
        wait_for(lambda: len(again.got) >= 202, 20, "what was queued, and the retained message again")
    assert [payload for payload in again.got if payload != b"retained"] == payloads


def test_with_nats_all_that_was_acknowledged_outlives_a_crash_of_the_broker(nats):
    crash_with_an_absent_subscriber(nats)


def test_with_mosquitto_all_that_it_has_written_outlives_a_crash_of_the_broker(mosquitto):
    """Mosquitto acknowledges first and writes some milliseconds later: what falls between is lost."""
    store = mosquitto.log_path.with_name("mosquitto.db")
    crash_with_an_absent_subscriber(
        mosquitto, lambda: wait_for(lambda: b"retained" in store.read_bytes(), 10, "the store to be written")
    )


def test_it_may_be_restarted_from_a_thread_that_ends(broker):
    thread = threading.Thread(target=broker.restart)
    thread.start()
    thread.join()
    publish(broker, [b"1"])
    assert broker.running


@pytest.mark.parametrize("start", [start_nats, start_mosquitto])
def test_a_taken_port_is_said(start, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(BrokerError, match=f"port {port} of 127.0.0.1 is taken by another program"):
            start(tmp_path, port=port)


def test_a_wanted_port_is_used(tmp_path):
    port = free_port()
    with start_nats(tmp_path, port=port) as broker:
        assert broker.port == port


def test_a_folder_serves_one_broker_at_a_time(nats, tmp_path, monkeypatch):
    monkeypatch.setattr(process_module, "STOP_S", 0.1)
    with pytest.raises(BrokerError, match="another broker is at work"):
        start_nats(tmp_path / "broker data")
    publish(nats, [b"1"])


def test_a_broker_that_dies_at_the_start_leaves_its_last_words(tmp_path):
    command = [sys.executable, "-c", "import sys; sys.exit('the disk is made of cheese')"]
    broker = Broker("cheese 1.0", command, tmp_path, "127.0.0.1", free_port())
    with pytest.raises(BrokerError, match=r"(?s)cheese 1\.0 ended at the start .*the disk is made of cheese"):
        broker.start()
    assert not broker.running


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BrokerError, match="cannot be used"):
        start_nats(tmp_path / "file")


def test_a_missing_program_is_said_with_the_way_out(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(sysconfig, "get_path", lambda _: str(tmp_path))
    with pytest.raises(BrokerError, match=r"no nats-server 2\.10\.25 or newer .*deploy/run\.py"):
        start_nats(tmp_path)


@pytest.mark.parametrize(
    ("on_path", "taken"),
    [("2.1.0", "installed"), ("2.12.0", "installed"), ("99.0.0", "on_path"), ("2.13.0", "on_path")],
)
def test_the_newest_fit_program_is_taken_and_the_one_on_path_when_equal(tmp_path, monkeypatch, on_path, taken):
    for place, version in {"on_path": on_path, "installed": "2.13.0"}.items():
        program = tmp_path / place / "nats-server"
        program.parent.mkdir()
        program.write_text(f"#!/bin/sh\necho nats-server: v{version}\n")
        program.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path / "on_path"))
    monkeypatch.setattr(sysconfig, "get_path", lambda _: str(tmp_path / "installed"))
    assert find_nats().path == str(tmp_path / taken / "nats-server")


STARTER = """
import sys, threading
from pathlib import Path
from collector.broker import start_{name}
broker = start_{name}(Path(sys.argv[1]))
sys.stdout.write(f"{{broker.pid}} {{broker.port}}\\n")
sys.stdout.flush()
threading.Event().wait()
"""


def state_of(pid):
    """The process's state letter from /proc (proc(5)); "" when it is gone."""
    try:
        with open(f"/proc/{pid}/stat") as stat:
            return stat.read().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return ""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child of its starter's death")
@pytest.mark.parametrize("name", ["nats", "mosquitto"])
def test_it_ends_with_its_starter_even_when_that_is_killed(name, request, tmp_path):
    request.getfixturevalue(name)
    command = [sys.executable, "-c", STARTER.format(name=name), str(tmp_path / "own")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True) as starter:
        assert starter.stdout is not None
        pid, port = map(int, starter.stdout.readline().split())
        assert os.getpgid(pid) != starter.pid, "a Ctrl-C would reach the broker"
        starter.kill()
    wait_for(lambda: state_of(pid) in {"", "Z"}, 10, "the broker's end")
    assert is_free("127.0.0.1", port)
