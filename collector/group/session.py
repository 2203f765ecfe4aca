"""Takes a facility's MQTT session from whoever has it, before it is subscribed to anew.

A collector that hangs keeps its connection, and the broker goes on sending to it. Were the next one to connect right
then, newer messages would overtake what the hung one never acknowledged, and the rules would not see them in order. So
the session is first taken over and left again: a broker ends the earlier connection of a client id (MQTT 3.1.1, section
3.1.4). By the time the collector connects (intake/subscriber.py, PAUSE_S) what was sent in vain comes first, in order.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.door import Door, tls_context

ANSWER_S: Final = 3.0  # for each door
STEP_S: Final = 0.05


def take_session(doors: Sequence[Door], client_id: str) -> bool:
    """Take the session at the first door that answers and leave it; False when none does."""
    return any(_take(door, client_id) for door in doors)


def _take(door: Door, client_id: str) -> bool:
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, door.client_id or client_id, clean_session=False, protocol=mqtt.MQTTv311,
        manual_ack=True, reconnect_on_failure=False,
    )  # fmt: skip
    if door.username:
        client.username_pw_set(door.username, door.password)
    if (context := tls_context(door)) is not None:
        client.tls_set_context(context)
    client.connect_timeout = ANSWER_S
    try:
        client.connect(door.host, door.port)
    except (OSError, ValueError):
        return False
    end_s = time.monotonic() + ANSWER_S
    while not client.is_connected() and time.monotonic() < end_s:
        if client.loop(STEP_S) != mqtt.MQTT_ERR_SUCCESS:
            return False
    taken = client.is_connected()
    client.disconnect()
    return taken
