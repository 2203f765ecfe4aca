"""The changeover card: what to change over to, where it is, how long it lasts, as one plain instruction; pure.

Rules of this file: nothing is named that is not known to be good now. Two units that fail together are never sent to
the same cylinder or spare unit. A cylinder comes first, since it gives oxygen at once and without power; a spare unit
follows it, since it lasts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import floor
from typing import Final

import msgspec

from collector.backup.known import CylinderNow, Spare, WardBackup
from collector.backup.ward import GIVES_NOTHING
from collector.reading import iso_utc
from collector.rules.alarms import Alarm, urgency
from collector.rules.limits import MINUTE
from collector.site import UNASSIGNED, Site

#: Alarms of output and supply: those on which a ward changes over, or makes ready to.
CARRIES: Final = GIVES_NOTHING | {"shutdown-expected", "purity-amber", "purity-red"}
#: A judgement older than this says nothing of who is spare: somebody may use the unit by now (the collector judges each
#: minute).
SPARES_MS: Final = 10 * MINUTE
#: WHO, Technical specifications for PSA plants, 2020 (feeds fire; oil and grease; secured); the rest common practice.
CAUTIONS: Final = (
    "Oxygen feeds fire: no smoking, flame, oil or grease.",
    "Open the valve slowly.",
    "Secure the cylinder by chain or trolley.",
    "The ward's protocol comes first.",
)
_ROUGH_MIN: Final = 10  # a cylinder that lasts less is told, but not as the way out


class Card(msgspec.Struct, frozen=True, kw_only=True):
    """What to change over to. lasts_min is of the cylinders, rounded down; None without one. read: when gauges were."""

    say: str
    flow_lpm: float | None
    cylinders: tuple[str, ...] = ()
    spare: str = ""
    lasts_min: int | None = None
    read: str | None = None
    cautions: tuple[str, ...] = CAUTIONS


def told_min(minutes: float) -> int:
    """Minutes as they are told, rounded down: to 5 under an hour, to 15 under ten hours, then to whole hours."""
    step = 5 if minutes < 60 else 15 if minutes < 600 else 60
    return floor(minutes / step) * step


def lasts_text(minutes: float) -> str:
    """How long gas lasts, as it is told: it must not change with every minute."""
    whole = told_min(minutes)
    if whole < 60:
        return f"{whole} min" if whole else "less than 5 min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def cards(
    site: Site, backups: Mapping[str, WardBackup], ward: str, alarms: Iterable[Alarm], now_ms: int
) -> dict[tuple[str, str, str], Card]:
    """The cards of a ward's alarms about output and supply, by alarm: one a unit, the most urgent is served first."""
    backup = _known(site, backups, ward)
    if backup is None:
        return {}
    found: dict[tuple[str, str, str], Card] = {}
    served: dict[str, Card] = {}
    free, spares = _free(backup, now_ms)
    for alarm in sorted((a for a in alarms if a.speaks and a.condition in CARRIES and a.ward == ward), key=urgency):
        if alarm.unit not in served:
            if alarm.unit:
                card = _unit_card(site, backups, backup, alarm, free, spares, now_ms)
            else:
                card = _ward_card(backup, alarm, free, now_ms)
                free = []
            served[alarm.unit] = card
            free = [c for c in free if c.id not in card.cylinders]
            spares = [s for s in spares if s.unit != card.spare]
        found[alarm.key] = served[alarm.unit]
    return found


def ready_card(site: Site, backups: Mapping[str, WardBackup], ward: str, unit: str, now_ms: int) -> Card | None:
    """What a unit without an alarm would be changed over to; None where nothing of a backup is known."""
    backup = _known(site, backups, ward)
    if backup is None:
        return None
    alarm = Alarm(unit=unit, ward=ward, condition="")
    free, spares = _free(backup, now_ms)
    spares = [s for s in spares if s.unit != unit]
    return _unit_card(site, backups, backup, alarm, free, spares, now_ms)


def _known(site: Site, backups: Mapping[str, WardBackup], ward: str) -> WardBackup | None:
    """The ward's backup; None before it is judged, and where no cylinder is listed at all and no unit is spare."""
    backup = backups.get(ward)
    return backup if backup is not None and (site.cylinders or backup.spares) else None


def _free(backup: WardBackup, now_ms: int) -> tuple[list[CylinderNow], list[Spare]]:
    spares = backup.spares if now_ms - backup.at_ms <= SPARES_MS else ()
    return [c for c in backup.cylinders if c.good(now_ms)], list(spares)


def _unit_card(
    site: Site, backups: Mapping[str, WardBackup], backup: WardBackup, alarm: Alarm, free: list[CylinderNow],
    spares: list[Spare], now_ms: int,
) -> Card:  # fmt: skip
    flow = backup.flows.get(alarm.unit) or site.model_of(alarm.unit).rated_flow_lpm
    spare = next((s for s in reversed(spares) if s.good_to_lpm >= flow), None)  # the least that is enough
    best = max(free, key=lambda c: _left_min([c], alarm, flow, now_ms), default=None)
    minutes = _left_min([best], alarm, flow, now_ms) if best else 0.0
    if best is not None and minutes >= _ROUGH_MIN:
        said = f"Change over to {_named(best)}: lasts about {lasts_text(minutes)} at {flow:.1f} L/min."
        then = f" Then to {_spare_text(spare)}." if spare else _call(minutes, backup)
        return Card(say=said + then, flow_lpm=flow, cylinders=(best.id,), spare=spare.unit if spare else "",
                    lasts_min=told_min(minutes), read=_read(best))  # fmt: skip
    if spare is not None:
        return Card(say=f"Change over to {_spare_text(spare)}.", flow_lpm=flow, spare=spare.unit)
    return Card(say=_nothing(site, backups, backup, flow, now_ms), flow_lpm=flow)


def _call(minutes: float, backup: WardBackup) -> str:
    return f" Call for another cylinder{' at once' if minutes < backup.need_min else ''}."


def _ward_card(backup: WardBackup, alarm: Alarm, free: list[CylinderNow], now_ms: int) -> Card:
    """The whole ward is without power: cylinders only, all of them together."""
    flow = backup.flow_lpm
    if not free:
        return Card(say="No cylinder of this ward is known to be good: follow the ward's protocol and call for "
                        "cylinders now.", flow_lpm=flow)  # fmt: skip
    names = " and ".join(map(_named, free))
    if not flow:
        return Card(say=f"Change over to {names}.", flow_lpm=flow, cylinders=tuple(c.id for c in free))
    minutes = _left_min(free, alarm, flow, now_ms)
    together = "together they last" if len(free) > 1 else "it lasts"
    return Card(say=f"Change over to {names}: {together} about {lasts_text(minutes)} at the ward's {flow:.1f} L/min. "
                    "Call for more at once.",
                flow_lpm=flow, cylinders=tuple(c.id for c in free), lasts_min=told_min(minutes),
                read=min(filter(None, map(_read, free)), default=None))  # fmt: skip


def _left_min(cylinders: Iterable[CylinderNow], alarm: Alarm, flow_lpm: float, now_ms: int) -> float:
    """How long these last together; less what may have been drawn since the failure, if it was after the reading."""
    found = list(cylinders)
    minutes = sum(c.usable_l for c in found) / flow_lpm
    if alarm.condition in GIVES_NOTHING:
        since_ms = max(alarm.raised_ms or now_ms, *(c.read_ms or 0 for c in found))
        minutes -= max(0, now_ms - since_ms) / MINUTE
    return max(0.0, minutes)


def _named(cylinder: CylinderNow) -> str:
    return f"cylinder {cylinder.id}" + (f" ({cylinder.place})" if cylinder.place else "")


def _spare_text(spare: Spare) -> str:
    warm = f", after {spare.warm_up_min:g} min of warm-up" if spare.warm_up_min else ""
    return f"spare unit {spare.unit} (proven to {floor(spare.good_to_lpm * 2) / 2:.1f} L/min){warm}"


def _read(cylinder: CylinderNow) -> str | None:
    return None if cylinder.read_ms is None else iso_utc(cylinder.read_ms)


def _nothing(
    site: Site, backups: Mapping[str, WardBackup], backup: WardBackup, flow: float, now_ms: int
) -> str:  # fmt: skip
    """No backup of the ward is left: the cylinder elsewhere that lasts longest, those of no ward first."""
    others = [
        (other.ward not in ("", UNASSIGNED), -c.usable_l, c, other.ward)
        for other in backups.values() if other.ward != backup.ward
        for c in other.cylinders if c.good(now_ms) and c.usable_l / flow >= _ROUGH_MIN
    ]  # fmt: skip
    said = "No backup of this ward is known to be good and free: follow the ward's protocol."
    if not others:
        return f"{said} Call for a cylinder now."
    _, litres, cylinder, ward = min(others, key=lambda one: (one[0], one[1], one[2].id))
    where = f" in {site.ward(ward).title}" if ward not in ("", UNASSIGNED) else ""
    return f"{said} Ask for {_named(cylinder)}{where}: lasts about {lasts_text(-litres / flow)} at {flow:.1f} L/min."
