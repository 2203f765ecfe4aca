"""One simulated bridge's line to the broker: a real paho client with a will, and a bounded store of what waits.

Rules of this file: nothing blocks but the connect itself; a broker that is away is a state, not an exception. MQTT
3.1.1, QoS 1, persistent session. While there is no line readings wait, the newest WAITING_MAX of them, and go later as
packs of many moments with the times at which they were taken.
"""

from __future__ import annotations

import logging
import select
import socket
import time
from collections import deque
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.door import Door, tls_context
from collector.log import say
from collector.reading import Reading
from collector.senml import encode_pack
from collector.topics import link_topic, readings_topic

KEEPALIVE_S: Final = 20
CONNECT_TIMEOUT_S: Final = 2.0
BACKOFF_S: Final = (0.2, 10.0)
WAITING_MAX: Final = 50_000  # readings: a few MB, and some hours of a bridge's units
WINDOW: Final = 200  # packs on their way without an acknowledgement
MOMENTS_MAX: Final = 200  # moments in a pack: some 60 kB, well under what a collector takes
GOODBYE_S: Final = 2.0


class BridgeLine:
    """A bridge and its connection; turn() moves it along, offer() gives it a reading to send."""

    def __init__(self, door: Door, facility: str, bridge: str) -> None:
        self.bridge, self.facility = bridge, facility
        self.connected, self.silent = False, False
        self.sent = self.packs = self.dropped = 0
        self._door = door
        self._waiting: deque[Reading] = deque()
        self._unacknowledged: set[int] = set()
        self._retry_s, self._backoff_s, self._misc_s = 0.0, BACKOFF_S[0], 0.0
        self._up, self._told = False, ""
        self._client = self._make()

    def _make(self) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, f"{self.facility}-{self.bridge}", clean_session=False,
            protocol=mqtt.MQTTv311, reconnect_on_failure=False,
        )  # fmt: skip
        if self._door.username:
            client.username_pw_set(self._door.username, self._door.password)
        if (context := tls_context(self._door)) is not None:
            client.tls_set_context(context)
        client.will_set(link_topic(self.facility, self.bridge), b"offline", qos=1, retain=True)
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.max_inflight_messages_set(WINDOW)
        client.on_connect, client.on_disconnect, client.on_publish = self._on_connect, self._on_disconnect, self._acked
        return client

    # -- paho's callbacks ------------------------------------------------------------------------------------------

    def _on_connect(
        self, client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        if reason.is_failure:
            self._tell("bridge-refused", logging.WARNING, said=str(reason))
            return
        self.connected, self._backoff_s = True, BACKOFF_S[0]
        client.publish(link_topic(self.facility, self.bridge), b"online", qos=1, retain=True)
        self._tell("bridge-online", logging.INFO)

    def _on_disconnect(
        self, _client: object, _data: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        self._lost("bridge-lost", str(reason))

    def _acked(self, _client: object, _data: object, mid: int, *_: object) -> None:
        self._unacknowledged.discard(mid)

    # -- what the publisher calls ----------------------------------------------------------------------------------

    @property
    def socket(self) -> socket.socket | None:
        """The socket to wait on, if there is one."""
        sock = self._client.socket()
        return sock if isinstance(sock, socket.socket) else None

    @property
    def wants_write(self) -> bool:
        """Whether something waits to be written to the socket."""
        return self._client.want_write()

    @property
    def idle(self) -> bool:
        """Whether everything offered has reached the broker."""
        return not self._waiting and not self._unacknowledged

    def offer(self, reading: Reading) -> None:
        """Take a reading to send; the oldest one that waits is dropped, and counted, when there is no room."""
        if len(self._waiting) >= WAITING_MAX:
            self._waiting.popleft()
            self.dropped += 1
        self._waiting.append(reading)

    def turn(self) -> None:
        """Connect when it is time to, read and write what the socket has and takes, send what waits."""
        if self.silent:
            return
        if not self._up and not self._connect():
            return
        self._client.loop_read()
        if self._client.want_write():
            self._client.loop_write()
        now_s = time.monotonic()
        if now_s - self._misc_s >= 1.0:
            self._misc_s = now_s
            self._client.loop_misc()
        if self._client.socket() is None:
            self._lost("bridge-lost", "the connection is gone")
        if self.connected:
            self._send()

    def fall_silent(self, silent: bool) -> None:
        """Break the connection without a goodbye, so that the broker publishes the will; or allow it again."""
        if silent == self.silent:
            return
        self.silent, self._retry_s = silent, 0.0
        if silent and (sock := self.socket) is not None:
            self._tell("bridge-silent", logging.INFO, said="as the scenario has it")
            sock.shutdown(socket.SHUT_RDWR)
            self._client.loop_read()  # paho sees the end of the stream and closes its side

    def close(self) -> None:
        """Say that the bridge goes offline, wait a little for the broker's word, and say goodbye."""
        self.silent = False
        if self.connected:
            self._unacknowledged.add(
                self._client.publish(link_topic(self.facility, self.bridge), b"offline", 1, True).mid
            )
        deadline_s = time.monotonic() + GOODBYE_S
        while self.connected and not self.idle and time.monotonic() < deadline_s:
            if (sock := self.socket) is not None:
                select.select([sock], [], [], 0.05)
            self.turn()
        self._told = "bridge-offline"
        self._client.disconnect()
        if (sock := self.socket) is not None:
            sock.close()

    # -- parts -----------------------------------------------------------------------------------------------------

    def _connect(self) -> bool:
        if time.monotonic() < self._retry_s:
            return False
        try:
            self._client.connect(self._door.host, self._door.port, KEEPALIVE_S)
        except OSError as error:
            self._lost("bridge-unreachable", str(error))
            return False
        self._up = True
        return True

    def _lost(self, name: str, said: str) -> None:
        if self._up or name == "bridge-unreachable":
            self._tell(name, logging.WARNING, said=said)
            self._retry_s = time.monotonic() + self._backoff_s
            self._backoff_s = min(self._backoff_s * 2, BACKOFF_S[1])
        self.connected = self._up = False

    def _tell(self, name: str, level: int, **fields: object) -> None:
        """Log what is new, not each further try that ends alike."""
        if name == "bridge-lost" and self._told in ("bridge-refused", "bridge-silent", "bridge-offline"):
            return  # that much is said already
        if name != self._told:
            say(name, level=level, bridge=self.bridge, broker=self._door.where, **fields)
        self._told = name

    def _send(self) -> None:
        """Publish what waits, one pack a unit, as long as the broker keeps up."""
        while self._waiting and len(self._unacknowledged) < WINDOW:
            packs: dict[str, list[Reading]] = {}
            while self._waiting and len(packs) <= WINDOW:
                reading = self._waiting[0]
                pack = packs.setdefault(reading.unit, [])
                if len(pack) >= MOMENTS_MAX:
                    break
                pack.append(self._waiting.popleft())
            for unit, readings in packs.items():
                self._publish(unit, [reading for reading in readings if _measured(reading)])

    def _publish(self, unit: str, readings: list[Reading]) -> None:
        if not readings:
            return
        payload = encode_pack(self.facility, unit, readings)
        self._unacknowledged.add(self._client.publish(readings_topic(self.facility, unit), payload, qos=1).mid)
        self.sent += len(readings)
        self.packs += 1


def _measured(reading: Reading) -> bool:
    return any(getattr(reading, name) is not None for name in reading.__struct_fields__[2:])
