"""A line between a browser and a server: bytes counted, and as slow as it is told to be, for every connection together.

A browser's own emulation leaves web sockets out; this does not.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from collector.broker import free_port

CHUNK = 2048
#: So much may wait on the line before a sender is held back, as in a modem's buffer.
WAITING_S = 0.5


class Way:
    """One direction of the line: all connections share its rate."""

    def __init__(self) -> None:
        self.kbit_s, self.delay_s, self.sent = 0.0, 0.0, 0
        self._free_s = 0.0

    async def pump(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Carry one connection's bytes this way until it ends."""
        waiting: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()
        carrier = asyncio.create_task(_deliver(waiting, writer))
        with suppress(OSError):
            while data := await reader.read(CHUNK):
                self.sent += len(data)
                await waiting.put((await self._through(len(data)), data))
        await waiting.put((0.0, b""))
        await carrier

    async def _through(self, size: int) -> float:
        """When so many bytes arrive; waits while too much is on the line."""
        now_s = asyncio.get_running_loop().time()
        took_s = size * 8 / (self.kbit_s * 1000) if self.kbit_s else 0.0
        self._free_s = max(self._free_s, now_s) + took_s
        if (over_s := self._free_s - now_s - WAITING_S) > 0:
            await asyncio.sleep(over_s)
        return self._free_s + self.delay_s


async def _deliver(waiting: asyncio.Queue[tuple[float, bytes]], writer: asyncio.StreamWriter) -> None:
    with suppress(OSError):
        while True:
            due_s, data = await waiting.get()
            if not data:
                break
            if (left_s := due_s - asyncio.get_running_loop().time()) > 0:
                await asyncio.sleep(left_s)
            writer.write(data)
            await writer.drain()
    with suppress(OSError):
        writer.close()


class Line:
    """Both ways between a port of this machine and a server's port."""

    def __init__(self, port: int) -> None:
        self.server_port, self.port = port, free_port()
        self.down, self.up = Way(), Way()

    def slow(self, kbit_s: float, round_trip_s: float) -> None:
        """From now on no more than so many kbit/s each way, and so long there and back; 0, 0 for as fast as it goes."""
        for way in (self.down, self.up):
            way.kbit_s, way.delay_s = kbit_s, round_trip_s / 2

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection."""
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.server_port)
        with suppress(asyncio.CancelledError):  # at the end of the line whoever still holds on is let go
            await asyncio.gather(self.up.pump(reader, far_writer), self.down.pump(far_reader, writer))


@contextmanager
def line_to(url: str) -> Iterator[tuple[Line, str]]:
    """A line to the server at an address of this machine, and the address of its near end."""
    line, ready, stop = Line(int(url.rsplit(":", 1)[1])), threading.Event(), asyncio.Event()
    loops: list[asyncio.AbstractEventLoop] = []

    async def go() -> None:
        loops.append(asyncio.get_running_loop())
        async with await asyncio.start_server(line.serve, "127.0.0.1", line.port):
            ready.set()
            await stop.wait()

    # In a thread of its own, since Playwright's loop runs in this one; what is left is cancelled there.
    thread = threading.Thread(target=lambda: asyncio.run(go()))
    thread.start()
    ready.wait(10)
    try:
        yield line, f"http://127.0.0.1:{line.port}"
    finally:
        loops[0].call_soon_threadsafe(stop.set)
        thread.join(10)
