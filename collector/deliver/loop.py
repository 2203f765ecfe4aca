"""The loop of `sieveward deliver`: carriers take what is stored outwards, each in a thread of its own.

Rules of this file: a carrier that hangs or fails holds up no other, and never the collector, which is another process.
What a carrier cannot do now it does later: an error is shown in the status document `deliver` and in the log, and the
carrier is turned again after a pause. A carrier keeps nothing that the store does not hold, so the process may be
killed at any moment; its threads are daemons, so that one that hangs does not keep the process from ending.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any, Final, Protocol

from collector import log
from collector.store import StoreError

STATUS_S: Final = 5.0  # of wall time between writings of the status document
TURN_S: Final = 0.5  # between two turns of a carrier
RETRY_S: Final = 5.0  # before a carrier that failed is turned again
STUCK_S: Final = 300.0  # a turn that takes longer is no work but a fault: the watchdog is then no longer fed
IDLE_S: Final = 60.0  # with `once`: how long nothing may become less before it is given up

STATUS: Final = "deliver"


class Carrier(Protocol):
    """Something that is carried outwards: messages, or readings into another database.

    `turn` does one bounded piece of work and keeps its own time-outs. `state` says how it stands, may be asked from
    another thread at any time and has the key `waiting`: how much there is left to carry.
    """

    def turn(self) -> None: ...

    def state(self) -> dict[str, Any]: ...


class _Turned:
    """One carrier and how its turns go."""

    def __init__(self, name: str, carrier: Carrier, monotonic_s: Callable[[], float]) -> None:
        self.name, self.carrier, self._monotonic_s = name, carrier, monotonic_s
        self.said = ""  # what went wrong in the last turn
        self._began_s: float | None = None

    def turn(self) -> bool:
        """One turn; False when it failed."""
        self._began_s = self._monotonic_s()
        try:
            self.carrier.turn()
        except Exception as error:  # whatever it is, it must not end the other carriers
            self._note(error)
            return False
        finally:
            self._began_s = None
        if self.said:
            log.say("carrier-good", carrier=self.name)
        self.said = ""
        return True

    def _note(self, error: Exception) -> None:
        said = str(error) if isinstance(error, StoreError) else f"{type(error).__name__}: {error}"
        if said != self.said:
            log.say("carrier-failed", level=logging.ERROR, carrier=self.name, said=said)
        self.said = said

    def turning_s(self) -> float:
        """How long the turn that runs now has taken; 0 when none runs."""
        began_s = self._began_s
        return 0.0 if began_s is None else self._monotonic_s() - began_s

    def state(self) -> dict[str, Any]:
        """The carrier's own state, and how its turns go."""
        return {**self.carrier.state(), "turning_s": round(self.turning_s(), 1), "said": self.said}


class Loop:
    """Turns carriers; `tell` takes the document that says how each stands, `alive` is called while none is stuck."""

    def __init__(
        self, carriers: Mapping[str, Carrier], tell: Callable[[dict[str, Any]], None], *,
        alive: Callable[[], None] = lambda: None, monotonic_s: Callable[[], float] = time.monotonic,
        wall_s: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        self._turned = [_Turned(name, carrier, monotonic_s) for name, carrier in carriers.items()]
        self._tell, self._alive, self._wall_s, self._monotonic_s = tell, alive, wall_s, monotonic_s

    def run(self, stop: threading.Event) -> None:
        """Turn every carrier until `stop` is set; a turn that runs then is given a moment to end."""
        threads = [threading.Thread(target=_keep_turning, args=(each, stop), name=each.name, daemon=True)
                   for each in self._turned]  # fmt: skip
        for thread in threads:
            thread.start()
        self.report()
        while not stop.wait(STATUS_S):
            self.report()
        for thread in threads:
            thread.join(RETRY_S)
        self.report()

    def once(self, stop: threading.Event, shown: Callable[[int], None] = lambda left: None) -> dict[str, str]:
        """Turn until nothing waits; returns what each carrier that did not get there says, by its name."""
        left = {}
        for each in self._turned:
            said = self._empty(each, stop, shown)
            if said:
                left[each.name] = said
        self.report()
        return left

    def _empty(self, each: _Turned, stop: threading.Event, shown: Callable[[int], None]) -> str:
        """Turn one carrier until nothing waits; why it was given up, else ""."""
        least, since_s = None, self._monotonic_s()
        while not stop.is_set():
            good = each.turn()
            waiting = int(each.carrier.state().get("waiting", 0))
            shown(waiting)
            if good and waiting == 0:
                return ""
            less = least is None or waiting < least
            if less:
                least, since_s = waiting, self._monotonic_s()
            elif self._monotonic_s() - since_s > IDLE_S:
                return each.said or f"{waiting} wait and do not become less"
            stop.wait(0 if good and less else TURN_S)
        return ""

    def report(self) -> None:
        """Write the status document and feed the watchdog; the first sign of a stuck carrier is in both."""
        states = {each.name: each.state() for each in self._turned}
        try:
            self._tell({"wall_ms": int(self._wall_s() * 1000), "pid": os.getpid(), "carriers": states})
        except StoreError as error:
            log.say("store-failed", level=logging.ERROR, kind=error.kind, said=str(error))
        if all(each.turning_s() < STUCK_S for each in self._turned):
            self._alive()


def _keep_turning(each: _Turned, stop: threading.Event) -> None:
    while not stop.is_set():
        stop.wait(TURN_S if each.turn() else RETRY_S)
