"""Silence: a unit that has not reported for `absent_ms`; several of a ward fall silent as one event.

Rules of this file: silence is a state with a deadline, reached when no reading has come by then; it clears nothing.
A unit that was never heard at all is told on its own. Which bridge's link went is evidence only: links are not recorded
with the readings, so no event may depend on one.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from collector.reading import iso_utc
from collector.rules import phases
from collector.rules.catalogue import ENGINEER, SILENT_TOGETHER_ACTION, WARD
from collector.rules.events import Event, Evidence, Priority
from collector.rules.findings import clear_all, raise_now
from collector.rules.hours import is_on
from collector.rules.limits import Limits
from collector.rules.memory import Shared, Tracked, Watch
from collector.rules.shared import Kind, SharedConditions, Whole
from collector.rules.unitrow import SILENT, UNSEEN

ABSENT: Final = "readings-absent"
KIND: Final = 0  # of its deadlines in the engine's heap


class Silences:
    """Every unit's deadline; `watermark_ms`: a tick has done what was due until then; `links`: (online, since) of each
    bridge; `blind_ms`: nothing could be heard for a while before it, so silence counts from it at the earliest."""

    def __init__(
        self, limits: Limits, wards: Mapping[str, Sequence[Tracked]], shared: SharedConditions,
        due: list[tuple[int, int, str]], touched: set[str],
    ) -> None:  # fmt: skip
        self._limits, self._wards, self._shared, self._due, self._touched = limits, wards, shared, due, touched
        self.first_ms: int | None = None  # the facility's first reading
        self.watermark_ms = self.blind_ms = 0
        self.links: dict[str, tuple[bool, int]] = {}
        shared.add(Kind(ABSENT, limits.silent_together, _shows, _could, _told_alone, self._whole))

    def expect(self, units: Iterable[Tracked]) -> None:
        """Set the deadline of every unit that is not known to be silent."""
        for unit in units:
            if unit.row.phase != SILENT and unit.in_service and not _known(unit):
                self.await_next(unit, self._deadline_ms(unit))

    def await_next(self, unit: Tracked, due_ms: int) -> None:
        """Look at this unit again at due_ms and not before: at most one entry of a unit in the heap is in force."""
        unit.awaited_ms = due_ms
        heapq.heappush(self._due, (due_ms, KIND, unit.id))

    def due(self, unit: Tracked, due_ms: int, found: list[Event]) -> None:
        """A deadline of a unit has come."""
        if due_ms != unit.awaited_ms or not unit.in_service or unit.row.phase == SILENT:
            return
        deadline_ms = self._deadline_ms(unit)
        if deadline_ms > due_ms:  # it has reported since: look again when its present deadline comes
            self.await_next(unit, deadline_ms)
        elif unit.row.phase != UNSEEN:
            self._fall_silent(unit, due_ms)
        elif not _known(unit):
            self._touched.add(unit.id)
            found.append(_never_heard(unit, due_ms))

    def settle(self, unit: Tracked, time_ms: int, found: list[Event]) -> None:
        """What was due in the unit's ward before its reading happened first, whether or not a tick has noticed."""
        silent = unit.row.phase in (SILENT, UNSEEN) or ABSENT in unit.memory.shared
        if silent or self._deadline_ms(unit) < time_ms:
            for other in self._wards[unit.ward.id]:
                if _could(other) and self._deadline_ms(other) < time_ms:
                    self._fall_silent(other, self._deadline_ms(other))
        self._shared.settle(unit, time_ms, found)

    def heard(self, unit: Tracked, time_ms: int, now_ms: int, found: list[Event]) -> None:
        """A silent unit has reported, received at now_ms."""
        # A backlog's old reading does not end a silence: its own deadline has passed, and the next tick would say so.
        # (Not by a tick of a clock that ran ahead and has been set back since: the next one comes from now.)
        silent_again_ms = time_ms + self._limits.absent_ms
        if not _known(unit) or silent_again_ms <= min(self.watermark_ms, now_ms):
            return
        if ABSENT in unit.memory.shared:
            self._shared.leave(unit, ABSENT, time_ms, found)
        found += clear_all(unit, (ABSENT,), time_ms, {})
        self.await_next(unit, silent_again_ms)

    def fill(self, unit: Tracked, time_ms: int) -> None:
        """A silence that the unit's own readings fill was none: its bridge had kept them, and it goes on as before.

        Taken for a silence, the first of them would look like one after a restart, and hide a fall as a warm-up.
        """
        if unit.row.phase == SILENT and unit.last_ms is not None and time_ms - unit.last_ms <= self._limits.absent_ms:
            phases.enter(unit, unit.memory.before_silence, unit.memory.before_silence_ms)
            self.await_next(unit, time_ms + self._limits.absent_ms)

    def note_link(self, bridge: str, online: bool, now_ms: int) -> bool:
        """A bridge came or went; False when that is known: the broker says it again at every connect."""
        known = self.links.get(bridge)
        if known is not None and known[0] == online:
            return False
        self.links[bridge] = online, now_ms
        return True

    def _deadline_ms(self, unit: Tracked) -> int:
        if unit.last_ms is None:
            return (self.first_ms or 0) + self._limits.never_seen_ms
        return max(unit.last_ms, self.blind_ms) + self._limits.absent_ms

    def _fall_silent(self, unit: Tracked, time_ms: int) -> None:
        unit.memory.before_silence, unit.memory.before_silence_ms = unit.row.phase, unit.row.phase_since_ms
        phases.enter(unit, SILENT, time_ms)
        self._touched.add(unit.id)
        if not _known(unit):
            self._shared.wait(unit, ABSENT, time_ms, time_ms)

    def _whole(self, units: Sequence[Tracked], time_ms: int) -> Whole:
        first_ms = min(u.memory.shared[ABSENT].since_ms for u in units)
        last_heard_ms = min((u.last_ms for u in units if u.last_ms is not None), default=first_ms)
        in_use = any(_in_use(u) for u in units)
        evidence: Evidence = {
            "units_lost": len(units),
            "units": sorted(u.id for u in units),
            "in_use": in_use,
            "since": iso_utc(last_heard_ms),
            "seen_for_s": (time_ms - first_ms) // 1000,
        }
        # A bridge's last will is sent some time after its last reading, within the broker's patience.
        gone = sorted(
            name for name, (online, at_ms) in self.links.items() if not online and last_heard_ms <= at_ms <= time_ms
        )
        if gone:
            evidence["bridge"] = ", ".join(gone)
        return Whole(evidence, SILENT_TOGETHER_ACTION, _priority(units), _audience(in_use))


def _known(unit: Tracked) -> bool:
    """Whether its silence is told, or waits to be."""
    return ABSENT in unit.memory.watches or ABSENT in unit.memory.shared


def _shows(unit: Tracked) -> bool:
    return unit.row.phase == SILENT


def _could(unit: Tracked) -> bool:
    return unit.in_service and unit.row.phase not in (SILENT, UNSEEN)


def _in_use(unit: Tracked) -> bool:
    return is_on(unit.memory.before_silence) and unit.memory.delivered


def _priority(units: Iterable[Tracked]) -> Priority:
    return "medium" if any(is_on(u.memory.before_silence) for u in units) else "low"


def _audience(in_use: bool) -> tuple[str, ...]:
    return (WARD, ENGINEER) if in_use else (ENGINEER,)


def _told_alone(unit: Tracked, share: Shared, time_ms: int) -> Event:
    memory = unit.memory
    memory.watches[ABSENT] = Watch(share.since_ms)
    evidence: Evidence = {
        "phase_before": memory.before_silence,
        "in_use": _in_use(unit),
        "flow_lpm": memory.use_flow_lpm,
    }
    audience = _audience(_in_use(unit))
    return raise_now(unit, ABSENT, time_ms, evidence, priority=_priority([unit]), audience=audience)


def _never_heard(unit: Tracked, time_ms: int) -> Event:
    evidence: Evidence = {"phase_before": UNSEEN, "in_use": False, "flow_lpm": None}
    return raise_now(unit, ABSENT, time_ms, evidence, priority="low", audience=_audience(in_use=False))
