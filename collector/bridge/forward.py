"""Sends what is in the spool: what is read now at once, what has waited in order beside it.

Rules of this file: everything offered is in the spool first, and is forgotten there only when the broker has
acknowledged it. After a connect:

- A short backlog (IN_ORDER readings) goes first, and what is read meanwhile behind it, for IN_ORDER_S at the most: then
  the collector sees every unit's readings in their order, and its rules judge all of them.
- A longer one drains in order while live readings overtake it. The ward sees what is so now within a second; what comes
  behind is stored with its own times, and the rules, which go forward only, count it as late.

Live readings that the broker does not take are not queued: they are in the spool and go with the backlog.
"""

from __future__ import annotations

import socket
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

from collector.bridge.broker_line import BrokerLine
from collector.bridge.pace import Pace
from collector.bridge.packs import is_measured, packed
from collector.bridge.spool import Spool
from collector.bridge.spool_file import Row
from collector.door import Door
from collector.reading import EARLIEST_MS, Reading
from collector.senml import encode_pack
from collector.topics import bridge_state_topic, readings_topic

IN_ORDER: Final = 5_000
IN_ORDER_S: Final = 5.0
LIVE_PACKS: Final = 200  # on their way at once
BACKLOG_PACKS: Final = 400
TURN: Final = 1_000  # readings of a backlog put on their way in one turn: what has just been read waits for no more


class _Pack(NamedTuple):
    """A pack on its way."""

    ids: tuple[int, ...]
    sent_s: float
    live: bool


class Forwarder:
    """`line` is the connection; `sent` counts readings that the broker acknowledged, `sent_live` those sent at once."""

    def __init__(
        self, door: Door, facility: str, bridge: str, spool: Spool, *,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.line = BrokerLine(door, facility, bridge, monotonic_s)
        self.spool, self.facility, self.bridge = spool, facility, bridge
        self.sent = self.sent_live = 0
        self._monotonic_s = monotonic_s
        self._live: deque[Row] = deque()
        self._flight: dict[int, _Pack] = {}
        self._live_packs = self._backlog = 0  # packs of live readings, readings of the backlog on their way
        self._pace = Pace()
        self._connection = 0
        self._in_order_until_s: float | None = None

    @property
    def socket(self) -> socket.socket | None:
        """The socket to wait on, if there is one."""
        return self.line.socket

    @property
    def wants_write(self) -> bool:
        """Whether something waits to be written to the socket."""
        return self.line.wants_write

    @property
    def idle(self) -> bool:
        """Whether the broker has everything."""
        return not self.spool.waiting

    @property
    def live_on_the_way(self) -> bool:
        """Whether live readings wait, or are on their way."""
        return bool(self._live or self._live_packs)

    @property
    def draining(self) -> bool:
        """Whether there is a backlog that can go out."""
        return self.line.connected and self.spool.untaken > self.spool.undated

    def offer(self, readings: Sequence[Reading]) -> None:
        """Keep readings; they go out with the next turn if they can."""
        rows = self.spool.put([reading for reading in readings if is_measured(reading)])
        if not self.line.connected or self._connection != self.line.connections or self._in_order_until_s is not None:
            return
        dated = [row for row in rows if row[1].time_ms >= EARLIEST_MS]
        self.spool.mark_taken(one for one, _ in dated)
        self._live += dated

    def turn(self) -> None:
        """Move the line along, forget what the broker has, send what may go."""
        self.line.turn()
        self._take_acknowledged()
        if not self.line.connected:
            self._give_back_live()
            return
        if self._connection != self.line.connections:
            self._connected()
        self._send_live()
        self._send_backlog()

    def tell(self, document: bytes) -> None:
        """Publish how the bridge is, retained; only while connected."""
        self.line.publish(bridge_state_topic(self.facility, self.bridge), document, retain=True)

    def close(self) -> None:
        """Say goodbye to the broker. What it has not acknowledged stays in the spool, which is the caller's."""
        self.line.close()
        self._take_acknowledged()
        self._give_back_live()

    # -- parts -----------------------------------------------------------------------------------------------------

    def _connected(self) -> None:
        self._connection = self.line.connections
        self._pace = Pace()
        short = self.spool.untaken <= IN_ORDER
        self._in_order_until_s = self._monotonic_s() + IN_ORDER_S if short else None

    def _take_acknowledged(self) -> None:
        now_s = self._monotonic_s()
        for mid in self.line.take_acked():
            if (pack := self._flight.pop(mid, None)) is None:
                continue
            self.spool.done(pack.ids)
            self.sent += len(pack.ids)
            if pack.live:
                self._live_packs -= 1
            else:
                self._backlog -= len(pack.ids)
                self._pace.acknowledged(len(pack.ids), pack.sent_s, now_s)

    def _give_back_live(self) -> None:
        if self._live:
            self.spool.give_back(one for one, _ in self._live)
            self._live.clear()

    def _send_live(self) -> None:
        if not self._live:
            return
        if self._live_packs >= LIVE_PACKS:
            self._give_back_live()
            return
        rows = list(self._live)
        self._live.clear()
        self.sent_live += len(rows)
        self._publish(rows, live=True)

    def _send_backlog(self) -> None:
        """In order, as the acknowledgements allow; what is read meanwhile may overtake it or not, see above."""
        room = int(self._pace.window) - self._backlog
        rows: Iterable[Row] = ()
        if room > 0 and len(self._flight) - self._live_packs < BACKLOG_PACKS and self.spool.untaken:
            rows = self.spool.take(min(room, TURN))
            self._publish(rows, live=False)
        until_s = self._in_order_until_s
        if until_s is not None and ((room > 0 and not rows) or self._monotonic_s() >= until_s):
            self._in_order_until_s = None

    def _publish(self, rows: Iterable[Row], *, live: bool) -> None:
        now_s = self._monotonic_s()
        for unit, pack in packed(rows):
            payload = encode_pack(self.facility, unit, [reading for _, reading in pack])
            mid = self.line.publish(readings_topic(self.facility, unit), payload)
            self._flight[mid] = _Pack(tuple(one for one, _ in pack), now_s, live)
            if live:
                self._live_packs += 1
            else:
                self._backlog += len(pack)
