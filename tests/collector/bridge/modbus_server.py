"""A real Modbus server from pymodbus on one end of a pair of pseudo-terminals; the other end is for a bridge."""

import asyncio
import logging
import os
import pty
import select
import threading
import tty
from contextlib import contextmanager

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer

from tests.waiting import wait_for

logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)


class Pair:
    """Two pseudo-terminals joined by a thread, as two serial ports by a cable; `noise` goes before each answer."""

    def __init__(self):
        self._ends = [pty.openpty() for _ in range(2)]
        for _, slave in self._ends:
            tty.setraw(slave)
        self.near, self.far = (os.ttyname(slave) for _, slave in self._ends)
        self.noise = b""
        self._stop_read, self._stop_write = os.pipe()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def _carry(self):
        near, far = (master for master, _ in self._ends)
        while True:
            ready, _, _ = select.select([near, far, self._stop_read], [], [])
            if self._stop_read in ready:
                return
            for source, target in ((near, far), (far, near)):
                if source in ready:
                    os.write(target, (self.noise if source == far else b"") + os.read(source, 4096))

    def close(self):
        os.write(self._stop_write, b"x")
        self._thread.join()
        for number in [number for end in self._ends for number in end] + [self._stop_read, self._stop_write]:
            os.close(number)


@contextmanager
def modbus_server(devices):
    """Serve devices (pymodbus's SimDevice); yields the pair whose near end a bridge opens."""
    pair, loop = Pair(), asyncio.new_event_loop()
    server = []

    async def start():
        server.append(ModbusSerialServer(devices, framer=FramerType.RTU, port=pair.far, baudrate=19200, parity="N"))
        await server[0].serve_forever(background=True)

    async def stop():
        await server[0].shutdown()

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    asyncio.run_coroutine_threadsafe(start(), loop).result(10)
    try:
        yield pair
    finally:
        asyncio.run_coroutine_threadsafe(stop(), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        wait_for(lambda: not loop.is_running(), 5, "the server's loop to end")
        loop.close()
        pair.close()
