"""A broker as a child process: started, watched until it answers, stopped, killed, started again.

It ends with the process that started it, even when that one is killed, and a Ctrl-C in the terminal does not
reach it: the starter decides. Its folder is in use as long as it lives, whoever its starter is.
"""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Self

from collector.broker.errors import BrokerError, PortTaken
from collector.broker.ports import answers_mqtt, is_free, reachable

if TYPE_CHECKING:
    from collections.abc import Sequence

START_S = 60.0  # a large store takes a while to be read on a small computer; a broker that dies is seen at once
STOP_S = 10.0
POLL_S = 0.02
TAIL_LINES = 8
TAIL_BYTES = 4000
TETHER = Path(__file__).with_name("tether.py")
IN_USE = "in-use"

# Linux tells a child of the death of the *thread* that started it, so one thread that lives as long as this
# process starts every broker.
_starter = ThreadPoolExecutor(max_workers=1, thread_name_prefix="broker-starter")


class Broker:
    """A running broker that listens for MQTT on `host`:`port`; as a context manager it is stopped at the end.

    `name` is the program with its version, `log_path` the file with what it says.
    """

    def __init__(
        self, name: str, command: Sequence[str], folder: Path, host: str, port: int, *, tls: bool = False
    ) -> None:
        self.name = name
        self.host = reachable(host)
        self.port = port
        self.log_path = folder / "broker.log"
        self._command = list(command)
        self._folder = folder
        self._listens_on, self._tls = host, tls
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and return when it answers; BrokerError with its last words when it does not."""
        if self.running:
            return
        if not is_free(self._listens_on, self.port):
            raise PortTaken(
                f"port {self.port} of {self._listens_on} is taken by another program: "
                "stop that one, or give the broker another port"
            )
        with (self._folder / IN_USE).open("ab") as in_use, self.log_path.open("ab") as log:
            self._take_folder(in_use)
            said_before = log.tell()
            self._process = _starter.submit(self._spawn, in_use, log).result()
        self._wait_until_it_answers(self._process, said_before)

    @property
    def pid(self) -> int:
        """The process id, also of one that has ended."""
        return self._started().pid

    @property
    def running(self) -> bool:
        """Whether the process lives."""
        return self._process is not None and self._process.poll() is None

    def reload(self) -> None:
        """Have it read its configuration, accounts and certificate again, without breaking what need not break."""
        self._started().send_signal(signal.SIGHUP)

    def stop(self) -> None:
        """End it and let it write what it holds; killed after `STOP_S` seconds. Nothing happens if it has ended."""
        process = self._started()
        process.terminate()
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self.kill()

    def kill(self) -> None:
        """End it at once, as a crash would (kill -9)."""
        process = self._started()
        process.kill()
        process.wait()

    def restart(self) -> None:
        """Start it again on the same port and the same store, stopping it first if it runs."""
        self.stop()
        self.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _started(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            raise BrokerError(f"{self.name} was not started")
        return self._process

    def _take_folder(self, in_use: BinaryIO) -> None:
        """Lock the folder; the broker inherits the lock and holds it as long as it lives.

        One whose starter was killed may need a moment to end.
        """
        deadline_s = time.monotonic() + STOP_S
        while True:
            try:
                fcntl.flock(in_use, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                if time.monotonic() > deadline_s:
                    raise BrokerError(
                        f"another broker is at work in {self._folder}: stop it, or give another data folder"
                    ) from None
                time.sleep(POLL_S)

    def _spawn(self, in_use: BinaryIO, log: BinaryIO) -> subprocess.Popen[bytes]:
        tether = [sys.executable, "-I", "-S", str(TETHER), str(os.getpid())]
        return subprocess.Popen(
            [*tether, *self._command],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            pass_fds=[in_use.fileno()],
            start_new_session=True,
        )

    def _wait_until_it_answers(self, process: subprocess.Popen[bytes], said_before: int) -> None:
        deadline_s = time.monotonic() + START_S
        while not answers_mqtt(self.host, self.port, tls=self._tls):
            try:
                status = process.wait(POLL_S)
            except subprocess.TimeoutExpired:
                if time.monotonic() < deadline_s:
                    continue
                self.kill()
                raise BrokerError(self._failed(f"did not answer in {START_S:.0f} s", said_before)) from None
            fault = BrokerError(self._failed(f"ended at the start (exit status {status})", said_before))
            raise PortTaken(str(fault)) if "address already in use" in str(fault).casefold() else fault

    def _failed(self, how: str, said_before: int) -> str:
        with self.log_path.open("rb") as log:
            size = log.seek(0, os.SEEK_END)
            log.seek(max(min(said_before, size), size - TAIL_BYTES))
            words = log.read().decode(errors="replace").splitlines()[-TAIL_LINES:]
        said = "\n".join(f"  {line}" for line in words) or "  (nothing)"
        return f"{self.name} {how}. It said (in {self.log_path}):\n{said}"
