"""What is known of a facility's backup, as it is stored: gauges read, proofs, flows in use, what was judged."""

from __future__ import annotations

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow


class GaugeRead(msgspec.Struct, frozen=True, kw_only=True):
    """The last reading of a cylinder's gauge; `entered` is what was read, with its unit."""

    kpa: float
    at_ms: int
    entered: str = ""
    who: str = ""


class Proof(msgspec.Struct, frozen=True, kw_only=True):
    """The last check of a unit with a reference analyser."""

    flow_lpm: float
    at_ms: int
    passed: bool


class InUse(msgspec.Struct, frozen=True, kw_only=True):
    """The flow that a unit gave when it was last seen to give any: what its backup has to carry if it fails."""

    flow_lpm: float
    at_ms: int


class CylinderNow(msgspec.Struct, frozen=True, kw_only=True):
    """A cylinder as it was judged.

    state: "good"; "change" (under its change pressure); "unread" (never, or too long ago: see read_ms); "no-size" (the
    site file does not say its water capacity). usable_l is what it is counted on for, 0 unless good.
    """

    id: str
    place: str
    state: str
    usable_l: float = 0.0
    kpa: float | None = None
    read_ms: int | None = None
    good_until_ms: int = 0  # from then on its reading is too old

    def good(self, now_ms: int) -> bool:
        """Whether it can be changed over to, as far as is known at now_ms."""
        return self.state == "good" and now_ms < self.good_until_ms


class Spare(msgspec.Struct, frozen=True, kw_only=True):
    """A unit that nobody uses and that was lately seen to hold good_to_lpm."""

    unit: str
    good_to_lpm: float
    proven_ms: int
    warm_up_min: float


class WardBackup(msgspec.Struct, frozen=True, kw_only=True):
    """One ward's backup at at_ms: flow in use, how long its good cylinders carry it together, and what is there.

    lasts_min is None while no flow is in use. `why` says what is wrong, "" when nothing is: see watch.py. ward "" holds
    the cylinders that stand in no ward.
    """

    ward: str
    at_ms: int
    flow_lpm: float
    need_min: float
    usable_l: float
    lasts_min: float | None
    cylinders: tuple[CylinderNow, ...] = ()
    spares: tuple[Spare, ...] = ()
    flows: dict[str, float] = {}  # of each unit in use, L/min
    why: str = ""


class Watching(msgspec.Struct, kw_only=True):
    """Where a ward's `backup-low` stands: `why` it is raised and of which cylinders; what it may become, since when."""

    why: str = ""
    named: tuple[str, ...] = ()
    next_why: str = ""
    next_ms: int | None = None


class Known(msgspec.Struct, kw_only=True):
    """All of it; one status document."""

    read: dict[str, GaugeRead] = {}
    proofs: dict[str, Proof] = {}
    in_use: dict[str, InUse] = {}
    watching: dict[str, Watching] = {}
    wards: dict[str, WardBackup] = {}
    judged_ms: int = 0

    def fold(self, row: JournalRow) -> str:
        """Take in one journal row; returns the cylinder or unit of which something new is known, else ""."""
        if row.kind == entries.CYLINDER_READ:
            return self._fold_gauge(row)
        return self._fold_proof(row) if row.kind == entries.PURITY_PROOF else ""

    def _fold_gauge(self, row: JournalRow) -> str:
        cylinder, kpa = row.body.get("cylinder"), row.body.get("kpa")
        if not isinstance(cylinder, str) or not isinstance(kpa, int | float) or kpa < 0:
            return ""
        before = self.read.get(cylinder)
        if before is not None and before.at_ms > row.at_ms:
            return ""
        entered = str(row.body.get("entered", ""))
        self.read[cylinder] = GaugeRead(kpa=float(kpa), at_ms=row.at_ms, entered=entered, who=row.who)
        return cylinder

    def _fold_proof(self, row: JournalRow) -> str:
        flow, before = row.body.get("flow_lpm"), self.proofs.get(row.unit)
        if not row.unit or not isinstance(flow, int | float) or (before is not None and before.at_ms > row.at_ms):
            return ""
        passed = row.body.get("result") == entries.PASS
        self.proofs[row.unit] = Proof(flow_lpm=float(flow), at_ms=row.at_ms, passed=passed)
        return row.unit
