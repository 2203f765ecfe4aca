"""The service manager hears that a process turns: a real datagram socket in its place."""

import os
import socket

import pytest

from collector.watchdog import Watchdog


class Seconds:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def manager(tmp_path):
    """A socket such as the manager's."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "notify"))
        sock.setblocking(False)
        yield sock


def heard(sock: socket.socket) -> list[str]:
    found = []
    while True:
        try:
            found.append(sock.recv(200).decode())
        except BlockingIOError:
            return found


def test_it_beats_a_third_of_the_time_allowed(manager) -> None:
    clock = Seconds()
    dog = Watchdog({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "30000000"}, clock)
    dog.ready()
    for _ in range(40):
        dog.beat()
        clock.now_s += 0.5
    dog.stopping()
    assert heard(manager) == ["READY=1", "WATCHDOG=1", "WATCHDOG=1", "STOPPING=1"]


def test_an_abstract_socket_is_reached() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(f"\0sieveward-test-{os.getpid()}")
        sock.setblocking(False)
        Watchdog({"NOTIFY_SOCKET": f"@sieveward-test-{os.getpid()}"}).ready()
        assert heard(sock) == ["READY=1"]


@pytest.mark.parametrize(
    "environ",
    [
        {},
        {"WATCHDOG_USEC": "30000000"},
        {"NOTIFY_SOCKET": "/nowhere/at-all", "WATCHDOG_USEC": "30000000"},
        {"NOTIFY_SOCKET": "/nowhere/at-all", "WATCHDOG_USEC": "never"},
    ],
)
def test_without_a_manager_nothing_happens(environ) -> None:
    dog = Watchdog(environ)
    dog.ready()
    dog.beat()
    dog.stopping()


def test_beats_meant_for_another_process_are_not_ours(manager) -> None:
    dog = Watchdog({"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "3000000", "WATCHDOG_PID": "1"})
    dog.beat()
    assert heard(manager) == []
