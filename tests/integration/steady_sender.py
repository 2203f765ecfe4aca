"""Sends readings to a broker that may die at any moment: what it has not acknowledged is sent again, oldest first."""

from __future__ import annotations

import socket
import struct
import threading
from collections import deque
from collections.abc import Callable

from collector.reading import Reading
from tests.bench.feeder import connect, publish_packet
from tests.waiting import wait_for

WINDOW = 500  # packets on their way without an acknowledgement
RETRY_S = 0.1


class SteadySender:
    """`make(step)` gives the readings of a step and `wait_s(step)` how long it is until then; `sent` is all of it."""

    def __init__(
        self, host: str, port: int, facility: str, make: Callable[[int], list[Reading]], wait_s: Callable[[int], float]
    ) -> None:
        self.sent: list[Reading] = []
        self.acked = self.connections = 0
        self.stop = threading.Event()
        self.failed: BaseException | None = None
        self._where, self._facility, self._make, self._wait_s = (host, port), facility, make, wait_s
        self._unacked: deque[tuple[int, bytes]] = deque()
        self._sock: socket.socket | None = None
        self._rest = b""
        self._pause = threading.Event()
        self._thread = threading.Thread(target=self._guarded)
        self._thread.start()

    def finish(self, timeout_s: float = 60.0) -> None:
        """Send no more, and return when everything is acknowledged."""
        self.stop.set()
        self._thread.join(timeout_s)
        if self.failed is not None:
            raise self.failed
        wait_for(lambda: not self._unacked, 1.0, "every PUBACK")

    def _guarded(self) -> None:
        try:
            self._run()
        except BaseException as fault:
            self.failed = fault
        finally:
            self._lost()

    def _run(self) -> None:
        step = 0
        while not self.stop.is_set() or self._unacked:
            if not self.stop.is_set() and self._wait_s(step) <= 0 and len(self._unacked) < WINDOW:
                self._send_step(step)
                step += 1
            self._hear(0.005)

    def _send_step(self, step: int) -> None:
        packets = []
        for reading in self._make(step):
            mid = len(self.sent) % 60_000 + 1
            self.sent.append(reading)
            packet = publish_packet(self._facility, reading, mid)
            self._unacked.append((mid, packet))
            packets.append(packet)
        self._write(b"".join(packets))

    def _write(self, data: bytes) -> None:
        try:
            if self._sock is not None:
                self._sock.settimeout(5)
                self._sock.sendall(data)
        except OSError:
            self._lost()

    def _lost(self) -> None:
        if self._sock is not None:
            self._sock.close()
        self._sock, self._rest = None, b""

    def _connect(self) -> None:
        try:
            self._sock = connect(*self._where, f"steady-{self._facility}")
        except OSError:
            self._pause.wait(RETRY_S)
            return
        self.connections += 1
        self._write(b"".join(packet for _, packet in self._unacked))

    def _hear(self, timeout_s: float) -> None:
        if self._sock is None:
            self._connect()
            return
        self._sock.settimeout(timeout_s)
        try:
            data = self._sock.recv(65_536)
        except TimeoutError:
            return
        except OSError:
            data = b""
        if not data:
            self._lost()
            return
        self._take_acks(self._rest + data)

    def _take_acks(self, data: bytes) -> None:
        whole = len(data) // 4 * 4
        self._rest = data[whole:]
        for place in range(0, whole, 4):
            (mid,) = struct.unpack_from(">H", data, place + 2)
            if data[place] != 0x40 or not self._unacked or self._unacked[0][0] != mid:
                raise AssertionError(f"no PUBACK in order: {data[place : place + 4]!r}")
            self._unacked.popleft()
            self.acked += 1
