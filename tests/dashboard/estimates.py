"""Estimates of capacity made by hand: invented values that show how a screen says each of them."""

from typing import Any

import msgspec

from collector.rules.alarms import Alarm
from collector.rules.capacity.now import CapacityNow, CapacityPoint, Outlook
from collector.rules.lifecycle import State
from collector.rules.unitrow import UnitRow

HOUR = 3_600_000
NEVER = (None, None, None)


def outlook(flow=4.0, amber=NEVER, red=NEVER, off=NEVER):
    """When limits are reached, each as (p05, p50, p95) in minutes."""
    made = [dict(zip(("p05", "p50", "p95"), one, strict=True)) for one in (amber, red, off)]
    return Outlook(flow_lpm=flow, amber_in_min=made[0], red_in_min=made[1], shutdown_in_min=made[2])


def seen(at_ms, **fields):
    """A unit that holds its rated 5 L/min and does not fall."""
    usual: dict[str, Any] = {"p05_lpm": 5.6, "p50_lpm": 6.0, "p95_lpm": 6.5, "seen": True, "good_to_lpm": 5.0,
                             "fall_pct_per_day": 0.02, "outlook": outlook()}  # fmt: skip
    return CapacityNow(at_ms=at_ms, **usual | fields)


def falling(at_ms, **fields):
    """A unit that will not hold what it gives."""
    usual = {
        "p05_lpm": 4.1, "p50_lpm": 4.3, "p95_lpm": 4.5, "good_to_lpm": 2.57, "fall_pct_per_day": 31.0,
        "outlook": outlook(4.0, (190.0, 300.0, 530.0), (310.0, 480.0, 830.0), (500.0, 800.0, 1150.0)),
        "turned_up": (outlook(5.0, (0.0, 0.0, 0.0), (2.0, 10.0, 55.0), (90.0, 130.0, 190.0)),
                      outlook(4.5, (12.0, 30.0, 50.0), (70.0, 100.0, 180.0), (200.0, 400.0, None))),
        "cause": "sieve-wet",
        "why": ("Capacity fell by 31 % a day over the last 9 h.", "Power is as usual (341 W of 350 W).",
                "Warm-up took 14 min, usually 8 min."),
    }  # fmt: skip
    return seen(at_ms, **usual | fields)


def unseen(at_ms, **fields):
    """A unit at low flow: nothing can be seen above what it holds."""
    usual = {"p05_lpm": 1.87, "p50_lpm": 5.4, "p95_lpm": 7.9, "seen": False, "good_to_lpm": None,
             "fall_pct_per_day": None, "outlook": None}  # fmt: skip
    return seen(at_ms, **usual | fields)


def failed(at_ms, **fields):
    """A unit that gives too little at any flow."""
    usual = {"p05_lpm": 0.2, "p50_lpm": 0.3, "p95_lpm": 0.4, "good_to_lpm": 0.0, "fall_pct_per_day": 4800.0,
             "outlook": outlook(2.0, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.4, 2.0, 6.0)), "cause": "valve-fault",
             "why": ("Power fell from 340 W to 262 W within a minute.",)}  # fmt: skip
    return seen(at_ms, **usual | fields)


def with_capacity(row: UnitRow, capacity, **fields):
    """A row with this estimate."""
    return msgspec.structs.replace(row, capacity=capacity, **fields)


def foretold(at_ms, unit="u1", ward="east", shutdown=(20.0, 35.0, 50.0), **fields):
    """An alarm that foretells a switch-off, as of at_ms."""
    made = outlook(4.0, (0.0, 2.0, 9.0), (9.0, 16.0, 30.0), shutdown)
    forecast = {name: getattr(made, name) for name in ("amber_in_min", "red_in_min", "shutdown_in_min")}
    usual: dict[str, Any] = {
        "priority": "medium", "audience": ("ward", "engineer"), "action": "Change over to the backup now.",
        "raised_ms": at_ms, "event_ms": at_ms, "forecast": forecast, "state": State.UNACKNOWLEDGED, "active": True,
    }  # fmt: skip
    return Alarm(unit=unit, ward=ward, condition="shutdown-expected", **usual | fields)


def course(unit, until_ms, hours, first=6.2, last=4.3, every=1):
    """Points over so many hours: capacity falls, is not seen in the middle third, and is proven less as it falls."""
    found = []
    until_ms = until_ms // HOUR * HOUR
    for back in range(hours, 0, -every):
        share = 1 - back / hours
        middle = first + (last - first) * share**2
        hidden = 1 / 3 < share < 0.5
        found.append(CapacityPoint(
            unit=unit, hour_ms=until_ms - back * HOUR, p05_lpm=2.0 if hidden else middle - 0.25, p50_lpm=middle,
            p95_lpm=8.0 if hidden else middle + 0.3, seen=not hidden, proven_lpm=5.0 if share < 0.7 else 4.0,
        ))  # fmt: skip
    return found
