"""paho-mqtt in one thread: read a batch, let the caller commit it, and only then acknowledge it.

Rules of this file: nothing of paho leaks out, and no broker's fault is an exception: it is a state and a sentence. The
socket is read by our own loop (paho's loop_read, loop_write, loop_misc around a select), so that not reading on bounds
the batch, and so that one thread owns socket, rules and store. MQTT 3.1.1 with a persistent session: what a broker has
not seen acknowledged it sends again after the next connect.
"""

from __future__ import annotations

import os
import random
import select
import socket
import time
from collections.abc import Callable, Sequence
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.door import Door, tls_context
from collector.door_words import why_no_answer, why_not_connected, why_refused
from collector.intake.buffered import BufferedClient
from collector.intake.ends import certificate_until_s, hear_out
from collector.intake.pause import Pause

BATCH: Final = 500  # messages; larger ones commit no cheaper (measured), and delay the alert of the first one
KEEPALIVE_S: Final = 20
CONNECT_TIMEOUT_S: Final = 5.0
# What an earlier connection left unacknowledged comes again: from Mosquitto at once; from nats-server when its ack_wait
# is over, and if there is a connection by then, behind newer messages. So connecting waits for longer than that
# (broker/nats.py), at the start too, since the process before may have been killed a moment ago: then what was left
# comes first, in order. Not covered: a connection that the network broke without either side noticing.
PAUSE_S: Final = 1.5
BACKOFF_S: Final = (2.2, 30.0)  # jitter makes 0.7 of it at the least
GOODBYE_S: Final = 2.0
NOT_UTF8: Final = "(a topic that is not UTF-8)"

CONNECTING: Final = "connecting"
CONNECTED: Final = "connected"
REFUSED: Final = "refused"

Message = tuple[str, bytes, int, int]  # topic, payload, packet id, connection number


class Subscriber:
    """One persistent MQTT session; `state` and `said` tell how it stands with the broker."""

    def __init__(
        self, door: Door, client_id: str, topics: Sequence[str], *, will: tuple[str, bytes] | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.door = door
        self.other_doors: list[Door] = []  # of the same cluster and account: each next attempt takes the next door
        self.state, self.said = CONNECTING, "not tried yet"
        self.certificate_until_s: float | None = None  # when the broker's certificate ends, seconds since 1970
        self.connections = 0  # counts CONNACKs: packet ids of an earlier connection mean nothing
        self._topics = topics
        self._monotonic_s = monotonic_s
        self._batch: list[Message] = []
        self._published: list[int] = []
        self._tries = 0  # since the last connection
        self._retry_s, self._backoff_s, self._misc_s = monotonic_s() + PAUSE_S, BACKOFF_S[0], 0.0
        self._pause = Pause(BATCH)
        self._up = False  # whether there is a connection, or one in the making
        self._subscribed = self._turned_away = self._answered = False
        self._client = self._make(door.client_id or client_id, will)

    def _make(self, client_id: str, will: tuple[str, bytes] | None) -> BufferedClient:
        client = BufferedClient(
            CallbackAPIVersion.VERSION2, client_id, clean_session=False, protocol=mqtt.MQTTv311,
            manual_ack=True, reconnect_on_failure=False,
        )  # fmt: skip
        if self.door.username:
            client.username_pw_set(self.door.username, self.door.password)
        if (context := tls_context(self.door)) is not None:
            client.tls_set_context(context)
        if will:
            client.will_set(*will, qos=1, retain=True)
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.on_message = self._on_message
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_socket_register_write = _later  # else every acknowledgement would go through paho's writing by itself
        return client

    # -- paho's callbacks: each hands over one thing ---------------------------------------------------------------

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:  # a broker should have refused it, not every broker does
            topic = NOT_UTF8
        self._batch.append((topic, bytes(message.payload), message.mid if message.qos else 0, self.connections))

    def _on_connect(
        self, client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._answered = True
        if reason.is_failure:
            self.state, self.said = REFUSED, why_refused(str(reason), self.door)
            return
        self.connections += 1
        self._subscribed = False
        self.certificate_until_s = certificate_until_s(client.socket())
        self.state, self.said, self._backoff_s = CONNECTED, f"connected to {self._where}", BACKOFF_S[0]
        self._tries = 0
        client.subscribe([(topic, 1) for topic in self._topics])

    def _on_subscribe(
        self, _client: object, _data: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        if refused := [str(reason) for reason in reasons if reason.is_failure]:
            self.state, self.said = REFUSED, f"{self._where} refuses the subscription: {refused[0]}"
        self._subscribed, self._turned_away = not refused, bool(refused)

    def _on_disconnect(
        self, _client: object, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._lost(f"lost {self._where}: {reason}")

    def _on_publish(self, _client: object, _data: object, mid: int, *_: object) -> None:
        self._published.append(mid)

    # -- what the collector calls ----------------------------------------------------------------------------------

    @property
    def _where(self) -> str:
        return self.door.where

    @property
    def settled(self) -> bool:
        """Whether no attempt is under way, so that `said` is the last word on it."""
        return self.state == CONNECTED or not self._up

    @property
    def subscribed(self) -> bool:
        """Whether the broker has confirmed the subscription, so that nothing published now can miss us."""
        return self._subscribed and self.state == CONNECTED

    def poll(self, timeout_s: float) -> list[Message]:
        """Wait up to timeout_s for messages and return what is there, about BATCH at most; connects when it is time."""
        if not self._up and not self._connect(timeout_s):
            return []
        if self._wait(timeout_s):
            self._pause.over()
            self._read()
            self._gather(min(self._pause.longest_s, timeout_s))
        now_s = self._monotonic_s()
        if now_s - self._misc_s >= 1.0:
            self._misc_s = now_s
            self._client.loop_misc()
        if self._client.socket() is None or self._turned_away:
            self._lost(f"lost {self._where}")
            self._disconnect()
        batch, self._batch = self._batch, []
        return batch if self.state == CONNECTED else []  # after a loss it cannot be acknowledged: it comes again

    def acknowledge(self, batch: Sequence[Message]) -> None:
        """Tell the broker that a batch is on disk; packet ids of a connection that is gone are left out."""
        ack, current = self._client.ack, self.connections
        for _topic, _payload, mid, connection in batch:
            if mid and connection == current:
                ack(mid, 1)
        self._flush()
        self._pause.acknowledged()

    def publish(self, topic: str, payload: bytes, *, retain: bool = True) -> int:
        """Send with QoS 1; returns the packet id, which `take_published` gives back once the broker has the message."""
        mid = self._client.publish(topic, payload, qos=1, retain=retain).mid
        self._flush()
        return mid

    def take_published(self) -> list[int]:
        """Packet ids acknowledged by the broker since the last call."""
        done, self._published = self._published, []
        return done

    def drop(self) -> None:
        """Break the connection, so that the broker sends again what was not acknowledged."""
        self._lost("the collector broke the connection to get again what it could not store")
        self._disconnect()

    def close(self) -> None:
        """Say goodbye; the session, and what was not acknowledged, stays with the broker."""
        self._lost("closed")
        self._disconnect()

    def _disconnect(self) -> None:
        sock = self._client.socket()
        if sock is None:
            return
        deadline_s = time.monotonic() + GOODBYE_S
        while self._client.socket() and self._client.want_write() and time.monotonic() < deadline_s:
            select.select([], [sock], [], GOODBYE_S)
            self._flush()
        if sock.fileno() < 0:
            return
        # paho closes its socket as soon as DISCONNECT is written. With unread input that resets the connection, and the
        # broker loses what it has not read yet: our acknowledgements and last words. So a second handle keeps the
        # connection open until the broker has ended it.
        with socket.socket(fileno=os.dup(sock.fileno())) as connection:
            self._client.disconnect()  # without the last will: whoever breaks on purpose says why in a heartbeat
            self._flush()
            sock.close()
            hear_out(connection, deadline_s)

    # -- the loop's parts ------------------------------------------------------------------------------------------

    def _connect(self, timeout_s: float) -> bool:
        wait_s = self._retry_s - self._monotonic_s()
        if wait_s > 0:
            select.select([], [], [], min(timeout_s, wait_s))
            return False
        self._batch.clear()
        self._turned_away = self._answered = False
        try:
            self._client.connect(self.door.host, self.door.port, KEEPALIVE_S)
        except OSError as error:
            fault = why_not_connected(error, self.door)
            self.state, self.said = REFUSED if fault.lasting else CONNECTING, fault.said
        except ValueError as error:  # of no host name at all
            self.state, self.said = CONNECTING, f"'{self.door.host}' is no address: {error}"
        else:
            self._up = True
            self.said = f"{self._where} answers, but not yet as an MQTT broker" if self.state != REFUSED else self.said
            return True
        self._again_later()
        return False

    def _again_later(self) -> None:
        # Jitter, so that many clients do not come back in the same moment after a power cut.
        self._retry_s = self._monotonic_s() + self._backoff_s * random.uniform(0.7, 1.3)  # noqa: S311 - no secret
        self._tries += 1
        if self._tries % (1 + len(self.other_doors)) == 0:  # each door is tried before the pause grows
            self._backoff_s = min(self._backoff_s * 2, BACKOFF_S[1])
        self.other_doors.append(self.door)
        self.door = self.other_doors.pop(0)

    def _wait(self, timeout_s: float) -> bool:
        """Wait for something to read, writing what waits to be written; False when there is nothing."""
        sock = self._client.socket()
        if sock is None:
            return False
        pending = getattr(sock, "pending", None)  # bytes that TLS has read already are not seen by select
        if pending is not None and pending():
            return True
        writers = [sock] if self._client.want_write() else []
        readable, writable, _ = select.select([sock], writers, [], timeout_s)
        if writable:
            self._flush()
        return bool(readable)

    def _flush(self) -> None:
        try:
            self._client.flush()
        except OSError as error:
            self._lost(f"lost {self._where}: {error.strerror or error}")

    def _gather(self, for_s: float) -> None:
        """Wait a little for more, so that many messages share a commit."""
        pause = self._pause
        pause.begin(for_s, len(self._batch))
        while (left_s := pause.left_s(len(self._batch))) > 0:
            if self._wait(left_s):
                self._read()
                pause.heard()
        pause.end(len(self._batch))

    def _read(self) -> None:
        """Read until the socket is idle or the batch is full."""
        while (before := len(self._batch)) < BATCH:
            if self._client.loop_read() != mqtt.MQTT_ERR_SUCCESS:
                self._lost(f"lost {self._where}")
                break
            if len(self._batch) == before:
                break

    def _lost(self, said: str) -> None:
        if not self._up:
            return
        self._up = self._subscribed = False
        if self.state != REFUSED:  # what the broker said in its CONNACK is the better sentence
            self.state, self.said = CONNECTING, said if self._answered else why_no_answer(self.door)
        self._again_later()


def _later(*_: object) -> None:
    """paho has something to write: it is written with the rest of the turn."""
