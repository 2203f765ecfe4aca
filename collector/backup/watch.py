"""The condition `backup-low` of a ward: what is wrong with its backup, told once it has stood for a while; pure.

Rules of this file: judged at most once a minute, at moments that do not depend on how the collector turns, from what is
stored then; so a restart goes on as if there had been none. What people enter counts at once; what flows do must last.
"""

from __future__ import annotations

from typing import Final

from collector.backup.known import WardBackup, Watching
from collector.rules.catalogue import BACKUP_CHANGE_ACTION, BACKUP_UNREAD_ACTION, CATALOGUE, action_text
from collector.rules.events import CLEARED, RAISED, UPDATED, Event, Evidence, Priority
from collector.rules.limits import MINUTE

NAME: Final = "backup-low"
#: What can be wrong, the worst last: gauges to be read before it is known whether the backup lasts; a cylinder under
#: its change pressure; cylinders that do not last at the ward's flow.
UNREAD: Final = "unread"
CHANGE: Final = "change"
SHORT: Final = "short"
_RANK: Final = ("", UNREAD, CHANGE, SHORT)
#: Chosen, no source: a flow that is turned up for a moment is no need, and gauges are read on the round.
_AFTER_MS: Final = {UNREAD: 30 * MINUTE, CHANGE: 0, SHORT: 3 * MINUTE}
_OFF_MS: Final = 10 * MINUTE
#: It ends with a quarter to spare, so that a flow about the limit is one alarm and not many.
_TO_SPARE: Final = 1.25
#: A backup that is short may cost a patient the oxygen, later (IEC 60601-1-8: medium); the others ask for a look.
_PRIORITY: Final[dict[str, Priority]] = {UNREAD: "low", CHANGE: "low", SHORT: "medium"}
_ACTION: Final = {UNREAD: BACKUP_UNREAD_ACTION, CHANGE: BACKUP_CHANGE_ACTION, SHORT: CATALOGUE[NAME].action}


def what_is_wrong(backup: WardBackup, watching: Watching) -> str:
    """UNREAD, CHANGE, SHORT or "". A ward for which no cylinder is listed has its backup elsewhere: nothing is said."""
    if not backup.cylinders:
        return ""
    standing = SHORT in (watching.why, watching.next_why)
    need = backup.need_min * (_TO_SPARE if standing else 1.0)
    states = {cylinder.state for cylinder in backup.cylinders}
    lacking = backup.lasts_min is not None and backup.lasts_min < need
    if lacking and (UNREAD not in states or watching.why == SHORT):  # it is no better for a reading that grew old
        return SHORT
    if CHANGE in states:
        return CHANGE
    return UNREAD if lacking else ""


def follow(backup: WardBackup, watching: Watching, now_ms: int, *, at_once: bool) -> Event | None:
    """Move one ward's condition along; `at_once` when somebody has just entered something about its backup."""
    found = what_is_wrong(backup, watching)
    if found == watching.why:
        watching.next_why, watching.next_ms = "", None
        return _renamed(backup, watching, now_ms)
    if watching.next_ms is None or watching.next_why != found:
        watching.next_why, watching.next_ms = found, now_ms
    worse = _RANK.index(found) > _RANK.index(watching.why)
    wait_ms = _AFTER_MS[found] if worse else 0 if at_once else _OFF_MS
    if now_ms - watching.next_ms < wait_ms:
        return None
    before, watching.why = watching.why, found
    since_ms, watching.next_why, watching.next_ms = watching.next_ms, "", None
    watching.named = _named(backup, found)
    kind = CLEARED if not found else UPDATED if before else RAISED
    return _event(backup, kind, found or before, now_ms, since_ms)


def _named(backup: WardBackup, why: str) -> tuple[str, ...]:
    return tuple(c.id for c in backup.cylinders if c.state == why) if why in (UNREAD, CHANGE) else ()


def _renamed(backup: WardBackup, watching: Watching, now_ms: int) -> Event | None:
    """The same is wrong, but of other cylinders than those that were named."""
    named, watching.named = watching.named, _named(backup, watching.why)
    return _event(backup, UPDATED, watching.why, now_ms, now_ms) if named != watching.named else None


def _event(backup: WardBackup, kind: str, why: str, now_ms: int, since_ms: int) -> Event:
    condition, named = CATALOGUE[NAME], list(_named(backup, why))
    lasts = backup.lasts_min
    evidence: Evidence = {
        "why": why, "flow_lpm": round(backup.flow_lpm, 2), "lasts_min": None if lasts is None else int(lasts),
        "need_min": round(backup.need_min), "usable_l": int(backup.usable_l), "cylinders": named,
        "named": ", ".join(named), "seen_for_s": (now_ms - since_ms) // 1000,
    }  # fmt: skip
    return Event(
        time_ms=now_ms, unit="", ward=backup.ward, event=kind, condition=NAME, priority=_PRIORITY[why],
        audience=condition.audience, evidence=evidence,
        action="" if kind == CLEARED else action_text(_ACTION[why], evidence) + _also_unread(backup, why),
    )  # fmt: skip


def _also_unread(backup: WardBackup, why: str) -> str:
    """What else to do where a cylinder is nearly empty and nobody knows whether the others last."""
    lacking = backup.lasts_min is not None and backup.lasts_min < backup.need_min
    named = ", ".join(_named(backup, UNREAD))
    return " " + action_text(_ACTION[UNREAD], {"named": named}) if why == CHANGE and lacking and named else ""
