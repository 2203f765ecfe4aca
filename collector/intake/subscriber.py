"""paho-mqtt in one thread: read a batch, let the caller commit it, and only then acknowledge it.

Rules of this file: nothing of paho leaks out, and no broker's fault is an exception: it is a state and a sentence. The
socket is read by our own loop (paho's loop_read, loop_write, loop_misc around a select), so that the batch is bounded by
not reading on, and so that one thread owns socket, rules and store. MQTT 3.1.1 with a persistent session: what a broker
has not seen acknowledged it sends again after the next connect.
"""

from __future__ import annotations

import random
import select
import ssl
import time
from collections.abc import Callable, Sequence
from typing import Any, Final

import paho.mqtt.client as mqtt

BATCH: Final = 500  # messages; larger ones commit no cheaper (measured), and delay the alert of the first one
KEEPALIVE_S: Final = 20
CONNECT_TIMEOUT_S: Final = 5.0
BACKOFF_S: Final = (0.5, 30.0)
SETTLED_S: Final = 1.0  # after subscribing, how long to go on before a batch that is not full means "caught up"

CONNECTING: Final = "connecting"
CONNECTED: Final = "connected"
REFUSED: Final = "refused"

Message = tuple[str, bytes, int, int]  # topic, payload, packet id, connection number


class Subscriber:
    """One persistent MQTT session; `state` and `said` tell how it stands with the broker."""

    def __init__(
        self, host: str, port: int, client_id: str, topics: Sequence[str], *, username: str | None = None,
        password: str | None = None, will: tuple[str, bytes] | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.host, self.port = host, port
        self.state, self.said = CONNECTING, "not tried yet"
        self.connections = 0  # counts CONNACKs: packet ids of an earlier connection mean nothing
        self._topics = topics
        self._monotonic_s = monotonic_s
        self._batch: list[Message] = []
        self._published: list[int] = []
        self._retry_s, self._backoff_s, self._subscribed_s = 0.0, BACKOFF_S[0], 0.0
        self._misc_s = 0.0
        self._caught_up = False
        self._client = self._make(client_id, username, password, will)

    def _make(
        self, client_id: str, username: str | None, password: str | None, will: tuple[str, bytes] | None
    ) -> mqtt.Client:
        client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2, client_id, clean_session=False, protocol=mqtt.MQTTv311,
            manual_ack=True, reconnect_on_failure=False,
        )  # fmt: skip
        if username:
            client.username_pw_set(username, password)
        if will:
            client.will_set(*will, qos=1, retain=True)
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.on_message = self._on_message
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        return client

    # -- paho's callbacks: each hands over one thing ---------------------------------------------------------------

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        self._batch.append((message.topic, message.payload, message.mid if message.qos else 0, self.connections))

    def _on_connect(self, client: mqtt.Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            self.state, self.said = REFUSED, f"{self._where} refuses: {reason}"
            return
        self.connections += 1
        self.state, self.said, self._backoff_s = CONNECTED, f"connected to {self._where}", BACKOFF_S[0]
        client.subscribe([(topic, 1) for topic in self._topics])

    def _on_subscribe(self, *_: object) -> None:
        self._subscribed_s = self._monotonic_s()

    def _on_disconnect(self, _client: object, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        # paho reports a refused CONNECT here too: what the broker said in its CONNACK is the better sentence.
        if self.state == CONNECTED:
            self.state, self.said = CONNECTING, f"lost {self._where}: {reason}"

    def _on_publish(self, _client: object, _data: object, mid: int, *_: object) -> None:
        self._published.append(mid)

    # -- what the collector calls ----------------------------------------------------------------------------------

    @property
    def _where(self) -> str:
        return f"{self.host}:{self.port}"

    @property
    def caught_up(self) -> bool:
        """Whether what the broker had kept for us has been read, so that silence means silence."""
        return self._caught_up and self.state == CONNECTED

    def poll(self, timeout_s: float) -> list[Message]:
        """Wait up to timeout_s for messages and return what is there, BATCH at most; connects when it is time to."""
        if self._client.socket() is None and not self._connect(timeout_s):
            return []
        self._wait(timeout_s)
        batch = self._read()
        now_s = self._monotonic_s()
        if now_s - self._misc_s >= 1.0:
            self._misc_s = now_s
            self._client.loop_misc()
        if len(batch) < BATCH and self._subscribed_s and now_s - self._subscribed_s >= SETTLED_S:
            self._caught_up = True
        return batch

    def acknowledge(self, batch: Sequence[Message]) -> None:
        """Tell the broker that a batch is on disk; packet ids of a connection that is gone are left out."""
        ack, current = self._client.ack, self.connections
        for _topic, _payload, mid, connection in batch:
            if mid and connection == current:
                ack(mid, 1)

    def publish(self, topic: str, payload: bytes, *, retain: bool = True) -> int:
        """Send a message with QoS 1; returns its packet id, which `take_published` gives back once the broker has it."""
        return self._client.publish(topic, payload, qos=1, retain=retain).mid

    def take_published(self) -> list[int]:
        """Packet ids acknowledged by the broker since the last call."""
        done, self._published = self._published, []
        return done

    def drop(self) -> None:
        """Break the connection without a word, so that the broker sends again what was not acknowledged."""
        if (sock := self._client.socket()) is not None:
            sock.close()
            self._client.loop_misc()
        self._lost("the collector broke the connection to have unstored readings again")

    def close(self) -> None:
        """Say goodbye; the session stays with the broker."""
        deadline_s = self._monotonic_s() + 2.0
        while self._client.want_write() and self._client.socket() and self._monotonic_s() < deadline_s:
            self._client.loop_write()
        self._client.disconnect()
        self._client.loop_write()
        if (sock := self._client.socket()) is not None:
            sock.close()

    # -- the loop's parts ------------------------------------------------------------------------------------------

    def _connect(self, timeout_s: float) -> bool:
        wait_s = self._retry_s - self._monotonic_s()
        if wait_s > 0:
            select.select([], [], [], min(timeout_s, wait_s))
            return False
        self._batch.clear()
        self._caught_up, self._subscribed_s = False, 0.0
        try:
            self._client.connect(self.host, self.port, KEEPALIVE_S)
        except ssl.SSLCertVerificationError as error:  # an OSError too, but retrying does not mend it
            self.state, self.said = REFUSED, f"the certificate of {self._where} is not trusted: {error.verify_message}"
        except OSError as error:
            self.state, self.said = CONNECTING, f"no broker at {self._where}: {error.strerror or error}"
        else:
            return True
        self._again_later()
        return False

    def _again_later(self) -> None:
        # Jitter, so that many clients do not come back in the same moment after a power cut.
        self._retry_s = self._monotonic_s() + self._backoff_s * random.uniform(0.7, 1.3)  # noqa: S311 - no secret
        self._backoff_s = min(self._backoff_s * 2, BACKOFF_S[1])

    def _wait(self, timeout_s: float) -> None:
        sock = self._client.socket()
        if sock is None:
            return
        pending = getattr(sock, "pending", None)  # bytes that TLS has read already are not seen by select
        if pending is not None and pending():
            return
        writers = [sock] if self._client.want_write() else []
        try:
            _readable, writable, _ = select.select([sock], writers, [], timeout_s)
        except (OSError, ValueError):  # the socket was closed under us
            self._lost(f"lost {self._where}")
            return
        if writable:
            self._client.loop_write()

    def _read(self) -> list[Message]:
        client, batch = self._client, self._batch
        while len(batch) < BATCH:
            before = len(batch)
            if client.loop_read() != mqtt.MQTT_ERR_SUCCESS:
                self._lost(self.said if self.state == REFUSED else f"lost {self._where}")
                break
            if len(batch) == before:
                break
        self._batch = []
        return batch

    def _lost(self, said: str) -> None:
        if self.state != REFUSED:
            self.state = CONNECTING
        self.said = said
        self._caught_up = False
        self._again_later()
