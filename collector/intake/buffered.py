"""A socket that reads and writes in large pieces, put under paho-mqtt.

Rules of this file: bytes only, nothing of MQTT. paho asks the socket for one byte, then for a length byte by byte, then
for the rest, and writes every acknowledgement by itself: four system calls a reading. Here they come from a buffer, and
acknowledgements of a batch leave together (measured: 1.2 to 1.4 times paho's own rate, PUBACKs included).
"""

from __future__ import annotations

import socket
import ssl
from typing import Any, Final

import paho.mqtt.client as mqtt

READ_BYTES: Final = 128 * 1024
#: What waits to be written is tried from this size on, and refused (paho keeps it) from ten times it.
WRITE_BYTES: Final = 64 * 1024
_NOT_NOW: Final = (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError)


class BufferedSocket:
    """What paho needs of a non-blocking socket, plain or TLS, buffered in both directions; flush() sends."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = self.raw = sock
        self._in, self._at = b"", 0
        self._out = bytearray()

    def recv(self, size: int) -> bytes:
        """Up to `size` bytes; b"" at the end of the stream; BlockingIOError when there is nothing yet."""
        at = self._at
        if at >= len(self._in):
            try:
                self._in, self._at, at = self._sock.recv(READ_BYTES), 0, 0
            except (ssl.SSLWantReadError, ssl.SSLWantWriteError) as error:
                raise BlockingIOError from error
        end = at + size
        self._at = end
        return self._in[at:end]

    def pending(self) -> int:
        """Bytes that are read already, which no select() sees."""
        held = max(len(self._in) - self._at, 0)
        return held + (self._sock.pending() if isinstance(self._sock, ssl.SSLSocket) else 0)

    def send(self, data: bytes | bytearray) -> int:
        """Take all of `data` to be sent; BlockingIOError when too much waits already."""
        if len(self._out) >= WRITE_BYTES:
            self.flush()
            if len(self._out) >= 10 * WRITE_BYTES:
                raise BlockingIOError
        self._out += data
        return len(data)

    def flush(self) -> bool:
        """Send what waits; True when nothing waits any more. OSError when the connection is gone."""
        while self._out:
            try:
                del self._out[: self._sock.send(self._out)]
            except _NOT_NOW:
                return False
        return True

    @property
    def wants_write(self) -> bool:
        """Whether something waits to be sent."""
        return bool(self._out)

    def close(self) -> None:
        """Send what still can be sent, and close."""
        try:
            self.flush()
        except OSError:  # whoever closes because the connection broke cannot say goodbye
            self._out.clear()
        finally:
            self._sock.close()

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401 - fileno, setblocking and what else a socket has
        return getattr(self._sock, name)


class BufferedClient(mqtt.Client):
    """paho's client over a BufferedSocket. `_create_socket` is paho's own; a test holds that it is still called."""

    def _create_socket(self) -> Any:  # noqa: ANN401 - paho's SocketLike
        return BufferedSocket(super()._create_socket())  # type: ignore[arg-type]

    def flush(self) -> None:
        """Write what is queued and what waits in the socket; OSError when the connection is gone."""
        if self._out_packet:
            self.loop_write()
        sock = self.socket()
        if sock is not None:
            sock.flush()  # type: ignore[attr-defined]

    def want_write(self) -> bool:
        """Whether something waits to be written, here or in the socket."""
        sock: Any = self.socket()
        return super().want_write() or (sock is not None and sock.wants_write)
