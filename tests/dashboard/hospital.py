"""An invented hospital in a real store: readings go through the real rules, events through the real journal."""

import time
from dataclasses import dataclass, field
from pathlib import Path

from collector.clock import ScaledClock
from collector.reading import Reading
from collector.rules import entries
from collector.rules.alarms import AlarmBoard
from collector.rules.engine import RulesEngine
from collector.rules.entries import JournalEntry
from collector.rules.events import event_fields
from collector.site import parse_site
from collector.store import Store, open_store

NAMES = {
    "medical": "Medical",
    "surgical": "Surgical",
    "children": "Children",
    "newborn": "Newborn",
    "maternity": "Maternity",
}
EVERY_MS = 10_000
MINUTE = 60_000


def site_text(units=24, facility="sim-lakeside", per_ward=5):
    """A site of so many units in wards of about five."""
    parts = [f'[facility]\nid = "{facility}"\nname = "Lakeside (invented)"\ntimezone = "Africa/Nairobi"\n']
    wards = max(1, -(-units // per_ward))
    ids = [*NAMES, *(f"ward-{n}" for n in range(6, wards + 1))][:wards]
    parts += [f'[[ward]]\nid = "{ward}"\nname = "{NAMES.get(ward, ward)}"\n' for ward in ids]
    parts.append('[[model]]\nid = "five"\nrated_flow_lpm = 5.0\nrated_power_w = 350\n')
    for n in range(1, units + 1):
        used = "false" if n == 22 else "true"
        parts.append(
            f'[[unit]]\nid = "unit-{n:02}"\nmodel = "five"\nward = "{ids[(n - 1) // per_ward]}"\nin_service = {used}\n'
        )
    return "\n".join(parts)


@dataclass
class Hospital:
    """A store at a moment; play() moves on by readings, say() writes the collector's status."""

    data_dir: Path
    text: str
    now_ms: int
    speed: float = 1.0
    store: Store = field(init=False)

    def __post_init__(self):
        self.site = parse_site(self.text)
        self.store = open_store(self.data_dir, self.site.facility.id, durable=False)
        self.engine, self.seq = RulesEngine(self.site), 0
        self.board = AlarmBoard((), {unit.id for unit in self.site.units if unit.in_service is False})

    def clock(self):
        return ScaledClock(time.time_ns() // 1_000_000, self.now_ms, self.speed)

    def play(self, minutes, values):
        """Readings of each unit every 10 s: values(unit, minute from the start) gives a Reading's fields, or None."""
        start, end = self.now_ms, self.now_ms + int(minutes * MINUTE)
        readings = [
            Reading(unit.id, at_ms, **got)
            for at_ms in range(start, end, EVERY_MS)
            for unit in self.site.units
            if (got := values(unit.id, (at_ms - start) / MINUTE)) is not None
        ]
        events = [event for reading in readings for event in self.engine.read(reading, reading.time_ms)]
        events += self.engine.tick(end)
        self.now_ms = end
        news = [
            JournalEntry(at_ms=e.time_ms, kind=entries.CONDITION, unit=e.unit, ward=e.ward, condition=e.condition,
                         origin="collector", body=event_fields(e))
            for e in events
        ]  # fmt: skip
        with self.store.transaction():
            self.store.add_readings(readings)
            self.store.save_units(self.engine.rows(self.engine.touched))
            self.store.append_journal([*news, *self.engine.take_notes()], time.time_ns() // 1_000_000)
        self.fold()

    def fold(self):
        """Fold what was written by anybody, as the collector does."""
        rows = self.store.journal_after(self.seq, 100_000)
        changed = [alarm for row in rows for alarm in self.board.fold(row)]
        self.seq = rows[-1].seq if rows else self.seq
        with self.store.transaction():
            self.store.save_alarms(changed)
            self.store.set_status("out_of_service", {"units": sorted(self.board.removed_units)})

    def say(self, heard_s_ago=0.0, **status):
        """Write what the collector writes about itself."""
        wall_ms = time.time_ns() // 1_000_000
        clock = {"wall_ms": wall_ms, "at_ms": self.now_ms, "speed": self.speed}
        heard = {
            "at_ms": self.now_ms - int(heard_s_ago * 1000 * self.speed), "wall_ms": wall_ms - int(heard_s_ago * 1000),
            "pid": 1, "started_ms": self.now_ms - 3_600_000, "broker": "127.0.0.1:1883", "broker_state": "connected",
            "caught_up": True, "store_state": "good", "readings": 1234, "rate_per_s": 2.4,
        }  # fmt: skip
        with self.store.transaction():
            self.store.set_status("clock", clock)
            self.store.set_status("site", {"path": "site.toml", "text": self.text})
            self.store.set_status("collector", heard | status)
            self.store.set_status("bridge:east", {"state": "online", "at_ms": self.now_ms})


def good(unit, minute):
    """A unit that does its work."""
    n = int(unit[-2:])
    return {
        "purity_pct": 93.0 + n % 5 * 0.4 + minute % 3 * 0.1,
        "flow_lpm": 1.0 + n % 4,
        "power_w": 320.0 + n,
        "volts": 231.0,
    }


def troubled(unit, minute):
    """Forty minutes in which a good deal goes wrong; see STORY for what each unit shows at the end."""
    got = good(unit, minute)
    match unit:
        case "unit-03":
            return got | {"purity_pct": round(94 - minute * 0.36, 1), "flow_lpm": 5.0}
        case "unit-07":
            return got | {"purity_pct": round(94 - minute * 0.26, 1), "flow_lpm": 4.0}
        case "unit-09":
            return got | {"flow_lpm": 6.2}
        case "unit-15":
            return got if minute < 28 else None
        case "unit-16" | "unit-17" | "unit-18" | "unit-19" if minute > 36:
            return {"volts": 0.0, "power_w": 0.0, "flow_lpm": 0.0, "purity_pct": 21.0}
        case "unit-20":
            return {"volts": 230.0, "power_w": 0.0 if minute < 35 else 330.0, "flow_lpm": 0.0 if minute < 35 else 2.0,
                    "purity_pct": 21.0 + max(0.0, minute - 35) * 8}  # fmt: skip
        case "unit-21":
            return {"volts": 230.0, "power_w": 0.0, "flow_lpm": 0.0, "purity_pct": 21.0}
        case "unit-22":
            return None
        case "unit-23":
            return {"flow_lpm": 2.0, "power_w": 330.0, "volts": 230.0}
    return got
