"""One sender gone mad must not harm the others: its topic is noticed by count, its readings thinned by measured time.

Rules of this file: what the broker or a bridge kept while nobody listened is no flood, however fast it comes, and none
of it may be lost. So the rate of a topic only says which topic to look at; what is then left out is decided by when it
was measured. A backlog has its readings seconds apart and passes whole. A unit that tells a thousand moments of one
second keeps PER_SECOND of them. What is left out is acknowledged, counted and written down, once a flood.
Not covered: a unit that also makes up moments that lie seconds apart. It looks like a backlog, and costs what one does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any, Final

from collector.intake.admit import Admission, Admitted
from collector.intake.bounds import Bounds
from collector.intake.flooded import Report
from collector.intake.subscriber import Message
from collector.reading import Reading
from collector.rules.entries import JournalEntry

WINDOW_S: Final = 10.0  # of wall time: how often counts are looked at and forgotten
SOON: Final = 1_000  # messages after which they are looked at in any case, so that a flood has no ten seconds' start
#: Messages of one topic in a window that make it suspect: ten times what a unit with a reading a second sends.
SUSPECT: Final = 100
PER_SECOND: Final = 10  # readings kept of one second of a suspect unit's measured time
SECONDS_KNOWN: Final = 256  # measured seconds remembered of each suspect unit: a backlog beside the present needs two

_topic = itemgetter(0)


class Suspect:
    """A topic that sends very much; `seconds` holds how many readings were kept of each measured second lately."""

    __slots__ = ("held", "kind", "name", "seconds", "told_s")

    def __init__(self, kind: str, name: str) -> None:
        self.kind, self.name = kind, name
        self.seconds: dict[int, int] = {}
        self.held: tuple[bytes, int] | None = None  # the newest message of a topic of which only the newest counts
        self.told_s = float("-inf")

    def keeps(self, time_ms: int) -> bool:
        """Whether a reading of this moment is one of the first of its second."""
        seconds, second = self.seconds, time_ms // 1000
        n = seconds.get(second, 0)
        if n >= PER_SECOND:
            return False
        seconds[second] = n + 1
        if len(seconds) > SECONDS_KNOWN:
            del seconds[next(iter(seconds))]
        return True


class Flood:
    """Admits batches. `suspects` by topic; `report` tells what was left out and of whom."""

    def __init__(self, admission: Admission, speed: float, monotonic_s: Callable[[], float]) -> None:
        self._admission, self._monotonic_s = admission, monotonic_s
        self._limit = SUSPECT * max(speed, 1.0)
        self._counts: Counter[str] = Counter()
        self._since_look, self._window_s, self._connection = 0, monotonic_s(), 0
        self.suspects: dict[str, Suspect] = {}
        self.report = Report()
        self.bounds = Bounds(monotonic_s)

    def follow(self, admission: Admission) -> None:
        """Go on with other units and cylinders; what is known of floods stays."""
        self._admission = admission

    def admit(self, batch: Sequence[Message], received_ms: int) -> Admitted:
        """Read a batch; call it with an empty one too, since what was held back becomes due."""
        out, admit, suspects = Admitted(), self._admission.admit, self.suspects
        if batch:
            self._look(batch)
        if suspects:
            self._release(received_ms, out)
        for topic, payload, _mid, _connection in batch:
            if suspects and topic in suspects:
                self._thin(topic, payload, received_ms, out)
            else:
                admit(topic, payload, received_ms, out)
        if out.quarantined:
            self.bounds.bound(out)
        return out

    def notes(self, now_ms: int) -> list[JournalEntry]:
        """What is to be written down of floods that began or ended."""
        return self.report.notes(self._monotonic_s(), now_ms)

    # -- who is suspect --------------------------------------------------------------------------------------------

    def _look(self, batch: Sequence[Message]) -> None:
        """Count known topics only, so that strangers cannot fill the memory."""
        if batch[-1][3] != self._connection:  # what was not stored comes again: nothing may be known of it here
            self._connection = batch[-1][3]
            for suspect in self.suspects.values():
                suspect.seconds.clear()
        self._counts.update(filter(self._admission.knows, map(_topic, batch)))
        self._since_look += len(batch)
        now_s = self._monotonic_s()
        over = now_s - self._window_s >= WINDOW_S
        if not over and self._since_look < SOON:
            return
        self._since_look = 0
        for topic, n in self._counts.items():
            if n > self._limit and topic not in self.suspects:
                self.suspects[topic] = Suspect(*self._admission.route(topic))
        if over:
            self._window_s = now_s
            calm = [
                topic for topic, s in self.suspects.items() if self._counts[topic] <= self._limit and s.held is None
            ]
            for topic in calm:
                del self.suspects[topic]
            self._counts.clear()

    # -- what is left out ------------------------------------------------------------------------------------------

    def _thin(self, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        suspect = self.suspects[topic]
        if suspect.kind not in ("unit", "cylinder"):  # a state: only the newest counts
            if suspect.held is not None:
                self.report.left_out(suspect.kind, suspect.name, 1)
            suspect.held = payload, received_ms
            return
        one = Admitted()
        self._admission.admit(topic, payload, received_ms, one)
        readings = [r for r in one.readings if suspect.keeps(r.time_ms)]
        gauges = [g for g in one.gauges if suspect.keeps(g.time_ms)]
        lost = len(one.readings) - len(readings) + len(one.gauges) - len(gauges)
        if lost:
            out.flooded += lost
            self.report.left_out(suspect.kind, suspect.name, lost)
        _join(out, one, readings)
        out.gauges += gauges

    def _release(self, received_ms: int, out: Admitted) -> None:
        now_s = self._monotonic_s()
        for topic, suspect in self.suspects.items():
            if suspect.held is not None and now_s - suspect.told_s >= WINDOW_S:
                (payload, _), suspect.held, suspect.told_s = suspect.held, None, now_s
                self._admission.admit(topic, payload, received_ms, out)

    def status(self) -> list[dict[str, Any]]:
        """Who floods now, for the collector's status."""
        return self.report.status()


def _join(out: Admitted, one: Admitted, readings: list[Reading]) -> None:
    out.readings += readings
    out.quarantined += one.quarantined
    out.unkept.update(one.unkept)
    if one.ahead:  # the first says it; the rest would say the same
        out.ahead.append(one.ahead[0])
