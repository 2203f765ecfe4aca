"""Which messages are readings: pure, and the hot path of the collector.

Rules of this file: nothing is dropped without a trace. A message that cannot be read at all is set aside whole; a pack
with one bad moment gives its good ones, and the bad one is set aside with what is wrong about it.
"""

from __future__ import annotations

from collections import Counter
from typing import Final, NamedTuple

from collector.backup.gauge import OVERFULL
from collector.bridge.word import Word, read_word
from collector.reading import EARLIEST_MS, Reading, fault_in
from collector.senml import SenmlError, decode_pack
from collector.site import Site
from collector.store.quarantine import Quarantined
from collector.topics import split_topic

DAY_MS: Final = 86_400_000
OLDEST_MS: Final = 400 * DAY_MS  # a bridge that was away longer than raw readings are kept has nothing to add
AHEAD_MS: Final = 120_000  # of wall time: clocks of small bridges are set by hand, or by a network that comes and goes
WORD_MAX: Final = 64 * 1024
PAYLOAD_MAX: Final = 256 * 1024  # about 2,000 moments in a pack; anything larger is no bridge's


class LinkNews(NamedTuple):
    """What a bridge's link topic says."""

    bridge: str
    online: bool


class Ahead(NamedTuple):
    """A unit whose readings come from the future."""

    unit: str
    ahead_s: float


class Gauge(NamedTuple):
    """What a cylinder's pressure sensor says, gauge."""

    cylinder: str
    kpa: float
    time_ms: int


class Admitted:
    """What a batch of messages came to.

    `unkept` holds, by kind of reason, what was set aside beyond what is kept as evidence; `flooded` how many readings
    of a flood were left out.
    """

    __slots__ = ("ahead", "flooded", "gauges", "links", "quarantined", "readings", "unkept", "words")

    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.quarantined: list[Quarantined] = []
        self.links: list[LinkNews] = []
        self.words: list[tuple[str, Word]] = []  # a bridge and its word on itself
        self.ahead: list[Ahead] = []
        self.gauges: list[Gauge] = []
        self.unkept: Counter[str] = Counter()
        self.flooded = 0


class Admission:
    """Reads the messages of one facility; `speed` is how fast its clock runs against the wall."""

    def __init__(self, site: Site, speed: float = 1.0) -> None:
        self._facility = site.facility.id
        self._units = {unit.id for unit in site.units}
        self._cylinders = {cylinder.id: cylinder.full_kpa * OVERFULL for cylinder in site.cylinders}
        self._routes: dict[str, tuple[str, str]] = {}
        self._ahead_ms = int(AHEAD_MS * max(speed, 1.0))

    def admit(self, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        """Read one message into `out`."""
        kind, name = self._routes.get(topic) or self._route(topic)
        if kind == "unit":
            self._admit_pack(name, topic, payload, received_ms, out)
        elif kind == "cylinder":
            self._admit_gauge(name, topic, payload, received_ms, out)
        elif kind == "bridge":
            self._admit_link(name, topic, payload, received_ms, out)
        elif kind == "bridge-state":
            self._admit_word(name, topic, payload, received_ms, out)
        else:
            out.quarantined.append(_aside(received_ms, topic, payload, kind, name))

    def knows(self, topic: str) -> bool:
        """Whether a message of this topic has been admitted before."""
        return topic in self._routes

    def route(self, topic: str) -> tuple[str, str]:
        """Kind and name of whom a topic is about; of no topic of ours, the kind of reason and the reason."""
        return self._routes.get(topic) or self._route(topic)

    def _route(self, topic: str) -> tuple[str, str]:
        parts = split_topic(topic)
        if parts is None:
            return "topic", "no topic of ours"
        facility, kind, name = parts
        if facility != self._facility:
            return "other-facility", f"the topic is of '{facility}', this is '{self._facility}'"
        if kind == "unit" and name not in self._units:
            return "unknown-unit", f"the site file has no unit '{name}'"
        if kind == "cylinder" and name not in self._cylinders:
            return "unknown-cylinder", f"the site file has no cylinder '{name}'"
        self._routes[topic] = (kind, name)  # only known names are kept, so that strangers cannot fill memory
        return kind, name

    def _decoded(self, name: str, topic: str, payload: bytes, received_ms: int, out: Admitted) -> list[Reading]:
        if len(payload) > PAYLOAD_MAX:
            reason = f"{len(payload)} bytes, more than {PAYLOAD_MAX}"
            out.quarantined.append(_aside(received_ms, topic, payload, "too-large", reason))
            return []
        try:
            return decode_pack(payload, received_ms, self._facility, name)
        except SenmlError as error:
            out.quarantined.append(_aside(received_ms, topic, payload, error.kind, str(error)))
            return []

    def _admit_gauge(self, cylinder: str, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        for reading in self._decoded(cylinder, topic, payload, received_ms, out):
            kpa, time_ms = reading.pressure_kpa, reading.time_ms
            fault = self._time_fault(time_ms, received_ms)
            if fault is None and (kpa is None or not 0.0 <= kpa <= self._cylinders[cylinder]):
                fault = "implausible", "no gauge pressure that this cylinder can have"
            if fault is None and kpa is not None:
                out.gauges.append(Gauge(cylinder, kpa, time_ms))
            elif fault is not None:
                _put_aside(out, _aside(received_ms, topic, payload, *fault))

    def _admit_pack(self, unit: str, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        for reading in self._decoded(unit, topic, payload, received_ms, out):
            fault = self._fault(reading, received_ms, out)
            if fault is None:
                out.readings.append(reading)
            else:
                _put_aside(out, _aside(received_ms, topic, payload, *fault))

    def _fault(self, reading: Reading, received_ms: int, out: Admitted) -> tuple[str, str] | None:
        timed = self._time_fault(reading.time_ms, received_ms)
        if timed is not None:
            if timed[0] == "clock-ahead":
                out.ahead.append(Ahead(reading.unit, (reading.time_ms - received_ms) / 1000))
            return timed
        fault = fault_in(reading)
        return None if fault is None else ("implausible", fault)

    def _time_fault(self, time_ms: int, received_ms: int) -> tuple[str, str] | None:
        if time_ms > received_ms + self._ahead_ms:
            return "clock-ahead", f"its time is {(time_ms - received_ms) / 1000:.0f} s ahead of this clock"
        if time_ms < EARLIEST_MS or time_ms < received_ms - OLDEST_MS:
            return "too-old", f"its time is {(received_ms - time_ms) // DAY_MS} days ago"
        return None

    @staticmethod
    def _admit_word(bridge: str, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        if len(payload) > WORD_MAX:
            fault = f"{len(payload)} bytes, more than {WORD_MAX}"
        else:
            try:
                out.words.append((bridge, read_word(payload)))
            except ValueError as error:
                fault = str(error)
            else:
                return
        out.quarantined.append(_aside(received_ms, topic, payload, "bridge-state", fault))

    @staticmethod
    def _admit_link(bridge: str, topic: str, payload: bytes, received_ms: int, out: Admitted) -> None:
        if payload in (b"online", b"offline"):
            out.links.append(LinkNews(bridge, payload == b"online"))
        else:
            reason = "a bridge's link is `online` or `offline`"
            out.quarantined.append(_aside(received_ms, topic, payload, "link", reason))


def _aside(received_ms: int, topic: str, payload: bytes, kind: str, reason: str) -> Quarantined:
    return Quarantined(received_ms, topic, payload, kind, reason)


def _put_aside(out: Admitted, item: Quarantined) -> None:
    """A pack's bad moments of one kind are shown by its first: 2,000 of them would else be 2,000 copies of the pack."""
    last = out.quarantined[-1] if out.quarantined else None
    if last is not None and last.payload is item.payload and last.reason_kind == item.reason_kind:
        out.unkept[item.reason_kind] += 1
    else:
        out.quarantined.append(item)
