"""What to change over to, in words for a tile, a ward's notice and a unit's page; pure.

Rules of this file: it shows what the collector judged. What has grown old since then says how old it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from collector.backup import card as card_words
from collector.backup.card import SPARES_MS, Card, cards, lasts_text, ready_card
from collector.backup.known import WardBackup
from collector.reading import parse_utc
from collector.rules.alarms import Alarm
from dashboard import changeover_words as words
from dashboard.queries import Now
from dashboard.times import moment_text


def card_of(now: Now, alarms: Sequence[Alarm], now_ms: int) -> Card | None:
    """The card of a unit (or ward) with these alarms, which it alone has; None where nothing is to be changed over."""
    if now.site is None or not alarms:
        return None
    ward = alarms[0].ward
    told = [alarm for alarm in now.alarms if alarm.ward == ward and alarm.speaks]
    found = cards(now.site, now.backup.wards, ward, told, now_ms)
    return next((found[alarm.key] for alarm in alarms if alarm.key in found), None)


def say_of(now: Now, alarms: Sequence[Alarm], now_ms: int) -> str:
    """The card as one instruction, "" when there is none."""
    card = card_of(now, alarms, now_ms)
    return _dated(now, alarms[0].ward, card.say, now_ms) if card is not None else ""


def _dated(now: Now, ward: str, said: str, now_ms: int) -> str:
    backup = now.backup.wards.get(ward)
    if backup is None or now_ms - backup.at_ms <= SPARES_MS:
        return said
    return words.as_known(moment_text(backup.at_ms, now_ms, now.zone), said)


def ward_line(now: Now, ward: str, now_ms: int) -> str:
    """A ward's backup in one line; "" where none is listed."""
    backup = now.backup.wards.get(ward)
    if backup is None or not (backup.cylinders or backup.spares):
        return ""
    good = [c for c in backup.cylinders if c.good(now_ms)]
    parts = [words.cylinders_good(len(good), len(backup.cylinders))] if backup.cylinders else []
    if good:
        parts.append(lasts(backup))
    fresh = now_ms - backup.at_ms <= SPARES_MS
    parts.append(words.spares([spare.unit for spare in backup.spares if fresh]))
    return _dated(now, ward, words.line(parts), now_ms)


def lasts(backup: WardBackup) -> str:
    """How long a ward's good cylinders last at its flow in use."""
    if backup.lasts_min is None:
        return words.NO_FLOW
    return words.about(lasts_text(backup.lasts_min), f"{backup.flow_lpm:.1f}")


def panel_html(now: Now, ward: str, unit: str, alarms: Sequence[Alarm], now_ms: int) -> str:
    """The card of one unit as a block of its page: for its alarm, or to be ready with; "" where nothing is known."""
    if now.site is None:
        return ""
    card = card_of(now, alarms, now_ms) or ready_card(now.site, now.backup.wards, ward, unit, now_ms)
    if card is None:
        return ""
    read = ""
    if card.read is not None:
        read = f"<p>{escape(words.read_at(moment_text(parse_utc(card.read), now_ms, now.zone)))}</p>"
    return (
        f'<section class="sw-panel" aria-label="{escape(words.CARD_TITLE)}"><h3>{escape(words.CARD_TITLE)}</h3>'
        f'<p class="sw-good-for">{escape(_dated(now, ward, card.say, now_ms))}</p>{read}'
        f'<p class="sw-cautions">{escape(" ".join(card_words.CAUTIONS))}</p></section>'
    )
