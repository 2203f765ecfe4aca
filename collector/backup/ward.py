"""One ward's backup as it stands: flow in use, how long its cylinders carry it, and its spare units; pure.

Rules of this file: what is not known is not counted. A reading of a gauge that is too old, a cylinder under its change
pressure, a unit that is silent or was not lately proven: none of them carries anybody. A flow counts longer than it is
seen: a unit that has lost its supply gives nothing now, and its patient still needs what it gave.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from collector.backup.gas import gives_l
from collector.backup.known import CylinderNow, InUse, Known, Proof, Spare, WardBackup
from collector.rules.alarms import Alarm
from collector.rules.limits import HOUR, LIMITS, MINUTE
from collector.rules.unitrow import OFF, RUNNING, SILENT, WARMING_UP, UnitRow
from collector.site import UNASSIGNED, Cylinder, Site, Ward

#: Alarms of units that give nothing: what they gave is what their backup has to carry.
GIVES_NOTHING: Final = frozenset({"ward-supply-lost", "purity-shutdown", "supply-lost", "flow-absent"})
#: The backup must carry the ward for so many changeover times where `backup_min` says nothing: time to change over, and
#: to bring another cylinder from where they are kept (30 min and more, DOMAIN 6.4: common practice, no source).
CHANGEOVERS: Final = 4.0
#: What a unit without a reading, or with an alarm, gave is counted on for a day, without either for five minutes.
HELD_MS: Final = 24 * HOUR
PAUSE_MS: Final = 5 * MINUTE
#: A gauge that claims to be read so far ahead was read by a clock that is wrong.
_AHEAD_MS: Final = 5 * MINUTE
#: Alarms that say nothing against a unit as a spare.
_HARMLESS: Final = frozenset({"capacity-unproven", "service-due", "verification-due"})


def need_min(ward: Ward) -> float:
    """For how many minutes the ward's backup must carry its flow."""
    return ward.backup_min or CHANGEOVERS * ward.changeover_min


def cylinders_of(site: Site, ward_id: str) -> tuple[Cylinder, ...]:
    """The cylinders that stand in a ward; those without a ward for ""."""
    return tuple(cylinder for cylinder in site.cylinders if cylinder.ward == ward_id)


def usable_l(cylinder: Cylinder, kpa: float) -> float:
    """Litres that may be counted on: real gas in a hot ward, down to the change pressure, less the reserve."""
    return gives_l(cylinder.water_l or 0.0, kpa, cylinder.change_kpa) * (1.0 - cylinder.reserve_share)


def cylinder_now(cylinder: Cylinder, known: Known, now_ms: int, old_ms: float) -> CylinderNow:
    """One cylinder; a gauge read more than old_ms ago says nothing any more."""
    read = known.read.get(cylinder.id)
    if read is None or read.at_ms > now_ms + _AHEAD_MS:
        return CylinderNow(id=cylinder.id, place=cylinder.place, state="unread")
    until_ms = int(read.at_ms + old_ms)
    if now_ms >= until_ms:
        state = "unread"
    elif read.kpa < cylinder.change_kpa:
        state = "change"
    else:
        state = "good" if cylinder.water_l else "no-size"
    litres = usable_l(cylinder, read.kpa) if state == "good" else 0.0
    return CylinderNow(id=cylinder.id, place=cylinder.place, state=state, usable_l=litres, kpa=read.kpa,
                       read_ms=read.at_ms, good_until_ms=until_ms)  # fmt: skip


def ward_alarms(alarms: Iterable[Alarm], row: UnitRow) -> list[Alarm]:
    """The alarms that stand for a unit, its own and those of its ward that name it."""
    named = ((alarm, alarm.evidence.get("units")) for alarm in alarms if alarm.active)
    return [
        a for a, units in named if a.unit == row.unit or (not a.unit and isinstance(units, list) and row.unit in units)
    ]


def follow_flow(known: Known, row: UnitRow, alarms: Iterable[Alarm], now_ms: int) -> None:
    """Remember what flow a unit gives, or gave before it stopped."""
    used = known.in_use.get(row.unit)
    failed = any(alarm.condition in GIVES_NOTHING for alarm in alarms)
    flowing = row.phase in (RUNNING, WARMING_UP) and row.flow_lpm is not None and row.flow_lpm >= LIMITS.on_flow_lpm
    if flowing and not failed:
        known.in_use[row.unit] = InUse(flow_lpm=row.flow_lpm or 0.0, at_ms=now_ms)
        return
    blind = row.phase == SILENT or (row.phase in (RUNNING, WARMING_UP) and row.flow_lpm is None)
    if used is not None and now_ms - used.at_ms > (HELD_MS if failed or blind else PAUSE_MS):
        del known.in_use[row.unit]


def spare_of(site: Site, row: UnitRow, proof: Proof | None, alarms: Iterable[Alarm], now_ms: int) -> Spare | None:
    """The unit as a spare: heard now, not in use, nothing against it, lately proven; None when it is none."""
    no_flow = row.flow_lpm is not None and row.flow_lpm < LIMITS.on_flow_lpm
    idle = row.phase == OFF or (row.phase == RUNNING and no_flow)
    if not idle or any(alarm.condition not in _HARMLESS for alarm in alarms):
        return None
    flow, at_ms = row.proven_lpm, row.proven_ms
    if proof is not None and (at_ms is None or proof.at_ms > at_ms):
        if not proof.passed:
            return None
        flow, at_ms = proof.flow_lpm, proof.at_ms
    if flow is None or at_ms is None or now_ms - at_ms > LIMITS.proven_ms:
        return None
    found = row.capacity
    if found is not None and found.good_to_lpm is not None and found.at_ms >= at_ms:
        flow = min(flow, found.good_to_lpm)
    warm_up_min = site.model_of(row.unit).warm_up_min
    return Spare(unit=row.unit, good_to_lpm=flow, proven_ms=at_ms, warm_up_min=warm_up_min)


def drawn_l(alarms: Iterable[Alarm], flow_lpm: float, since_ms: int, now_ms: int) -> float:
    """Litres that may have been drawn for a unit since it failed, or since the gauges were read."""
    begun = [alarm.raised_ms or now_ms for alarm in alarms if alarm.condition in GIVES_NOTHING]
    return flow_lpm * max(0, now_ms - max(min(begun), since_ms)) / MINUTE if begun else 0.0


def ward_backup(
    site: Site, ward: Ward, known: Known, rows: Iterable[UnitRow], alarms: Iterable[Alarm], removed: Iterable[str],
    now_ms: int,
) -> WardBackup:  # fmt: skip
    """A ward's backup at now_ms; `known.in_use` moves along. `removed`: units out of service."""
    away, alarms = set(removed), list(alarms)
    cylinders, since_ms = _cylinders(site, ward, known, now_ms)
    flows: dict[str, float] = {}
    spares, drawn = [], 0.0
    for row in rows:
        if row.unit in away:
            known.in_use.pop(row.unit, None)
            continue
        own = ward_alarms(alarms, row)
        follow_flow(known, row, own, now_ms)
        if (used := known.in_use.get(row.unit)) is not None:
            flows[row.unit] = used.flow_lpm
            drawn += drawn_l(own, used.flow_lpm, since_ms, now_ms)
        elif (spare := spare_of(site, row, known.proofs.get(row.unit), own, now_ms)) is not None:
            spares.append(spare)
    flow, usable = sum(flows.values()), sum(cylinder.usable_l for cylinder in cylinders)
    lasts = max(0.0, usable - drawn) / flow if flow > 0 else None
    return WardBackup(
        ward=ward.id, at_ms=now_ms, flow_lpm=flow, need_min=need_min(ward), usable_l=usable, lasts_min=lasts,
        cylinders=cylinders, spares=tuple(sorted(spares, key=lambda one: -one.good_to_lpm)), flows=flows,
    )  # fmt: skip


def _cylinders(site: Site, ward: Ward, known: Known, now_ms: int) -> tuple[tuple[CylinderNow, ...], int]:
    """A ward's cylinders, and when the oldest of the readings that count was taken."""
    old_ms = site.facility.gauge_read_h * HOUR
    kept = cylinders_of(site, "" if ward.id == UNASSIGNED else ward.id)
    found = tuple(cylinder_now(cylinder, known, now_ms, old_ms) for cylinder in kept)
    return found, min((one.read_ms or 0 for one in found if one.usable_l), default=0)
