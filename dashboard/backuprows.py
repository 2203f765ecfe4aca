"""A ward's backup as lines and rows; pure. What is old or not known is never shown as good."""

from __future__ import annotations

from collector.backup.card import lasts_text
from collector.backup.known import CylinderNow, WardBackup
from collector.rules.limits import MINUTE
from dashboard import backup_words as words
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import age_text, moment_text

#: What is judged once a minute and was not for so long is not of now.
OLD_MS = 5 * MINUTE


def is_old(backup: WardBackup, now_ms: int) -> bool:
    """Whether this is not of now: the collector judges once a minute."""
    return abs(now_ms - backup.at_ms) > OLD_MS


def backup_line(backup: WardBackup, now: Now, now_ms: int) -> str:
    """How long the ward's cylinders carry it, and how long they should."""
    old = words.as_of(moment_text(backup.at_ms, now_ms, now.zone)) if is_old(backup, now_ms) else ""
    need = lasts_text(backup.need_min)
    if not any(one.good(now_ms) for one in backup.cylinders):
        said = words.nothing_known(f"{backup.flow_lpm:.1f}", need)
    elif backup.lasts_min is None:
        said = words.nothing_in_use(need)
    else:
        said = words.carries(f"{backup.flow_lpm:.1f}", lasts_text(backup.lasts_min), need)
    return f"{old} {said}".strip()


def is_low(backup: WardBackup, now_ms: int) -> bool:
    """Whether something is wrong with it, or nothing in it is known to be good."""
    unknown = bool(backup.cylinders) and not any(one.good(now_ms) for one in backup.cylinders)
    return bool(backup.why) or unknown or is_old(backup, now_ms)


def cylinder_rows(backup: WardBackup, now: Now, now_ms: int) -> list[Row]:
    """One row a cylinder: where it stands, its gauge, when that was read, what it is counted on for."""
    return [
        (Cell(one.id), one.place, gauge_text(one), _read_cell(one, now, now_ms), _state_cell(one, now_ms),
         f"{one.usable_l:,.0f} L" if one.good(now_ms) else "")
        for one in backup.cylinders
    ]  # fmt: skip


def gauge_text(one: CylinderNow) -> str:
    """A gauge pressure in the units that gauges have; nothing while it is not known."""
    return "" if one.kpa is None else f"{one.kpa / 100:,.0f} bar ({one.kpa:,.0f} kPa)"


def _read_cell(one: CylinderNow, now: Now, now_ms: int) -> Cell:
    if one.read_ms is None:
        return Cell(words.NEVER_READ)
    return Cell(words.ago(age_text(now_ms - one.read_ms)), note=moment_text(one.read_ms, now_ms, now.zone))


def _state_cell(one: CylinderNow, now_ms: int) -> Cell:
    if one.good(now_ms):
        return Cell(words.STATES["good"], mark="good")
    state = "unread" if one.state == "good" else one.state  # its reading has grown old since it was judged
    return Cell(words.STATES.get(state, state), mark="late")


def spare_rows(backup: WardBackup, now: Now, now_ms: int) -> list[Row]:
    """One row a spare unit that is proven good."""
    if is_old(backup, now_ms):
        return []
    return [
        (Cell(one.unit, one.unit), f"{one.good_to_lpm:.1f} L/min", moment_text(one.proven_ms, now_ms, now.zone),
         f"{one.warm_up_min:g} min")
        for one in backup.spares
    ]  # fmt: skip
