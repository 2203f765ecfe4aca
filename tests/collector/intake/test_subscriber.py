"""The subscriber against real brokers: acknowledged after the batch, again and in reach of order after a break."""

import socket
import ssl
import struct
import threading
import time

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import mosquitto as mosquitto_module
from collector.broker.nats import ACK_WAIT
from collector.door import Door
from collector.intake import subscriber as module
from collector.intake.subscriber import CONNECTED, CONNECTING, NOT_UTF8, REFUSED, Subscriber
from tests.conftest import demand
from tests.waiting import free_port, wait_for

TOPIC = "oxygen/v1/sim-t/unit/u1/readings"


class Clock:
    """Monotonic seconds that a test moves."""

    def __init__(self) -> None:
        self.now_s = 1_000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def pauses():
    """Asked for by a test in which messages come again: it needs the whole pause before a connect."""


@pytest.fixture(autouse=True)
def short_pauses(request, monkeypatch):
    if "pauses" not in request.fixturenames:
        monkeypatch.setattr(module, "PAUSE_S", 0.0)
        monkeypatch.setattr(module, "BACKOFF_S", (0.5, 30.0))


@pytest.fixture
def publish(broker):
    """Publish texts one after the other, each acknowledged by the broker before the next."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "source", protocol=mqtt.MQTTv311)
    client.connect(broker.host, broker.port)
    client.loop_start()

    def send(*texts):
        for text in texts:
            client.publish(TOPIC, text, 1).wait_for_publish(10)

    yield send
    client.disconnect()
    client.loop_stop()


@pytest.fixture
def make(broker):
    """Subscribers of one session, closed at the end."""
    made: list[Subscriber] = []

    def new(**options):
        line = Subscriber(
            Door(broker.host, broker.port), "sieveward-sim-t", ["oxygen/v1/sim-t/unit/+/readings"], **options
        )
        made.append(line)
        return line

    yield new
    for line in made:
        line.close()


def subscribed(line):
    wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 10, "the subscription")


def texts_until(line, count, *, acknowledge=True):
    """Payloads until there are `count` of them."""
    got: list[str] = []

    def turn():
        batch = line.poll(0.05)
        if acknowledge:
            line.acknowledge(batch)
        got.extend(payload.decode() for _topic, payload, _mid, _connection in batch)
        return len(got) >= count

    wait_for(turn, 15, f"{count} messages")
    return got


def test_what_is_acknowledged_does_not_come_again(make, publish):
    line = make()
    subscribed(line)
    publish("a", "b", "c")
    assert texts_until(line, 3) == ["a", "b", "c"]
    line.close()
    again = make()
    publish("d")
    assert texts_until(again, 1) == ["d"]


@pytest.mark.parametrize("how", ["drop", "killed"])
def test_what_is_not_acknowledged_comes_again_before_what_came_since(make, publish, how, pauses):
    line = make()
    subscribed(line)
    publish("1", "2", "3")
    assert texts_until(line, 3, acknowledge=False) == ["1", "2", "3"]
    if how == "drop":
        line.drop()
        assert line.state == CONNECTING
    else:  # as the kernel closes the socket of a killed process: no DISCONNECT
        line._client.socket().close()
        line = make()
    publish("4", "5")
    assert texts_until(line, 5) == ["1", "2", "3", "4", "5"]
    publish("6")
    assert texts_until(line, 1) == ["6"]


def test_it_connects_only_when_nats_sends_again_what_was_left(pauses):
    seconds = float(ACK_WAIT.removesuffix("s"))
    assert seconds < module.PAUSE_S
    assert module.BACKOFF_S[0] * 0.7 >= module.PAUSE_S


def test_packet_ids_of_an_earlier_connection_are_not_acknowledged(make, publish, pauses):
    line = make()
    subscribed(line)
    publish("old")
    old = batch_of(line, 1)
    line.drop()
    publish("new")
    first = batch_of(line, 2)
    line.acknowledge(old)  # would hit whatever carries that packet id now
    line.drop()
    assert sorted(texts_until(line, 2)) == ["new", "old"]
    assert len(first) == 2


def batch_of(line, count):
    batch: list[module.Message] = []

    def turn():
        batch.extend(line.poll(0.05))
        return len(batch) >= count

    wait_for(turn, 10, f"{count} messages")
    return batch


def test_a_batch_is_bounded_and_the_rest_waits(make, publish, monkeypatch):
    monkeypatch.setattr(module, "BATCH", 10)
    line = make()
    subscribed(line)
    publish(*[str(n) for n in range(25)])
    sizes: list[int] = []

    def turn():
        batch = line.poll(0.05)
        line.acknowledge(batch)
        sizes.append(len(batch))
        return sum(sizes) >= 25

    wait_for(turn, 10, "all messages")
    assert max(sizes) <= 10
    assert sum(sizes) == 25


def test_a_broker_that_is_not_there_is_a_state_and_the_pauses_grow():
    clock = Clock()
    line = Subscriber(Door("127.0.0.1", free_port()), "c", ["t"], monotonic_s=clock)
    pauses = []
    for _ in range(9):
        assert line.poll(0.0) == []
        assert line.state == CONNECTING
        assert "no broker at 127.0.0.1" in line.said
        pauses.append(line._retry_s - clock.now_s)
        clock.now_s = line._retry_s + 0.001
    for pause, base in zip(pauses, [0.5, 1, 2, 4, 8, 16, 30, 30, 30], strict=True):
        assert 0.7 * base <= pause <= 1.3 * base


def test_no_attempt_before_its_time():
    clock = Clock()
    line = Subscriber(Door("127.0.0.1", free_port()), "c", ["t"], monotonic_s=clock)
    line.poll(0.0)
    retry_s = line._retry_s
    clock.now_s += 0.1
    line.poll(0.0)
    assert line._retry_s == retry_s


@pytest.mark.parametrize("host", ["", "a" * 70 + ".invalid", "no such host", "256.1.1.1"])
def test_an_address_that_is_none_is_a_state(host):
    line = Subscriber(Door(host, 1), "c", ["t"])
    assert line.poll(0.0) == []
    assert line.state == CONNECTING
    assert line.said


def test_a_broker_that_goes_and_comes_back_is_found_again(nats):
    line = Subscriber(Door(nats.host, nats.port), "c", ["t"])
    subscribed(line)
    nats.kill()
    wait_for(lambda: line.poll(0.05) == [] and line.state == CONNECTING, 10, "the loss to be noticed")
    assert not line.subscribed
    assert "127.0.0.1" in line.said
    nats.restart()
    subscribed(line)
    assert line.state == CONNECTED
    assert line.connections == 2
    line.close()


class Server:
    """Accepts connections and answers each first packet with `answer`; what paho makes of a strange broker."""

    def __init__(self, answer: bytes, *, hold: bool = True) -> None:
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        self.answer, self._hold = answer, hold
        self.held: list[socket.socket] = []
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                sock, _ = self._socket.accept()
            except OSError:
                return
            sock.recv(1_000)
            sock.sendall(self.answer)
            if self._hold:
                self.held.append(sock)
            else:
                sock.close()

    def close(self) -> None:
        self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(5)
        for sock in self.held:
            sock.close()


@pytest.fixture
def server():
    made: list[Server] = []

    def new(answer: bytes, *, hold: bool = True) -> Server:
        made.append(Server(answer, hold=hold))
        return made[-1]

    yield new
    for one in made:
        one.close()


def test_a_refusal_is_told_in_the_brokers_words(server):
    refusing = server(b"\x20\x02\x00\x05", hold=False)  # CONNACK, return code 5 (MQTT 3.1.1, table 3.1)
    line = Subscriber(Door("127.0.0.1", refusing.port, "u", "wrong"), "c", ["t"])
    wait_for(lambda: line.poll(0.05) == [] and line.state == REFUSED, 10, "the refusal")
    wait_for(lambda: line.poll(0.05) == [] and not line._up, 10, "the end of the connection")
    assert "Not authorized" in line.said


def test_a_refused_subscription_is_told_and_tried_again(server):
    suback = packet(0x90, struct.pack(">H", 1) + b"\x80")  # SUBACK, failure (MQTT 3.1.1, section 3.9.3)
    refusing = server(b"\x20\x02\x00\x00" + suback)
    line = Subscriber(Door("127.0.0.1", refusing.port), "c", ["t"])
    wait_for(lambda: line.poll(0.02) == [] and not line._up and line.state == REFUSED, 10, "the refusal")
    assert "refuses the subscription" in line.said
    assert not line.subscribed
    refusing.answer = b""  # slow from now on: what was refused before must not end the new attempt
    wait_for(lambda: line.poll(0.0) == [] and len(refusing.held) > 1, 10, "another attempt")
    for _ in range(10):
        line.poll(0.01)
    refusing.held[1].sendall(b"\x20\x02\x00\x00")
    wait_for(lambda: line.poll(0.02) == [] and line.state == CONNECTED, 10, "the CONNACK")
    assert line.connections == 2
    line.close()


def test_it_is_not_subscribed_before_the_broker_says_so(server):
    silent = server(b"\x20\x02\x00\x00")
    line = Subscriber(Door("127.0.0.1", silent.port), "c", ["t"])
    wait_for(lambda: line.poll(0.02) == [] and line.state == CONNECTED, 10, "the CONNACK")
    for _ in range(10):
        line.poll(0.02)
    assert not line.subscribed
    silent.held[0].sendall(packet(0x90, struct.pack(">H", 1) + b"\x01"))
    wait_for(lambda: line.poll(0.02) == [] and line.subscribed, 10, "the SUBACK to count")
    line.close()


@pytest.mark.parametrize("answer", [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\xff" * 64, b"\x30\x05\x00\x09ab", b""])
@pytest.mark.parametrize("hold", [False, True])
def test_something_that_is_no_broker_is_never_an_exception(server, answer, hold):
    strange = server(answer, hold=hold)
    line = Subscriber(Door("127.0.0.1", strange.port), "c", ["t"])
    wait_for(lambda: line.poll(0.02) == [] and (strange.held or not line._up), 10, "an answer")
    for _ in range(5):
        assert line.poll(0.02) == []
    assert line.state == CONNECTING
    assert not line.subscribed
    line.close()


def packet(kind: int, body: bytes) -> bytes:
    assert len(body) < 128
    return bytes([kind, len(body)]) + body


def test_a_topic_that_is_not_text_is_handed_on_with_a_name_of_its_own(server):
    bad = packet(0x32, struct.pack(">H", 3) + b"a\xff\xfe" + struct.pack(">H", 1) + b"x")
    broken = server(b"\x20\x02\x00\x00" + bad)
    line = Subscriber(Door("127.0.0.1", broken.port), "c", ["t"])
    assert [(m[0], m[1]) for m in batch_of(line, 1)] == [(NOT_UTF8, b"x")]
    line.close()


def test_the_last_will_tells_of_a_broken_connection_and_not_of_a_goodbye(broker, make):
    heard: list[str] = []
    watcher = mqtt.Client(CallbackAPIVersion.VERSION2, "watcher", protocol=mqtt.MQTTv311)
    watcher.on_message = lambda _client, _data, message: heard.append(message.payload.decode())
    watcher.on_connect = lambda client, *_: client.subscribe("will", 1)
    ready = threading.Event()
    watcher.on_subscribe = lambda *_: ready.set()
    watcher.connect(broker.host, broker.port)
    watcher.loop_start()
    assert ready.wait(10)
    line = make(will=("will", b"lost"))
    subscribed(line)
    line.publish("will", b"bye", retain=True)
    line.close()
    wait_for(lambda: heard == ["bye"], 10, "the goodbye")
    line = make(will=("will", b"lost"))
    subscribed(line)
    line._client.socket().close()
    wait_for(lambda: heard == ["bye", "lost"], 10, "the last will")
    watcher.disconnect()
    watcher.loop_stop()


@pytest.mark.parametrize("how", ["drop", "close"])
def test_the_last_words_arrive_although_the_broker_was_still_speaking(server, how):
    """Closing a socket with unread input resets the connection, and the other side loses what it has not read yet."""
    line_of_broker = packet(0x30, struct.pack(">H", 1) + b"t" + b"x" * 100)
    speaking = server(b"\x20\x02\x00\x00")
    line = Subscriber(Door("127.0.0.1", speaking.port), "c", ["t"])
    wait_for(lambda: line.poll(0.02) == [] and line.state == CONNECTED, 10, "the CONNACK")
    (theirs,) = speaking.held
    theirs.sendall(line_of_broker * 500)  # lies unread when the connection is broken
    line.publish("heartbeat", b"last words")
    threading.Thread(target=getattr(line, how)).start()
    said = b""
    theirs.settimeout(10)
    while chunk := theirs.recv(10):  # ConnectionResetError here is what must not be
        said += chunk
    assert b"last words" in said
    assert said.endswith(b"\xe0\x00")  # DISCONNECT


def test_what_it_publishes_is_confirmed(make):
    line = make()
    subscribed(line)
    mid = line.publish("somewhere", b"x")
    done = wait_for(lambda: line.poll(0.02) == [] and line.take_published(), 10, "the PUBACK")
    assert done == [mid]
    assert line.take_published() == []


def test_an_untrusted_certificate_is_said_in_words(monkeypatch):
    line = Subscriber(Door("127.0.0.1", 1), "c", ["t"])

    def untrusted(*_: object) -> None:
        error = ssl.SSLCertVerificationError()
        error.verify_message = "self-signed certificate"
        raise error

    monkeypatch.setattr(line._client, "connect", untrusted)
    line.poll(0.0)
    assert line.state == REFUSED
    assert "not trusted: self-signed certificate" in line.said


def test_polling_an_idle_broker_waits_no_longer_than_told(make):
    line = make()
    subscribed(line)
    began_s = time.monotonic()
    assert line.poll(0.1) == []
    assert time.monotonic() - began_s < 1.0


def test_messages_that_come_soon_after_the_first_are_one_batch(make, publish):
    line = make()
    subscribed(line)
    publish("1", "2", "3")  # each acknowledged by the broker before the next is sent
    threading.Timer(0.02, publish, args=("4", "5")).start()
    sizes = []

    def turn():
        batch = line.poll(5.0)
        line.acknowledge(batch)
        sizes.append(len(batch))
        return sum(sizes) >= 5

    wait_for(turn, 10, "five messages")
    assert len(sizes) < 5


def test_a_broker_that_sends_only_so_many_at_a_time_is_not_waited_for(tmp_path, monkeypatch):
    """Mosquitto's default is 20 unacknowledged messages: gathering would wait for more that cannot come."""
    monkeypatch.setattr(mosquitto_module, "MAX_INFLIGHT", 20)
    demand(mosquitto_module.find_mosquitto)
    with mosquitto_module.start_mosquitto(tmp_path, save_every_change=False) as broker:
        line = Subscriber(Door(broker.host, broker.port), "sieveward-sim-t", [TOPIC])
        subscribed(line)
        source = mqtt.Client(CallbackAPIVersion.VERSION2, "source", protocol=mqtt.MQTTv311)
        source.connect(broker.host, broker.port)
        source.loop_start()
        for info in [source.publish(TOPIC, b"x", 1) for _ in range(400)]:
            info.wait_for_publish(10)
        waits = []
        gather = line._gather

        def watched(for_s):
            gather(for_s)
            waits.append(line._pause.stopped_at)

        monkeypatch.setattr(line, "_gather", watched)
        assert len(texts_until(line, 400)) == 400
        assert 20 in waits
        assert len([count for count in waits if 0 < count <= 20]) <= 2
        source.disconnect()
        source.loop_stop()
        line.close()
