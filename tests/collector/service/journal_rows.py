"""Journal rows to try folds on, by the hour. Invented: they show that a fold does what it says."""

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import HOUR


class Rows(list):
    """Rows in the order in which they are written; times in hours from 0."""

    def add(self, hour, kind, unit="u1", ward="", condition="", **body):
        row = JournalRow(
            seq=len(self) + 1, recorded_ms=round(hour * HOUR), at_ms=round(hour * HOUR), kind=kind, unit=unit,
            ward=ward, condition=condition, body=body,
        )  # fmt: skip
        self.append(row)
        return self

    def event(self, hour, event, condition="purity-red", unit="u1", ward="newborn", cause="unknown", **body):
        told = {"event": event, "priority": "high", "audience": ["ward", "engineer"], "cause": cause, **body}
        return self.add(hour, entries.CONDITION, unit, ward, condition, **told)

    def failed(self, hour, until=None, **more):
        """A unit's output is too low from an hour to another."""
        self.event(hour, "raised", **more)
        return self if until is None else self.event(until, "cleared", **more)

    def out(self, hour, until=None, unit="u1", **body):
        self.add(hour, entries.OUT_OF_SERVICE, unit, **body)
        return self if until is None else self.add(until, entries.RETURN_TO_SERVICE, unit)

    def work(self, hour, until=None, unit="u1", fault_found="", **body):
        work = f"{unit}-{len(self)}"
        self.add(hour, entries.WORK_OPENED, unit, work=work, **body)
        if until is None:
            return self
        return self.add(until, entries.WORK_CLOSED, unit, work=work, fault_found=fault_found, cause="valve-fault")

    def hours(self, day, observed_h, unit="u1"):
        return self.add(24 * day, entries.SERVICE_HOURS, unit, observed_h=observed_h, inferred_h=0.0, unknown_h=0.0)
