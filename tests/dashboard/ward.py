"""Wards of four, twelve and forty units in a real store that goes on living, to look at in a browser."""

import threading
import time
from contextlib import contextmanager

import msgspec

from collector.backup.known import CylinderNow, Known, Spare, WardBackup
from collector.rules import entries
from collector.rules.catalogue import CATALOGUE, action_text
from collector.rules.entries import JournalEntry
from collector.rules.events import Evidence
from tests.dashboard.estimates import outlook
from tests.dashboard.hospital import MINUTE, Hospital, good

HOUR = 60 * MINUTE
WARDS = {"few": 4, "middle": 12, "many": 40}
EVIDENCE: Evidence = {"limit_pct": 82, "falls_under": "82 %", "limit_lpm": 5.0, "units_lost": 4}


def site_text():
    """Wards by their number of units; in `many` one unit is out of service."""
    parts = ['[facility]\nid = "sim-lakeside"\nname = "Lakeside (invented)"\ntimezone = "Africa/Nairobi"\n']
    parts += ['[[model]]\nid = "five"\nrated_flow_lpm = 5.0\nrated_power_w = 350\n']
    n = 0
    for ward, count in WARDS.items():
        parts.append(f'[[ward]]\nid = "{ward}"\nname = "{ward.title()}"\n')
        parts.append(f'[[cylinder]]\nid = "{ward}-e1"\nward = "{ward}"\nwater_l = 9.4\n')
        for _ in range(count):
            n += 1
            used = "false" if n == 56 else "true"
            parts.append(f'[[unit]]\nid = "unit-{n:02}"\nmodel = "five"\nward = "{ward}"\nin_service = {used}\n')
    return "\n".join(parts)


class LiveWards:
    """The store, its units and alarms; every change is written as the collector writes it."""

    def __init__(self, folder):
        self.lock = threading.RLock()
        self.silent: set[str] = set()
        self.heard_s_ago = 0.0
        self.one = Hospital(folder / "data", site_text(), time.time_ns() // 1_000_000 - 2 * MINUTE)
        self.one.play(2, lambda unit, minute: None if unit == "unit-56" else good(unit, minute))
        self.beat()

    @property
    def data_dir(self):
        return self.one.data_dir

    def beat(self):
        """The collector lives, and every unit that is not silent has just been heard."""
        with self.lock:
            self.one.now_ms = time.time_ns() // 1_000_000
            rows = [msgspec.structs.replace(row, last_ms=self.one.now_ms) for row in self.one.store.load_units()
                    if row.last_ms and row.unit not in self.silent]  # fmt: skip
            with self.one.store.transaction():
                self.one.store.save_units(rows)
            self.one.say(heard_s_ago=self.heard_s_ago)

    def set(self, unit, **fields):
        """Change what is known of a unit; returns the moment on this machine's clock, in ms."""
        with self.lock:
            row = next(row for row in self.one.store.load_units() if row.unit == unit)
            with self.one.store.transaction():
                self.one.store.save_units([msgspec.structs.replace(row, **fields)])
            return time.time_ns() / 1e6

    def write(self, *news):
        """Add rows to the journal and fold them."""
        with self.lock:
            with self.one.store.transaction():
                rows = self.one.store.append_journal(list(news), time.time_ns() // 1_000_000)
            self.one.fold()
            return rows

    def alarm(self, unit, condition, event="raised", ward="many", forecast=None, priority=None, **evidence):
        """Raise or clear an alarm; a ward's when unit is empty."""
        known = CATALOGUE[condition]
        body = {"event": event, "priority": priority or known.priority, "audience": list(known.audience),
                "cause": "unknown", "action": action_text(known.action, EVIDENCE), "evidence": evidence}  # fmt: skip
        if forecast:
            made = outlook(4.0, (0.0, 2.0, 9.0), (9.0, 16.0, 30.0), forecast)
            body["forecast"] = {name: getattr(made, name) for name in ("amber_in_min", "red_in_min", "shutdown_in_min")}
        return self.write(JournalEntry(at_ms=time.time_ns() // 1_000_000, kind=entries.CONDITION, unit=unit, ward=ward,
                                       condition=condition, origin="collector", body=body))[0]  # fmt: skip

    def acknowledge(self, unit, condition, ward="many", who="N. Example"):
        """A nurse says that she knows."""
        row = max(row.event_seq for row in self.one.board.alarms.values() if row.unit == unit)
        return self.write(JournalEntry(at_ms=time.time_ns() // 1_000_000, kind=entries.ACKNOWLEDGE, unit=unit,
                                       ward=ward, condition=condition, who=who, role="ward", origin="dashboard",
                                       body={"event_seq": row}))  # fmt: skip

    def tell(self, row, person="Night nurse"):
        """A message about an alarm went out."""
        self.write(
            JournalEntry(
                at_ms=time.time_ns() // 1_000_000,
                kind=entries.MESSAGE_SENT,
                origin="deliver",
                body={"way": "phone", "person": person, "alarms": [{"about": f"alarm-{row.seq}"}]},
            )
        )

    def back_up(self, ward="many", spare="unit-20"):
        """A good cylinder and a proven spare unit."""
        now_ms = self.one.now_ms
        cylinder = CylinderNow(id=f"{ward}-e1", place="by the nurses' desk", state="good", usable_l=900.0,
                               kpa=9000.0, read_ms=now_ms - HOUR, good_until_ms=now_ms + 20 * HOUR)  # fmt: skip
        found = WardBackup(
            ward=ward, at_ms=now_ms, flow_lpm=9.0, need_min=60.0, usable_l=900.0, lasts_min=100.0,
            flows={f"unit-{n:02}": 4.0 for n in range(1, 57)}, cylinders=(cylinder,),
            spares=(Spare(unit=spare, good_to_lpm=5.0, proven_ms=now_ms - HOUR, warm_up_min=10.0),),
        )  # fmt: skip
        with self.lock, self.one.store.transaction():
            self.one.store.set_status("backup", msgspec.to_builtins(Known(wards={ward: found})))

    def document(self, name, body):
        """A status document, as the collector writes it."""
        with self.lock, self.one.store.transaction():
            self.one.store.set_status(name, body)

    def calm(self):
        """Clear every alarm, all units heard."""
        self.silent, self.heard_s_ago = set(), 0.0
        for alarm in list(self.one.board.alarms.values()):
            if alarm.active:
                self.alarm(alarm.unit, alarm.condition, "cleared", alarm.ward)
            if alarm.state != "normal":
                self.acknowledge(alarm.unit, alarm.condition, alarm.ward)
        self.beat()

    @contextmanager
    def living(self):
        """Beat twice a second."""
        stop = threading.Event()

        def go():
            while not stop.wait(0.5):
                self.beat()

        thread = threading.Thread(target=go)
        thread.start()
        try:
            yield self
        finally:
            stop.set()
            thread.join()
            self.one.store.close()


def bad_night(wards):
    """A unit that will switch itself off, one very low, one over its flow, one silent; told and partly acknowledged."""
    wards.back_up()
    row = wards.alarm("unit-19", "purity-red")
    wards.alarm("unit-19", "shutdown-expected", forecast=(9.0, 12.0, 21.0))
    wards.tell(row)
    wards.alarm("unit-23", "shutdown-expected", forecast=(35.0, 60.0, 90.0))
    wards.alarm("unit-31", "flow-above-rated")
    wards.alarm("unit-40", "readings-absent")
    wards.silent.add("unit-40")
    wards.set("unit-40", phase="silent", last_ms=wards.one.now_ms - 10 * MINUTE)
    wards.set("unit-19", purity_pct=79.6, flow_lpm=4.0)
    wards.set("unit-27", phase="off", purity_pct=21.0, flow_lpm=0.0)
