"""Waiting for what other processes do, with a deadline and never for a fixed time."""

import threading
import time

from collector.broker import free_port

__all__ = ["free_port", "wait_for"]

POLL_S = 0.01


def wait_for(predicate, timeout_s, what):
    """Call `predicate` until what it returns is true, and return that; fail after `timeout_s`, naming `what`."""
    deadline_s = time.monotonic() + timeout_s
    pause = threading.Event()
    while not (found := predicate()):
        if time.monotonic() > deadline_s:
            raise AssertionError(f"waited {timeout_s} s in vain for {what}")
        pause.wait(POLL_S)
    return found
