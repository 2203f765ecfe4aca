"""Tells the service manager that this process turns, so that one that hangs is ended and started again.

The protocol is systemd's sd_notify: datagrams to the socket named in NOTIFY_SOCKET (man page sd_notify(3)). Without
that variable nothing is sent, so a loop calls `beat` in any case.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress


class Watchdog:
    """`ready` once the work can begin, `beat` on every turn of the loop, `stopping` at the end; none of them raises."""

    def __init__(
        self, environ: Mapping[str, str] = os.environ, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._address = environ.get("NOTIFY_SOCKET", "")
        asked_us = environ.get("WATCHDOG_USEC", "")
        ours = environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        #: A third of the time allowed: two beats may be late before the manager acts. None: nobody asked for beats.
        self.every_s = int(asked_us) / 3_000_000 if ours and asked_us.isdigit() and int(asked_us) else None
        self._monotonic_s, self._beat_s = monotonic_s, float("-inf")

    def ready(self) -> None:
        """The start-up is over."""
        self._send("READY=1")

    def beat(self) -> None:
        """The loop has come round once more; sent no more often than asked for."""
        if self.every_s is None:
            return
        now_s = self._monotonic_s()
        if now_s - self._beat_s >= self.every_s:
            self._beat_s = now_s
            self._send("WATCHDOG=1")

    def stopping(self) -> None:
        """The end was asked for and is under way."""
        self._send("STOPPING=1")

    def _send(self, said: str) -> None:
        if not self._address:
            return
        # "@" stands for the zero byte of a socket in the abstract namespace.
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
            sock.sendto(said.encode(), address)
