"""What a ward must know now, as one retained message; pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any, Final

import msgspec

from collector.backup.card import Card
from collector.reading import iso_utc
from collector.rules.alarms import Alarm, AlarmBoard
from collector.rules.catalogue import WARD, title_of
from collector.rules.unitrow import UnitRow
from collector.site import Site, Ward

VERSION: Final = 1
CAUTION: Final = (
    "Watches machines, not patients. The unit's own alarm, pulse oximetry and the ward's protocol stay primary."
)


def ward_signal(
    site: Site, ward: Ward, board: AlarmBoard, rows: Iterable[UnitRow], at_ms: int, seq: int = 0,
    cards: Mapping[tuple[str, str, str], Card] | None = None, test: Mapping[str, Any] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """The signal of one ward: its alerts, worst first, and how many of its units are in which phase.

    seq is the last journal row that is in it: the later of two signals has the higher one. `cards` say, by alarm, what
    to change over to. `test` is a test of the alarm's way that stands: beside the alerts, never one of them.
    """
    alerts = [_alert(alarm, (cards or {}).get(alarm.key)) for alarm in board.speaking(ward.id, WARD)]
    phases = Counter("out-of-service" if row.unit in board.removed_units else row.phase for row in rows)
    signal = {
        "v": VERSION, "facility": site.facility.id, "ward": ward.id, "name": ward.title, "simulated": site.simulated,
        "at": iso_utc(at_ms), "seq": seq, "calm": not alerts, "alerts": alerts, "counts": dict(phases),
        "caution": CAUTION,
    }  # fmt: skip
    return signal if test is None else {**signal, "test": dict(test)}


def _alert(alarm: Alarm, card: Card | None) -> dict[str, Any]:
    alert: dict[str, Any] = {
        "unit": alarm.unit, "condition": alarm.condition, "title": title_of(alarm.condition),
        "priority": alarm.priority, "state": alarm.state, "cause": alarm.cause, "action": alarm.action,
        "since": iso_utc(alarm.raised_ms) if alarm.raised_ms is not None else None,
    }  # fmt: skip
    if not alarm.unit and "units" in alarm.evidence:
        alert["units"] = alarm.evidence["units"]
    if alarm.acked_by:
        alert["acknowledged_by"] = alarm.acked_by
    if alarm.forecast:
        alert["forecast"] = alarm.forecast
    if card is not None:
        alert["changeover"] = msgspec.to_builtins(card)
    return alert


def told(signal: dict[str, Any]) -> bytes:
    """What matters of a signal: equal bytes say the same to the ward, whenever they were made."""
    return msgspec.json.encode({name: value for name, value in signal.items() if name not in ("at", "seq")})
