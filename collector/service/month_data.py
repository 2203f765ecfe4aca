"""All that a month's report is made of, and what is worked out of it once for several of its parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cached_property
from itertools import groupby

from collector.rules.entries import PURITY_PROOF, JournalRow
from collector.rules.unitrow import UnitRow
from collector.service.alarm_load import Raised, raised_of
from collector.service.given import Bucket, Given, given
from collector.service.month import Month
from collector.service.proof import Proof, proof_of
from collector.service.reliability import Fleet, Record, fleet_figures
from collector.service.warned import Raised as Answerable
from collector.service.warned import Warned, alarms_raised, warnings
from collector.site import Site, Unit


class MonthData:
    """Rows in the order of `seq` from the start of the record; hours and minutes are rollups by unit, up to covered_ms.

    hours are those of the month, minutes those that `given.needs_minutes` asked for, by unit and hour. `ward` limits
    everything to the units that stand there now.
    """

    def __init__(
        self, site: Site, month: Month, rows: Sequence[JournalRow], units: Mapping[str, UnitRow],
        hours: Mapping[str, Sequence[Bucket]], minutes: Mapping[str, Mapping[int, Sequence[Bucket]]],
        covered_ms: int, ward: str | None = None,
    ) -> None:  # fmt: skip
        self.site, self.month, self.ward, self.known = site, month, ward, units
        self.covered_ms = min(covered_ms, month.until_ms)
        self.rows = [row for row in rows if row.at_ms < month.until_ms]
        self.hours, self.minutes = hours, minutes
        self.units: tuple[Unit, ...] = site.units if ward is None else site.units_of(ward)
        self.places = [place for place in site.places() if ward in (None, place.id)]

    @cached_property
    def since_ms(self) -> int:
        """When the record begins: the first reading or finding there is; month's end where there is none."""
        found = [row.at_ms for row in self.rows if row.origin == "collector"]
        found += [made.seen[0][0] for made in self.given.values() if made.seen]
        return min(found, default=self.month.until_ms)

    @property
    def has_record(self) -> bool:
        """Whether anything had been written down by the month's end, by the collector or by people."""
        return bool(self.rows)

    @cached_property
    def data_days(self) -> int:
        """Days of the month on which there was any reading of these units."""
        return len({self.month.day_of(hour.at_ms) for unit in self.units for hour in self.hours.get(unit.id, ())})

    @cached_property
    def given(self) -> dict[str, Given]:
        """What each unit gave and used."""
        return {unit.id: self._given(unit.id, self.hours.get(unit.id, ())) for unit in self.site.units}

    @cached_property
    def fleet(self) -> Fleet:
        """Reliability of every unit and ward over the month."""
        window = (self.month.from_ms, self.month.until_ms)
        return fleet_figures(
            Record(site=self.site, rows=self.rows, units=self.known, given=self.given, window=window,
                   since_ms=self.since_ms, now_ms=max(self.month.from_ms, self.covered_ms))
        )  # fmt: skip

    @cached_property
    def warned(self) -> list[Warned]:
        """The month's warnings of a shut-off, and shut-offs without one, of these units."""
        own = {unit.id for unit in self.units}
        found = warnings(self.rows, self.month.from_ms, self.month.until_ms)
        return [one for one in found if one.unit in own]

    @cached_property
    def told(self) -> dict[str, list[Raised]]:
        """The month's alarms told to each ward."""
        found = raised_of(self.rows)
        return {
            place.id: [alarm for alarm in found.get(place.id, ()) if self.during(alarm.from_ms)]
            for place in self.places
        }

    @cached_property
    def answerable(self) -> list[Answerable]:
        """The month's medium and high alarms told to these wards, with when they were acknowledged."""
        wards = {place.id for place in self.places}
        return [
            alarm
            for alarm in alarms_raised(self.rows)
            if alarm.ward in wards and "ward" in alarm.audience and alarm.priority != "low"
            and self.during(alarm.raised_ms)
        ]  # fmt: skip

    @cached_property
    def proofs(self) -> dict[str, Proof]:
        """Each unit's last check of the month."""
        return {row.unit: proof_of(row) for row in self.rows if row.kind == PURITY_PROOF and self.during(row.at_ms)}

    def during(self, at_ms: int) -> bool:
        """Whether a moment lies in the month, as far as it has come."""
        return self.month.from_ms <= at_ms < self.month.until_ms

    def alarms_by_day(self, ward: str | None = None) -> Counter[tuple[date, str]]:
        """Alarms told to a ward, or to all of these, by day and priority."""
        found = (alarm for place, told in self.told.items() if ward in (None, place) for alarm in told)
        return Counter((self.month.day_of(alarm.from_ms), alarm.priority) for alarm in found)

    def given_by_day(self) -> dict[date, tuple[int, float, float]]:
        """Units heard of, unit-hours running, and running with adequate output, by day."""
        days: dict[date, tuple[int, float, float]] = {}
        for unit in self.units:
            for day, hours in groupby(self.hours.get(unit.id, ()), lambda hour: self.month.day_of(hour.at_ms)):
                made = self._given(unit.id, list(hours))
                heard, running_h, adequate_h = days.get(day, (0, 0.0, 0.0))
                days[day] = heard + 1, running_h + ran_h(made), adequate_h + made.adequate_h
        return days

    def _given(self, unit: str, hours: Sequence[Bucket]) -> Given:
        return given(hours, self.minutes.get(unit, {}), self.site.model_of(unit))


def ran_h(made: Given) -> float:
    """Hours that a unit was seen running, whatever it gave."""
    return made.adequate_h + made.inadequate_h + made.unmeasured_h
