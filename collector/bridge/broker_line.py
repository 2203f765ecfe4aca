"""A bridge's line to the broker: a real paho client with a will, moved along by whoever owns the loop.

Rules of this file: nothing here waits. A connect (a name to look up, TLS to agree on) may take long, so it is made in a
thread of its own, and the client belongs to that thread until it is done. A broker that is away or refuses is a state
and a sentence, never an exception. MQTT 3.1.1, QoS 1, persistent session: what was published and not acknowledged paho
sends again, in order and before anything newer, at the next connect.
"""

from __future__ import annotations

import logging
import select
import socket
import threading
import time
from collections.abc import Callable
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.door import Door, tls_context
from collector.door_words import why_no_answer, why_not_connected, why_refused
from collector.log import say
from collector.topics import link_topic

KEEPALIVE_S: Final = 20
CONNECT_TIMEOUT_S: Final = 5.0
BACKOFF_S: Final = (0.2, 10.0)
REFUSED_S: Final = (5.0, 60.0)  # nothing is mended by asking again: somebody has to change something first
ANSWER_S: Final = 10.0  # what takes a connection and does not answer as a broker is left again after this
GOODBYE_S: Final = 2.0
REPEAT_S: Final = 600.0  # a broker that is away or refuses is said again

CONNECTING: Final = "connecting"
CONNECTED: Final = "connected"
REFUSED: Final = "refused"


class BrokerLine:
    """One bridge's connection; `state` and `said` tell how it stands, `connections` counts those that were made."""

    def __init__(
        self, door: Door, facility: str, bridge: str, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self.bridge, self._door, self._link, self._monotonic_s = bridge, door, link_topic(facility, bridge), monotonic_s
        self.state, self.said = CONNECTING, "not tried yet"
        self.connections = 0
        self.unacknowledged: set[int] = set()
        self._acked: list[int] = []
        self._retry_s, self._backoff_s, self._misc_s = 0.0, BACKOFF_S[0], 0.0
        self._up = self._answered = False
        self._up_s = 0.0
        self._attempt: _Attempt | None = None
        self._told, self._told_reason, self._told_s = "", "", 0.0
        self._client = self._make(door.client_id or f"{facility}-{bridge}")

    def _make(self, client_id: str) -> mqtt.Client:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=False,
                             protocol=mqtt.MQTTv311, reconnect_on_failure=False)  # fmt: skip
        if self._door.username:
            client.username_pw_set(self._door.username, self._door.password)
        if (context := tls_context(self._door)) is not None:
            client.tls_set_context(context)
        client.will_set(self._link, b"offline", qos=1, retain=True)
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.max_inflight_messages_set(0)  # whoever publishes bounds it: paho's own queue may be overtaken
        client.on_connect, client.on_disconnect, client.on_publish = self._on_connect, self._on_disconnect, self._acks
        return client

    # -- paho's callbacks ------------------------------------------------------------------------------------------

    def _on_connect(
        self, client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._answered = True
        if reason.is_failure:
            self.state, self.said = REFUSED, why_refused(str(reason), self._door)
            return
        self.state, self.said, self._backoff_s = CONNECTED, f"connected to {self._door.where}", BACKOFF_S[0]
        self.connections += 1
        client.publish(self._link, b"online", qos=1, retain=True)
        self._tell("bridge-online", logging.INFO)

    def _on_disconnect(
        self, _client: object, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._lost(str(reason))

    def _acks(self, _client: object, _data: object, mid: int, *_: object) -> None:
        self.unacknowledged.discard(mid)
        self._acked.append(mid)

    # -- what the loop calls ---------------------------------------------------------------------------------------

    @property
    def connected(self) -> bool:
        """Whether the broker has taken us in."""
        return self.state == CONNECTED

    @property
    def socket(self) -> socket.socket | None:
        """The socket to wait on, if there is one."""
        sock = None if self._attempt else self._client.socket()
        return sock if isinstance(sock, socket.socket) else None

    @property
    def wants_write(self) -> bool:
        """Whether something waits to be written to the socket."""
        return self._attempt is None and self._client.want_write()

    def turn(self) -> None:
        """Connect when it is time to, read and write what the socket has and takes."""
        if not self._up and not self._connect():
            return
        self._client.loop_read()
        while (sock := self._client.socket()) is not None and _read_already(sock):
            self._client.loop_read()
        if self._client.want_write():
            self._client.loop_write()
        now_s = self._monotonic_s()
        if now_s - self._misc_s >= 1.0:
            self._misc_s = now_s
            self._client.loop_misc()
        if self._client.socket() is None:
            self._lost("the connection is gone")
        elif not self._answered and now_s - self._up_s >= ANSWER_S:
            self.cut()
            self._lost(f"no answer for {ANSWER_S:.0f} s")

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> int:
        """Send with QoS 1, while connected; returns the packet id that `take_acked` gives back."""
        mid = self._client.publish(topic, payload, qos=1, retain=retain).mid
        self.unacknowledged.add(mid)
        return mid

    def take_acked(self) -> list[int]:
        """Packet ids that the broker has acknowledged since the last call."""
        done, self._acked = self._acked, []
        return done

    def cut(self) -> None:
        """Break the connection without a goodbye, so that the broker publishes the will."""
        self._retry_s = 0.0
        if (sock := self.socket) is not None:
            sock.shutdown(socket.SHUT_RDWR)
            self._client.loop_read()  # paho sees the end of the stream and closes its side

    def close(self) -> None:
        """Say that the bridge goes offline, wait a little for the broker's word, and say goodbye."""
        if self._attempt is not None:
            self._attempt.join(GOODBYE_S)
            if self._attempt.is_alive():  # a daemon: it ends with the process
                return
            self._attempt = None
        if self.connected:
            self.publish(self._link, b"offline", retain=True)
        deadline_s = time.monotonic() + GOODBYE_S
        while self.connected and self.unacknowledged and time.monotonic() < deadline_s:
            if (sock := self.socket) is not None:
                select.select([sock], [sock] if self.wants_write else [], [], 0.05)
            self.turn()
        self._told, self._up, self.state = "bridge-offline", False, CONNECTING
        self._client.disconnect()
        if (sock := self.socket) is not None:
            sock.close()

    # -- parts -----------------------------------------------------------------------------------------------------

    def _connect(self) -> bool:
        """Whether there is a connection now; begins one when it is time to, and looks whether one has been made."""
        if self._attempt is None:
            if self._monotonic_s() >= self._retry_s:
                self._attempt = _Attempt(self._client, self._door)
                self._attempt.start()
            return False
        if self._attempt.is_alive():
            return False
        error, self._attempt = self._attempt.error, None
        if error is None:
            self._up, self._answered, self._up_s = True, False, self._monotonic_s()
            return True
        if isinstance(error, OSError):
            fault = why_not_connected(error, self._door)
            self.state, self.said = REFUSED if fault.lasting else CONNECTING, fault.said
        else:  # of no host name at all
            self.state, self.said = CONNECTING, f"'{self._door.host}' is no address: {error}"
        self._tell("bridge-refused" if self.state == REFUSED else "bridge-unreachable", logging.WARNING)
        self._again_later()
        return False

    def _lost(self, said: str) -> None:
        if not self._up:
            return
        self._up = False
        if self.state == REFUSED:
            self._tell("bridge-refused", logging.WARNING)
        else:
            self.state = CONNECTING
            self.said = f"lost {self._door.where}: {said}" if self._answered else why_no_answer(self._door)
            self._tell("bridge-lost", logging.WARNING)
        self._again_later()

    def _again_later(self) -> None:
        first, longest = REFUSED_S if self.state == REFUSED else BACKOFF_S
        self._backoff_s = min(max(self._backoff_s, first), longest)
        self._retry_s = self._monotonic_s() + self._backoff_s
        self._backoff_s *= 2

    def _tell(self, name: str, level: int) -> None:
        """Log what is new, not each further try that ends alike; a lasting fault again after a while."""
        if name == "bridge-lost" and self._told in ("bridge-silent", "bridge-offline"):
            return  # that much is said already
        now_s = self._monotonic_s()
        other = name != self._told or (self.state == REFUSED and self.said != self._told_reason)
        if other or now_s - self._told_s >= REPEAT_S:
            self._told_reason, self._told_s = self.said, now_s
            say(name, level=level, bridge=self.bridge, broker=self._door.where, said=self.said)
        self._told = name

    def told_silent(self, said: str) -> None:
        """The next loss is meant, and need not be told."""
        self._told = "bridge-silent"
        say("bridge-silent", bridge=self.bridge, broker=self._door.where, said=said)


class _Attempt(threading.Thread):
    """One connect; `error` is what came of it, None for a connection."""

    def __init__(self, client: mqtt.Client, door: Door) -> None:
        super().__init__(name="connect", daemon=True)
        self._client, self._door = client, door
        self.error: OSError | ValueError | None = None

    def run(self) -> None:
        try:
            self._client.connect(self._door.host, self._door.port, KEEPALIVE_S)
        except (OSError, ValueError) as error:
            self.error = error


def _read_already(sock: object) -> bool:
    """Whether TLS holds bytes that it has read already: no select sees them."""
    pending = getattr(sock, "pending", None)
    return bool(pending and pending())
