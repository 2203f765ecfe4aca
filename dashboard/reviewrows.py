"""The alarm analysis as rows; pure."""

from __future__ import annotations

from collector.service.alarm_review import Review
from collector.terms import title_of
from dashboard import review_words as words
from dashboard.fleetrows import percent
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import MINUTE, lasted_text, moment_text
from dashboard.words import NOT_MEASURED


def frequent_rows(found: Review, now: Now, now_ms: int) -> list[Row]:
    """The most frequent first."""
    return [
        (Cell(title_of(one.key[2])), _unit(one.key[0]), ward_title(now, one.ward), str(one.times), percent(one.share),
         lasted_text(round(one.stood_min * MINUTE)), moment_text(one.last_ms, now_ms, now.zone),
         Cell(words.CHATTERING, mark="late") if one.chattering else "")
        for one in found.frequent
    ]  # fmt: skip


def stale_rows(found: Review, now: Now, now_ms: int) -> list[Row]:
    """What stood longest first."""
    return [
        (Cell(title_of(one.key[2])), _unit(one.key[0]), ward_title(now, ward),
         moment_text(one.from_ms, now_ms, now.zone),
         lasted_text((now_ms if one.to_ms is None else one.to_ms) - one.from_ms),
         Cell(words.STANDS, mark="late") if one.to_ms is None else words.GONE)
        for ward, one in found.stale
    ]  # fmt: skip


def answer_rows(found: Review, now: Now) -> list[Row]:
    """By ward and shift."""
    return [
        (ward_title(now, one.ward), words.SHIFTS[one.shift], str(one.acknowledged), _minutes(one.median_min),
         _minutes(one.p90_min), str(one.without))
        for one in found.answers
    ]  # fmt: skip


def _unit(unit: str) -> Cell:
    return Cell(unit, unit) if unit else Cell(words.WHOLE_WARD)


def _minutes(value: float | None) -> str:
    return NOT_MEASURED if value is None else f"{value:.1f}" if value < 10 else f"{value:.0f}"
