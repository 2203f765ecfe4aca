"""The past with today's limits and with changed ones: one pass over the readings, both runs step by step.

Rules of this file: constant memory, however long the past is: units, alarms that stand, and what pairing still waits
for. Both runs begin without a memory at the first reading.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from typing import Final

import msgspec

from collector.reading import Reading, iso_utc
from collector.replay import Replay
from collector.rules.catalogue import CATALOGUE, WARD
from collector.rules.events import CLEARED, PRIORITIES, RAISED, Event
from collector.rules.limits import HOUR, LIMITS, MINUTE, Limits
from collector.site import Site
from collector.whatif.changes import Tried
from collector.whatif.pairing import CHANGED, TODAY, Pairing, Settled, Standing
from collector.whatif.tally import (
    UNIT_MONTH_MS,
    Comparison,
    ConditionRow,
    Difference,
    Kind,
    RunTotals,
    Spread,
    Stood,
    weight,
)

Key = tuple[str, str, str]
SHOWN: Final = 20  # differences kept for people; all of them come out of `differences`
WINDOW_MS: Final = HOUR
_SHIFTED: Final[tuple[Kind, Kind]] = ("earlier", "later")
ENDS_KEPT: Final = 2_000  # shut-offs a run; more say nothing new
_LOW: Final = ("shutdown-expected", "purity-amber", "purity-red")


class _Run:
    """One of the two runs: its rules, what stands, and what is counted."""

    def __init__(self, side: int, site: Site, limits: Limits) -> None:
        self.side, self.replay = side, Replay(site, limits)
        self.standing: dict[Key, Standing] = {}
        self.stood: dict[str, Stood] = {}
        self.totals = RunTotals()
        self.leads = Spread()
        self.ends: list[tuple[str, int, bool]] = []  # shut-offs: unit, when, whether an alarm stood before

    def count(self, event: Event, beside: bool) -> Standing | None:
        """Take in an event; the alarm that it raises or clears, or None when it does neither."""
        row = self.stood.setdefault(event.condition, Stood())
        if event.event == RAISED:
            self._count_raised(event)
            row.raised += 1
            alarm = self.standing[event.key] = Standing(event.time_ms, event.priority, beside)
        else:
            known = self.standing.get(event.key)
            if known is None:
                return None
            alarm = known
        if event.priority == PRIORITIES[-1] and alarm.high_ms is None:
            alarm.high_ms = event.time_ms
            row.high += 1
        alarm.priority = max(alarm.priority, event.priority, key=PRIORITIES.index)
        if event.event == CLEARED:
            self.end(event.key, event.time_ms)
        return alarm

    def _count_raised(self, event: Event) -> None:
        totals = self.totals
        totals.alarms += 1
        totals.ward_alerts += WARD in event.audience
        if event.condition == "purity-shutdown":
            totals.shutdowns += 1
            low = [self.standing[key].raised_ms for name in _LOW if (key := (event.unit, "", name)) in self.standing]
            if len(self.ends) < ENDS_KEPT:
                self.ends.append((event.unit, event.time_ms, bool(low)))
            if low:
                totals.warned += 1
                self.leads.add(max(0, event.time_ms - min(low)))

    def result(self, unit_months: float) -> RunTotals:
        """The run's totals so far."""
        totals = self.totals
        totals.ward_alerts_per_unit_month = round(totals.ward_alerts / unit_months, 3) if unit_months else None
        totals.lead = self.leads.spans()
        for stood in self.stood.values():
            stood.hours = round(stood.hours, 4)
        return totals

    def end(self, key: Key, time_ms: int) -> Standing:
        """An alarm ends, or the past does."""
        alarm = self.standing.pop(key)
        self.stood[key[2]].hours += max(0, time_ms - alarm.raised_ms) / HOUR
        return alarm


class Lost(msgspec.Struct, frozen=True):
    """A shut-off on low purity that has an alarm before it today and would have none with the change."""

    unit: str
    at: str


class SideBySide:
    """Both runs of one past; `differences` drives them, `result` says what it came to."""

    def __init__(self, site: Site, tried: Tried, limits: Limits = LIMITS, window_ms: int = WINDOW_MS) -> None:
        self.runs = (_Run(TODAY, site, limits), _Run(CHANGED, tried.site, tried.limits))
        self._site, self._tried, self._window_ms = site, tried, window_ms
        self._pairings: dict[Key, Pairing] = {}
        self._due: list[tuple[int, Key]] = []
        self._spans: dict[str, list[int]] = {}  # unit -> its first and last moment
        self._rows: dict[str, ConditionRow] = {}
        self._shifts: dict[tuple[str, Kind], Spread] = {}
        self._gravest: list[tuple[tuple[int, int, float], int, Difference]] = []
        self._number = 0

    def differences(self, readings: Iterable[Reading]) -> Iterator[Difference]:
        """Run both over the readings and yield each alarm that differs, once no nearer partner can come for it."""
        today, changed = self.runs[TODAY].replay, self.runs[CHANGED].replay
        spans = self._spans
        for reading in readings:
            before, after = today.take(reading), changed.take(reading)
            if before or after:
                self._take(before, after)
            if self._due and self._due[0][0] <= reading.time_ms:
                yield from self._settle_due(reading.time_ms)
            if (span := spans.get(reading.unit)) is not None and reading.time_ms > span[1]:
                span[1] = reading.time_ms
            elif span is None and self._is_known(reading.unit):
                spans[reading.unit] = [reading.time_ms, reading.time_ms]
        yield from self._finish()

    def _take(self, before: list[Event], after: list[Event]) -> None:
        events = [(event, TODAY) for event in before] + [(event, CHANGED) for event in after]
        # At one moment, ends before beginnings: an alarm that ends as another begins did not stand beside it.
        for event, side in sorted(events, key=lambda pair: (pair[0].time_ms, pair[0].event != CLEARED)):
            alarm = self.runs[side].count(event, event.key in self.runs[1 - side].standing)
            if alarm is None:
                continue
            if event.event == RAISED:
                self._pairing(event.key).raised(side, alarm)
            elif event.event == CLEARED:
                self._pairing(event.key).cleared(alarm, event.time_ms)
            self._await(event.key)

    def _pairing(self, key: Key) -> Pairing:
        return self._pairings.setdefault(key, Pairing(self._window_ms))

    def _await(self, key: Key) -> None:
        due_ms = self._pairing(key).due_ms
        if due_ms is not None:
            heapq.heappush(self._due, (due_ms, key))

    def _settle_due(self, now_ms: int) -> Iterator[Difference]:
        while self._due and self._due[0][0] <= now_ms:
            due_ms, key = heapq.heappop(self._due)
            pairing = self._pairings.get(key)
            if pairing is None or pairing.due_ms != due_ms:
                continue  # settled since
            yield from self._told(key, pairing.settle(now_ms))
            if pairing.idle:
                del self._pairings[key]
            else:
                self._await(key)

    def _finish(self) -> Iterator[Difference]:
        last_ms = max((span[1] for span in self._spans.values()), default=0)
        for run in self.runs:
            for key in list(run.standing):
                self._pairing(key).cleared(run.end(key, last_ms), last_ms)
        for key in sorted(self._pairings):
            yield from self._told(key, self._pairings[key].finish())
        self._pairings.clear()

    def _told(self, key: Key, settled: list[Settled]) -> Iterator[Difference]:
        unit, ward, condition = key
        row = self._row(condition)
        for today, changed in settled:
            kind, later_ms = _kind(today, changed)
            setattr(row, kind, getattr(row, kind) + 1)
            if kind == "same":
                continue
            if later_ms:
                self._shifts.setdefault((condition, kind), Spread()).add(abs(later_ms))
            difference = Difference(
                kind=kind, condition=condition, unit=unit, ward=ward or self._ward_of(unit),
                priority=max((a.priority for a in (today, changed) if a), key=PRIORITIES.index),
                today=_moment(today.raised_ms if today else None),
                changed=_moment(changed.raised_ms if changed else None),
                later_s=None if later_ms is None else later_ms / 1000,
                today_high=_moment(today.high_ms if today else None),
                changed_high=_moment(changed.high_ms if changed else None),
            )  # fmt: skip
            self._keep(difference)
            yield difference

    def _is_known(self, unit: str) -> bool:
        return self._site.unit(unit) is not None or self._tried.site.unit(unit) is not None

    def _ward_of(self, unit: str) -> str:
        site = self._site if self._site.unit(unit) else self._tried.site
        return site.ward_of(unit).id

    def _row(self, condition: str) -> ConditionRow:
        return self._rows.setdefault(condition, ConditionRow(condition, Stood(), Stood()))

    def _keep(self, difference: Difference) -> None:
        self._number += 1
        entry = (weight(difference), -self._number, difference)  # of two that weigh the same, the earlier one
        if len(self._gravest) < SHOWN:
            heapq.heappush(self._gravest, entry)
        else:
            heapq.heappushpop(self._gravest, entry)

    def result(self, broken: int = 0) -> Comparison:
        """What it came to, after the last of `differences`; `broken` rows were left out."""
        summary = self.runs[TODAY].replay.summary
        spans = self._spans.values()
        months = sum(last - first for first, last in spans) / UNIT_MONTH_MS
        return Comparison(
            first=iso_utc(min(first for first, _ in spans)) if spans else None,
            last=iso_utc(max(last for _, last in spans)) if spans else None,
            readings=summary.readings, late=summary.late, broken=broken, unknown_units=summary.unknown_units,
            units=len(spans), unit_months=round(months, 6), window_min=self._window_ms / MINUTE,
            changes=self._tried.changes, today=self.runs[TODAY].result(months),
            changed=self.runs[CHANGED].result(months), conditions=self._conditions(),
            differences=[difference for _, _, difference in sorted(self._gravest, reverse=True)],
        )  # fmt: skip

    def lost(self) -> list[Lost]:
        """The shut-offs that lose their warning, in the order of time; the same one lies within the window."""
        warned = [(unit, time_ms) for unit, time_ms, had in self.runs[TODAY].ends if had]
        return [
            Lost(unit, iso_utc(time_ms))
            for unit, time_ms, had in self.runs[CHANGED].ends
            if not had and any(unit == one and abs(time_ms - then) <= self._window_ms for one, then in warned)
        ]

    def _conditions(self) -> list[ConditionRow]:
        order = list(CATALOGUE)
        names = {name for run in self.runs for name in run.stood}
        for name in names:
            row = self._row(name)
            row.today, row.changed = (run.stood.get(name, Stood()) for run in self.runs)
            row.earlier_by, row.later_by = (
                spread.spans() if (spread := self._shifts.get((name, kind))) else None for kind in _SHIFTED
            )
        return [self._row(name) for name in sorted(names, key=lambda n: order.index(n) if n in order else len(order))]


def _kind(today: Standing | None, changed: Standing | None) -> tuple[Kind, int | None]:
    """What became of an alarm, and by how many ms later it is with the change."""
    if today is not None and changed is not None:
        later_ms = changed.raised_ms - today.raised_ms
        if later_ms:
            return ("later" if later_ms > 0 else "earlier"), later_ms
        return ("same" if today.high_ms == changed.high_ms else "priority"), 0
    if today is not None:
        return ("joined" if today.beside else "gone"), None
    return ("split" if changed is not None and changed.beside else "new"), None


def _moment(time_ms: int | None) -> str | None:
    return None if time_ms is None else iso_utc(time_ms)
