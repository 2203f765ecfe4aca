"""An ear at the broker: hears what wards' screens hear, in a session of its own that leaves nothing behind."""

from __future__ import annotations

import queue
import threading
from types import TracebackType
from typing import Final, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from collector.door import Door, DoorError, tls_context

CONNECT_S: Final = 8.0


class Ear:
    """Listens to some topics; `said` is "" once the broker has confirmed them, else why not."""

    def __init__(self, door: Door, topics: list[str]) -> None:
        self._door, self._topics = door, topics
        self.said = f"{door.where} does not answer"
        self._heard: queue.Queue[tuple[str, bytes]] = queue.Queue()
        self._settled = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, door.client_id, clean_session=True,
                                   protocol=mqtt.MQTTv311, reconnect_on_failure=False)  # fmt: skip
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = lambda _client, _data, message: self._heard.put(
            (message.topic, bytes(message.payload))
        )

    def __enter__(self) -> Self:
        """Connect and subscribe; a broker that refuses is no exception: `said` tells."""
        client, door = self._client, self._door
        try:
            if door.username:
                client.username_pw_set(door.username, door.password)
            if (context := tls_context(door)) is not None:
                client.tls_set_context(context)
            client.connect_timeout = CONNECT_S
            client.connect(door.host, door.port)
        except (OSError, ValueError, DoorError) as error:
            self.said = f"{door.where}: {error}"
            return self
        client.loop_start()
        self._settled.wait(CONNECT_S)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def take(self, timeout_s: float) -> list[tuple[str, bytes]]:
        """What was heard since the last call; waits up to timeout_s for something."""
        found = []
        try:
            found.append(self._heard.get(timeout=timeout_s))
            while True:
                found.append(self._heard.get_nowait())
        except queue.Empty:
            return found

    def _on_connect(
        self, client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _more: object
    ) -> None:
        if reason.is_failure:
            self.said = f"{self._door.where} refuses: {reason}"
            self._settled.set()
            return
        self.said = f"{self._door.where} does not confirm the subscription"
        client.subscribe([(topic, 1) for topic in self._topics])

    def _on_subscribe(
        self, _client: object, _data: object, _mid: int, reasons: list[ReasonCode], _more: object
    ) -> None:
        refused = [str(reason) for reason in reasons if reason.is_failure]
        self.said = f"{self._door.where} refuses the subscription: {refused[0]}" if refused else ""
        self._settled.set()
