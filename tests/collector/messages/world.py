"""A facility whose journal is made by hand, and a post that takes or refuses letters: the plan is seen over time."""

from collector.messages.carrier import entry_of
from collector.messages.happenings import happenings
from collector.messages.ladder import Ladder
from collector.messages.ledger import Ledger
from collector.messages.plan import SECOND, plan
from collector.messages.ways import parse_ways
from collector.messages.words import text_of
from collector.rules import entries
from collector.rules.alarms import AlarmBoard
from collector.rules.catalogue import CATALOGUE
from collector.rules.entries import JournalRow
from collector.rules.limits import MINUTE
from collector.site import parse_site

#: Noon in Banjul, which keeps UTC.
NOON_MS = 1_790_078_400_000
SITE = """
[facility]
id = "lakeside"
timezone = "Africa/Banjul"
[[ward]]
id = "newborn"
name = "Newborn ward"
[[ward]]
id = "childrens"
name = "Children's ward"
"""
SITE += "".join(
    f'[[unit]]\nid = "u{n:02}"\nward = "{ward}"\n' for n, ward in enumerate(["newborn"] * 30 + ["childrens"] * 10, 1)
)
WAYS = """
[[way]]
id = "newborn-phone"
url = "json://127.0.0.1/n"
role = "ward"
wards = ["newborn"]
[[way]]
id = "engineer"
url = "json://127.0.0.1/e"
role = "engineer"
[[way]]
id = "on-call"
url = "json://127.0.0.1/o"
role = "on-call"
[[way]]
id = "planner"
url = "json://127.0.0.1/p"
role = "planner"
"""


class World:
    """Time in minutes after noon; `refuse` holds the ways whose gateway takes nothing."""

    def __init__(self, ways=WAYS, site=SITE):
        self.site = parse_site(site)
        self.ladder = Ladder(self.site, parse_ways(ways, self.site))
        self.now_ms, self.rows, self.refuse, self.lost = NOON_MS, [], set(), None
        self.board, self.ledger = AlarmBoard(), Ledger()

    def write(self, entry, at_ms=None):
        row = JournalRow(
            **{name: getattr(entry, name) for name in entry.__struct_fields__},
            seq=len(self.rows) + 1, recorded_ms=self.now_ms,
        )  # fmt: skip
        self.rows.append(row)
        self.board.fold(row)
        self.ledger.fold(row)
        return row

    def event(self, event, condition, unit, ward="newborn", priority=None, **evidence):
        known = CATALOGUE[condition]
        body = {"event": event, "priority": priority or known.priority, "audience": list(known.audience),
                "cause": "unknown", "action": known.action, "evidence": evidence}  # fmt: skip
        return self.write(entries.JournalEntry(
            at_ms=self.now_ms, kind=entries.CONDITION, unit=unit, ward=ward, condition=condition, body=body,
        ))  # fmt: skip

    def raised(self, condition, unit="u01", ward="newborn", **more):
        return self.event("raised", condition, unit, ward, **more)

    def cleared(self, condition, unit="u01", ward="newborn"):
        return self.event("cleared", condition, unit, ward)

    def does(self, kind, unit="u01", condition="", ward="newborn", **body):
        return self.write(entries.JournalEntry(
            at_ms=self.now_ms, kind=kind, unit=unit, ward=ward, condition=condition, who="A nurse", body=body,
        ))  # fmt: skip

    def happenings(self):
        return happenings(self.board, self.ledger.tests.values(), self.lost, self.now_ms)

    def turn(self):
        """What is sent now, as {way: [units or wards]}; each letter's row is written."""
        letters = plan(self.ladder, self.happenings(), self.ledger, self.now_ms)
        for letter in letters:
            said = "the gateway could not be reached" if letter.way.id in self.refuse else ""
            self.write(entry_of(letter, text_of(letter, self.site, {}, self.now_ms), said, self.now_ms))
        return {letter.way.id: letter for letter in letters}

    def until(self, minutes, step_s=10):
        """Let time pass to so many minutes after noon; returns (minute, way, units) of every letter."""
        sent = []
        while self.now_ms <= NOON_MS + minutes * MINUTE:
            for way, letter in self.turn().items():
                sent.append(((self.now_ms - NOON_MS) / MINUTE, way, [one.place for one in letter.happenings]))
            self.now_ms += step_s * SECOND
        return sent

    def restart(self):
        """A new process: all it knows is the journal."""
        self.board, self.ledger = AlarmBoard(), Ledger()
        for row in self.rows:
            self.board.fold(row)
            self.ledger.fold(row)
