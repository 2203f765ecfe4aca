"""The rules of one facility: readings and ticks in, events out.

Rules of this file: no IO and no clock; a reading moves only its own unit, in the order of its times; what needs time to
pass (silence, losses of supply) happens at its own deadline, whose moment is the event's time, whenever the tick that
notices it comes. So the same readings give the same events live and in replay. A reading that is not newer than the
unit's last one is counted and changes nothing: a redelivered batch is never counted twice.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping

from collector.reading import Reading
from collector.rules import analyser, entries, hours, phases, sags, silences, supply, wards
from collector.rules.capacity.now import CapacityNow, CapacityPoint, Outlook
from collector.rules.conditions import check_running
from collector.rules.entries import JournalEntry
from collector.rules.events import Event
from collector.rules.findings import clear_all, raise_now
from collector.rules.foresee import follow_capacity, hour_point, outlook_of
from collector.rules.limits import LIMITS, Limits
from collector.rules.memory import Tracked
from collector.rules.proven import follow_proven, take_proof
from collector.rules.shared import SharedConditions
from collector.rules.shown import show
from collector.rules.silences import Silences
from collector.rules.together import room_warmth_k, tell_shared
from collector.rules.unitrow import OFF, RUNNING, SILENT, UNSEEN, UnitRow
from collector.site import Site

_LOSS = silences.KIND + 1
#: When, of which kind, and the unit or ward that it is one of.
Deadline = tuple[int, int, str]


class RulesEngine:
    """Follows every unit of a site; `touched` holds the ids of units changed since `clear_touched()`."""

    def __init__(self, site: Site, limits: Limits = LIMITS) -> None:
        self.limits = limits
        self.touched: set[str] = set()
        self.estimates_touched: set[str] = set()  # units whose capacity estimate changed since `clear_touched()`
        self.late = 0  # readings that were not newer than their unit's last one
        self._notes: list[JournalEntry] = []
        self._points: list[CapacityPoint] = []
        self._units = {u.id: Tracked(u, site.model_of(u.id), site.ward_of(u.id), limits) for u in site.units}
        self._wards: dict[str, list[Tracked]] = {}
        for unit in self._units.values():
            self._wards.setdefault(unit.ward.id, []).append(unit)
        self._due: list[Deadline] = []  # a heap: at most one silence a unit
        self._shared = SharedConditions(self._wards, self._due, self.touched)
        self._shared.add(sags.kind(limits))
        self._shared.add(analyser.kind(limits))
        self._silences = Silences(limits, self._wards, self._shared, self._due, self.touched)

    # -- the record ------------------------------------------------------------------------------------------------

    def restore(self, rows: Iterable[UnitRow], estimates: Iterable[tuple[str, bytes]] = ()) -> None:
        """Go on from stored rows and estimates; those of units that the site no longer has are left alone."""
        for row in rows:
            if (unit := self._units.get(row.unit)) is not None:
                unit.restore(row)
        for unit_id, blob in estimates:
            if (unit := self._units.get(unit_id)) is not None:
                unit.remember(blob)
        firsts = [u.memory.first_ms for u in self._units.values() if u.memory.first_ms is not None]
        if firsts:
            self._silences.first_ms = min(firsts)
            self._set_deadlines()

    def _set_deadlines(self) -> None:
        self._due.clear()
        self._shared.restore()
        self._silences.expect(self._units.values())
        for unit in self._units.values():
            if unit.memory.lost_ms is not None:
                heapq.heappush(self._due, (unit.memory.lost_ms + self.limits.lost_hold_ms, _LOSS, unit.ward.id))

    def rows(self, unit_ids: Iterable[str]) -> Iterator[UnitRow]:
        """The rows to be stored of these units."""
        for unit_id in unit_ids:
            yield self._units[unit_id].stored()

    def clear_touched(self) -> None:
        """Forget which units changed: their rows and estimates are stored."""
        self.touched.clear()
        self.estimates_touched.clear()

    def ward_stands(self, ward: str, condition: str) -> bool:
        """Whether a ward's event stands by what is known of its units; True of what these rules know nothing about."""
        if condition == "ward-supply-lost":
            return any(unit.memory.outage_size for unit in self._wards.get(ward, []))
        return self._shared.stands(ward, condition)

    def estimates(self, unit_ids: Iterable[str]) -> Iterator[tuple[str, bytes]]:
        """The capacity estimate of these units, to be stored: opaque to everybody else."""
        for unit_id in unit_ids:
            yield unit_id, self._units[unit_id].remembered()

    def take_capacity_points(self) -> list[CapacityPoint]:
        """The capacity of hours that have ended since the last call, and forget them."""
        points, self._points = self._points, []
        return points

    def capacity_of(self, unit_id: str) -> CapacityNow | None:
        """What is known of a unit's capacity, as of its last mean."""
        return self._units[unit_id].row.capacity

    def outlook(self, unit_id: str, flow_lpm: float | None = None) -> Outlook | None:
        """When a unit will reach its limits, as of its last mean, at the flow in use or another; None: not known."""
        return outlook_of(self._units[unit_id], flow_lpm)

    def take_notes(self) -> list[JournalEntry]:
        """Entries for the journal that are no alarms (service hours, hour meters), and forget them."""
        notes, self._notes = self._notes, []
        return notes

    # -- readings --------------------------------------------------------------------------------------------------

    def read(self, r: Reading, now_ms: int) -> list[Event]:
        """Take in one reading, received at now_ms; KeyError for a unit that the site does not have."""
        unit = self._units[r.unit]
        found: list[Event] = []
        last_ms = unit.last_ms
        if last_ms is None:
            self._first_seen(unit, r.time_ms)
            self._silences.settle(unit, r.time_ms, found)
        elif r.time_ms <= last_ms:
            self.late += 1
            return found
        elif unit.memory.lost_ms is not None or unit.memory.shared or r.time_ms - last_ms > self.limits.absent_ms:
            self._settle(unit, r.time_ms, found)
        self.touched.add(r.unit)
        self._take_in(unit, r, now_ms, found)
        unit.last_ms = r.time_ms
        if found:
            tell_shared(found, unit, self._wards[unit.ward.id], self.limits)
        return found

    def _first_seen(self, unit: Tracked, time_ms: int) -> None:
        unit.memory.first_ms = time_ms
        self.begin(time_ms)

    def begin(self, first_ms: int) -> None:
        """The facility's first reading, whichever unit's, was taken then: silence of one never heard counts from it."""
        if self._silences.first_ms is None:
            self._silences.first_ms = first_ms
            self._set_deadlines()

    def _settle(self, unit: Tracked, time_ms: int, found: list[Event]) -> None:
        """What was due for this unit before its reading happened first, whether or not a tick has noticed yet."""
        if unit.memory.lost_ms is not None:
            due_ms = unit.memory.lost_ms + self.limits.lost_hold_ms
            if due_ms < time_ms:
                self._judge(unit.ward.id, due_ms, found)
        self._silences.settle(unit, time_ms, found)

    def _take_in(self, unit: Tracked, r: Reading, now_ms: int, found: list[Event]) -> None:
        limits, row = self.limits, unit.row
        self._silences.fill(unit, r.time_ms)
        was_on = hours.is_on(row.phase if row.phase != SILENT else unit.memory.before_silence)
        on = phases.shows_on(unit, r, limits)
        phase = phases.next_phase(unit, r, on, limits)
        if unit.memory.watches or unit.memory.shared:
            self._silences.heard(unit, r.time_ms, now_ms, found)
            found += clear_all(unit, ("clock-wrong",), r.time_ms, {})
        analyser.check_step(unit, r, phase, limits, self._shared, found)
        if phase != row.phase:
            self._change_phase(unit, phase, r, was_on, found)
        show(unit, r, now_ms, limits)
        is_on = phase != OFF
        notes = hours.account(unit, r, was_on, is_on, limits)
        if notes:
            self._notes += notes
        if is_on:
            self._while_on(unit, r, phase, found)
        else:
            self._while_off(unit, r, was_on, found)
        sags.check_sags(unit, r, limits, self._shared, found)
        if unit.memory.outage_ms is not None or "supply-lost" in unit.memory.watches:
            self._follow_supply(unit, r, found)

    def _change_phase(self, unit: Tracked, phase: str, r: Reading, was_on: bool, found: list[Event]) -> None:
        if unit.row.phase in (SILENT, UNSEEN):
            self._silences.await_next(unit, r.time_ms + self.limits.absent_ms)
        if phase != OFF and not was_on:
            supply.came_back(unit, r, found)
        phases.enter(unit, phase, r.time_ms)

    def _while_on(self, unit: Tracked, r: Reading, phase: str, found: list[Event]) -> None:
        memory = unit.memory
        if phase == RUNNING:
            if r.purity_pct is not None:
                memory.run_purity_pct = r.purity_pct
            follow_proven(unit, r, self.limits)
            if follow_capacity(unit, r, self.limits, found):
                self.estimates_touched.add(unit.id)
                unit.belief.signs.room_k = room_warmth_k(self._wards[unit.ward.id])
                if (point := hour_point(unit)) is not None:
                    self._points.append(point)
        if r.flow_lpm is not None:
            memory.use_flow_lpm = r.flow_lpm
        check_running(unit, r, self.limits, found)

    def _while_off(self, unit: Tracked, r: Reading, was_on: bool, found: list[Event]) -> None:
        if was_on:
            supply.went_off(unit, r, self.limits, found)
        else:
            supply.while_off(unit, r, self.limits, found)
        if unit.memory.lost_ms == r.time_ms:
            heapq.heappush(self._due, (r.time_ms + self.limits.lost_hold_ms, _LOSS, unit.ward.id))

    def _follow_supply(self, unit: Tracked, r: Reading, found: list[Event]) -> None:
        if not supply.steadily_back(unit, r, self.limits):
            return
        if unit.memory.outage_ms is None:
            supply.end_loss(unit, r, found)
            return
        events, touched = wards.leave_outage(unit, self._wards[unit.ward.id], r)
        found += events
        self.touched.update(other.id for other in touched)

    # -- time ------------------------------------------------------------------------------------------------------

    def tick(self, watermark_ms: int) -> list[Event]:
        """Do what was due before watermark_ms; no reading older than it should still be on its way, one of it may."""
        self._silences.watermark_ms = watermark_ms
        if not self.is_due(watermark_ms):
            return []
        return [event for _, events in self.deadlines(watermark_ms) for event in events]

    def is_due(self, watermark_ms: int) -> bool:
        """Whether anything was due before watermark_ms."""
        return bool(self._due) and self._due[0][0] < watermark_ms

    def deadlines(self, watermark_ms: int) -> Iterator[tuple[Deadline, list[Event]]]:
        """What tick does, deadline by deadline, in the order in which a facility's are done whatever its size."""
        self._silences.watermark_ms = watermark_ms
        due = self._due
        while due and due[0][0] < watermark_ms:
            found: list[Event] = []
            deadline = due_ms, kind, name = heapq.heappop(due)
            if kind == silences.KIND:
                self._silences.due(self._units[name], due_ms, found)
            elif kind == _LOSS:
                self._judge(name, due_ms, found)
            else:
                self._shared.judge(kind, name, due_ms, found)
            yield deadline, found

    def _judge(self, ward: str, due_ms: int, found: list[Event]) -> None:
        units = self._wards[ward]
        waiting = [u.id for u in units if u.memory.lost_ms is not None or "supply-lost" in u.memory.watches]
        found += wards.judge_loss(units, due_ms, self.limits)
        self.touched.update(waiting)

    # -- what the intake noticed -----------------------------------------------------------------------------------

    def note_clock(self, unit_id: str, ahead_s: float, now_ms: int) -> list[Event]:
        """A unit's readings carry times ahead of now: raised once, cleared by its next acceptable reading."""
        unit = self._units[unit_id]
        if "clock-wrong" in unit.memory.watches:
            return []
        self.touched.add(unit_id)
        return [raise_now(unit, "clock-wrong", now_ms, {"ahead_s": round(ahead_s)})]

    def note_proof(self, unit_id: str, body: Mapping[str, object], time_ms: int) -> bool:
        """A check with a reference analyser is evidence as readings are; True when the unit's proven flow has changed.

        It tells nothing by itself: what stands of the unit's capacity ends, after its delays, with its next means.
        """
        unit = self._units.get(unit_id)
        if unit is None or unit.last_ms is None:  # nothing is told of one that was never heard
            return False
        return take_proof(unit, body, time_ms, self.limits)

    def newest_ms(self) -> int | None:
        """When the last reading of all was taken."""
        return max((unit.last_ms for unit in self._units.values() if unit.last_ms is not None), default=None)

    def note_blind(self, until_ms: int) -> None:
        """Nothing could be heard until now, and comes later, not in order: silence counts from here at the earliest."""
        self._silences.blind_ms = until_ms

    def know_links(self, links: Mapping[str, tuple[bool, int]]) -> None:
        """Go on from what is stored of bridges: whether each is online, and since when."""
        self._silences.links.update(links)

    def note_link(self, bridge: str, online: bool, now_ms: int) -> bool:
        """A bridge came or went: kept in the journal, its units' silence speaks for itself; False: that is known."""
        if not self._silences.note_link(bridge, online, now_ms):
            return False
        body = {"bridge": bridge, "link": "online" if online else "offline"}
        self._notes.append(JournalEntry(at_ms=now_ms, kind=entries.NOTE, origin="collector", body=body))
        return True
