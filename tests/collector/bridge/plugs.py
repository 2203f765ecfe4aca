"""Pseudo-terminals as adapters that can be plugged in and pulled out, and a hand-moved tick."""

import os
import pty
import tty

from collector.bridge.bridge_file import BridgeFile
from collector.bridge.ports import Ports


class Tick:
    """Monotonic seconds that a test moves."""

    def __init__(self):
        self.s = 100.0

    def __call__(self):
        return self.s

    def advance(self, seconds):
        self.s += seconds


class Adapter:
    """A pseudo-terminal behind a path that stays the same, as under /dev/serial/by-id."""

    def __init__(self, path):
        self.path, self.master = path, -1

    def plug(self):
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(self.master, False)
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(slave))
        self._slave = slave

    def pull(self):
        os.close(self.master)
        os.close(self._slave)
        self.path.unlink()

    def says(self, data):
        os.write(self.master, data)

    def heard(self):
        try:
            return os.read(self.master, 4096)
        except BlockingIOError:
            return b""


def bridge_file(*ports, **keys):
    return BridgeFile.model_validate(
        {"facility": "lakeside", "bridge": "b1", "broker": "localhost:1883", "port": list(ports), **keys}
    )


def ports_of(tmp_path, tick, *ports, **keys):
    return Ports(bridge_file(*ports, **keys), tmp_path, tick)
