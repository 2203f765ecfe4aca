"""An invented October of two wards, small enough to be counted by hand: what its report must say."""

from datetime import date

from collector.reading import parse_utc
from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.service.given import Bucket, needs_minutes
from collector.service.month import month_of
from collector.service.month_data import MonthData
from collector.site import parse_site

HOUR = 3_600_000
DAY = 24 * HOUR
START = parse_utc("2026-10-01T00:00:00Z")
LATER = parse_utc("2026-11-10T00:00:00Z")
SITE = """
[facility]
id = "lakeside"
name = "Lakeside (invented)"
electricity_cost_per_kwh = 0.5
currency = "EUR"
[[ward]]
id = "newborn"
name = "Newborn"
[[ward]]
id = "medical"
name = "Medical"
[[model]]
id = "five"
rated_flow_lpm = 5
rated_power_w = 350
  [[model.task]]
  id = "filter"
  every_days = 10
  by = "ward"
  parts = ["filter"]
  [[model.task]]
  id = "check"
  every_days = 30
  proof = true
[[part]]
id = "filter"
stock = 1
cost = 4.0
lead_days = 10
[[analyser]]
id = "ref"
calibrated = 2026-06-01
[[unit]]
id = "a"
model = "five"
ward = "newborn"
[[unit]]
id = "b"
model = "five"
ward = "medical"
[[unit]]
id = "c"
model = "five"
ward = "medical"
in_service = false
"""


def site():
    """The hospital's site file."""
    return parse_site(SITE)


def at(day, hour=0.0):
    """A moment of that October, in ms; day 0 and before lie in September."""
    return START + round((day - 1) * DAY + hour * HOUR)


def journal(*found):
    """Rows of (at_ms, kind, unit, body and other fields)."""
    made = []
    for seq, (at_ms, kind, unit, body, *more) in enumerate(found, 1):
        ward = {"a": "newborn", "b": "medical", "c": "medical"}[unit]
        fields = dict(more[0]) if more else {}
        origin = "collector" if kind in (entries.CONDITION, entries.SERVICE_HOURS) else "dashboard"
        made.append(JournalRow(seq=seq, recorded_ms=at_ms, at_ms=at_ms, kind=kind, unit=unit, ward=ward, body=body,
                               origin=origin, **fields))  # fmt: skip
    return made


def event(at_ms, unit, condition, said="raised", priority="medium"):
    """What the rules found of a unit, told to its ward."""
    body = {"event": said, "priority": priority, "audience": ["ward"], "cause": "sieve-worn"}
    return at_ms, entries.CONDITION, unit, body, {"condition": condition}


def done(at_ms, unit, task="filter", outcome=entries.DONE, **parts):
    """Somebody says something of a task."""
    return at_ms, entries.TASK_DONE, unit, {"task": task, "outcome": outcome, "parts": parts}


def proof(at_ms, unit, result=entries.PASS):
    """A check at rated flow."""
    body = {"analyser": "ref", "as_found_pct": 92.0, "as_left_pct": 92.0, "flow_lpm": 5.0, "uncertainty_pct": 2.0,
            "result": result}  # fmt: skip
    return at_ms, entries.PURITY_PROOF, unit, body


def hours(first_day, last_day, purity_pct=93.0, flow_lpm=2.0, power_w=300.0, n=360):
    """Full hours of days (the last one not among them) at steady values."""
    return [
        Bucket(at_ms, n, purity_pct, purity_pct, flow_lpm, flow_lpm, power_w, power_w, power_w)
        for at_ms in range(at(first_day), at(last_day), HOUR)
    ]


def data(rows=(), given=None, text="2026-10", now_ms=LATER, ward=None, at_site=None):
    """What a report of these rows and hours is made of."""
    here = at_site or site()
    month = month_of(text, here.facility.timezone, now_ms)
    found = given or {}
    assert not any(needs_minutes(held, here.model_of(unit)) for unit, held in found.items()), (
        "the tests' hours are whole"
    )
    return MonthData(here, month, list(rows), {}, found, {}, now_ms, ward)


def day_of(day):
    """A day of that October."""
    return date(2026, 10, day)
