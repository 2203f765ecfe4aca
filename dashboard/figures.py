"""Small blocks of HTML and rows for tables; pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Final

import msgspec

from collector.rules.alarms import Alarm
from collector.rules.entries import JournalRow
from collector.rules.lifecycle import State
from collector.rules.unitrow import UnitRow
from collector.store import Quarantined
from collector.terms import title_of
from collector.tongue import said
from dashboard import screen_words, words
from dashboard.board import Look, acknowledged, instruction
from dashboard.capacity import FORETELLS, expected_text
from dashboard.changeover import say_of
from dashboard.episodes import Episode
from dashboard.queries import Now
from dashboard.tiles import mark_html
from dashboard.times import lasted_text, moment_text
from dashboard.words import NOT_MEASURED

EXCERPT_BYTES: Final = 120
_FIRST: Final = ("event", "priority", "cause", "reason", "evidence")
_SAID: Final = ("time", "unit", "ward", "condition", "audience")


def figures_html(pairs: Iterable[tuple[str, str]], *, greyed: bool = False) -> str:
    """Labelled numbers; greyed when they are old."""
    made = (f"<div><span>{escape(label)}</span><b>{escape(value)}</b></div>" for label, value in pairs)
    return f'<div class="sw-figures{" sw-greyed" if greyed else ""}">{"".join(made)}</div>'


def current_values(row: UnitRow) -> list[tuple[str, str]]:
    """The last values of a unit: the usual three always, the others where they are measured."""
    usual = [("Purity", _value(row.purity_pct, 1, "%")), ("Flow", _value(row.flow_lpm, 1, "L/min")),
             ("Power", _value(row.power_w, 0, "W"))]  # fmt: skip
    others = [("Cabinet", row.temp_c, 1, "°C"), ("Supply", row.volts, 0, "V"),
              ("Outlet pressure", row.pressure_kpa, 0, "kPa"), ("Hour meter", row.hours_h, 0, "h")]  # fmt: skip
    return usual + [(label, _value(value, n, sign)) for label, value, n, sign in others if value is not None]


def _value(value: float | None, digits: int, sign: str) -> str:
    return NOT_MEASURED if value is None else f"{value:,.{digits}f} {sign}"


def service_hours(row: UnitRow) -> list[tuple[str, str]]:
    """Hours observed, inferred, and not accounted for."""
    return [("Observed", f"{row.observed_h:,.1f} h"), ("Inferred", f"{row.inferred_h:,.1f} h"),
            ("Not accounted for", f"{row.unknown_h:,.1f} h")]  # fmt: skip


def alarm_html(alarm: Alarm, now: Now, now_ms: int, told: str = "", *, change: bool = True) -> str:
    """One alarm as a line: mark, what, where, since when, what to do, who knows; `told` is told.py's sentence.

    change: say what to change over to; once is enough for a unit with several alarms.
    """
    look = Look(alarm.priority) if alarm.speaks else Look.HELD if alarm.held else Look.EARLIER
    flash = " sw-unheard" if alarm.speaks and alarm.state == State.UNACKNOWLEDGED else ""
    where = alarm.unit or "whole ward"
    ward = _ward_title(now, alarm.ward)
    since = screen_words.since(moment_text(alarm.raised_ms, now_ms, now.zone))
    row = now.units.get(alarm.unit)
    foretells = alarm.active and alarm.condition == FORETELLS
    expected = expected_text(alarm, row, now, now_ms, by_clock=True) if foretells else ""
    until = f", until {moment_text(alarm.cleared_ms, now_ms, now.zone)}" if not alarm.active else ""
    backup = say_of(now, [alarm], now_ms) if alarm.speaks and change else ""
    texts = [expected and f"{expected}.", instruction(alarm), backup, acknowledged(alarm, now, now_ms), told]
    rest = "".join(f"<div>{escape(text)}</div>" for text in texts if text)
    return (
        f'<div class="sw-line sw-{look}{flash}">{mark_html(look)} <b>{escape(title_of(alarm.condition))}</b> · '
        f"<b>{escape(where)}</b> · {escape(ward)} · {words.PRIORITY[alarm.priority].lower()} · {escape(since)}"
        f"{escape(until)}{rest}</div>"
    )


def _ward_title(now: Now, ward: str) -> str:
    return next((place.title for place in now.site.places() if place.id == ward), ward) if now.site else ward


def episode_rows(found: Sequence[Episode], now: Now, now_ms: int) -> list[dict[str, str]]:
    """Alarm history as rows of a table."""
    return [
        {
            "Alarm": title_of(one.condition), "Priority": words.PRIORITY.get(one.priority, one.priority).lower(),
            "Unit": one.unit or "whole ward",
            "Ward": _ward_title(now, one.ward), "From": moment_text(one.raised_ms, now_ms, now.zone),
            "To": said("still there") if one.cleared_ms is None else moment_text(one.cleared_ms, now_ms, now.zone),
            "Lasted": "" if one.lasted_ms is None else lasted_text(one.lasted_ms), "Acknowledged by": one.acknowledged,
        }
        for one in found
    ]  # fmt: skip


def journal_rows(rows: Sequence[JournalRow], now: Now, now_ms: int) -> list[dict[str, str | int]]:
    """Journal rows as rows of a table."""
    return [
        {
            "Row": row.seq, "When": moment_text(row.at_ms, now_ms, now.zone), "What": row.kind, "Unit": row.unit,
            "Ward": row.ward, "Condition": row.condition, "Who": f"{row.who} ({row.role})" if row.who else row.origin,
            "Details": details(row.body),
        }
        for row in rows
    ]  # fmt: skip


def details(body: Mapping[str, object]) -> str:
    """A row's body in one line, without what its other columns say already."""
    names = [*(name for name in _FIRST if name in body), *(name for name in body if name not in (*_FIRST, *_SAID))]
    return "; ".join(f"{name}: {_plain(body[name])}" for name in names if body[name] not in ("", None))


def _plain(value: object) -> str:
    """A value as it is read: what holds others names them in a row, numbers have no tail."""
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_plain(one)}" for name, one in value.items() if one not in ("", None))
    if isinstance(value, list | tuple):
        return ", ".join(map(_plain, value))
    if isinstance(value, float):
        return f"{value:.6g}"
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()


def quarantine_rows(found: Sequence[Quarantined], now: Now, now_ms: int) -> list[dict[str, str | int]]:
    """What was put aside, with the beginning of each payload made printable."""
    return [
        {
            "Received": moment_text(item.received_ms, now_ms, now.zone), "Reason": item.reason,
            "Kind": item.reason_kind, "Topic": item.topic, "Payload": excerpt(item.payload),
            "Bytes": len(item.payload) if item.size is None else item.size,
        }
        for item in found
    ]  # fmt: skip


def excerpt(payload: bytes) -> str:
    """The first bytes of a payload, printable: what is no text is shown as \\x.. escapes."""
    text = payload[:EXCERPT_BYTES].decode("utf-8", "backslashreplace")
    shown = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
    return shown + ("…" if len(payload) > EXCERPT_BYTES else "")


def size_text(size: int | None) -> str:
    """Bytes as people read them; a dash for None."""
    if size is None:
        return NOT_MEASURED
    value = float(size)
    for sign in ("B", "kB", "MB"):
        if value < 1000:
            return f"{value:.0f} {sign}" if sign == "B" else f"{value:.1f} {sign}"
        value /= 1000
    return f"{value:.1f} GB"
