"""What other limits would have done, as rows and sentences; pure."""

from __future__ import annotations

from collections.abc import Mapping

from collector.reading import parse_utc
from collector.rules.limits import SECOND
from collector.terms import title_of
from collector.whatif.limit_keys import time_text
from collector.whatif.tally import Comparison, Difference
from dashboard import limits_words as words
from dashboard.limit_form import RULES, Option, value_text
from dashboard.queries import Now
from dashboard.times import moment_text


def change_rows(options: Mapping[str, Option], tried: Mapping[str, float]) -> list[tuple[str, ...]]:
    """The changes, with today's values."""
    return [(words.RULES if one.table == (RULES,) else " ".join(one.table), one.title,
             value_text(one.value, one.sign), value_text(value, one.sign))
            for place, value in tried.items() if (one := options.get(place)) is not None]  # fmt: skip


def count_rows(found: Comparison) -> list[tuple[str, ...]]:
    """Each condition that either run raised: today, with the change, and what became of its alarms."""
    return [
        (title_of(row.condition), str(row.today.raised), str(row.changed.raised),
         *(str(count) if count else "" for count in (row.same, row.earlier, row.later, row.new + row.split,
                                                     row.gone + row.joined)),
         f"{row.today.hours:.1f}", f"{row.changed.hours:.1f}")
        for row in found.conditions
    ]  # fmt: skip


def difference_rows(found: list[Difference], now: Now, now_ms: int) -> list[tuple[str, ...]]:
    """Each alarm that differs, with when it would have been raised."""
    wards = {place.id: place.title for place in now.site.places()} if now.site else {}
    return [
        (what_of(one), title_of(one.condition), one.priority, one.unit or "-", wards.get(one.ward, one.ward),
         _moment(one.today, now, now_ms), _moment(one.changed, now, now_ms))
        for one in found
    ]  # fmt: skip


def what_of(one: Difference) -> str:
    """What became of an alarm, and by how much."""
    if one.kind == "priority" and one.today_high and one.changed_high:
        by = abs(parse_utc(one.changed_high) - parse_utc(one.today_high))
        return words.shifted(one.kind, f"{time_text(by)}:")
    by_text = time_text(abs(one.later_s) * SECOND) if one.later_s else ""
    return words.shifted(one.kind, by_text)


def _moment(at: str | None, now: Now, now_ms: int) -> str:
    return "-" if at is None else moment_text(parse_utc(at), now_ms, now.zone)


def said(found: Comparison) -> list[str]:
    """The sentences over the tables."""
    today, changed = found.today, found.changed
    lines = [words.in_short(today.alarms, changed.alarms, today.ward_alerts, changed.ward_alerts)]
    if today.shutdowns or changed.shutdowns:
        lines.append(words.shutdowns((today.shutdowns, today.warned), (changed.shutdowns, changed.warned)))
    span_ms = parse_utc(found.last) - parse_utc(found.first) if found.first and found.last else 0
    return [*lines, words.done(found.readings, found.units, time_text(span_ms))]


def losses(today: Comparison, lost: list[str]) -> bool:
    """Whether a warning before a shut-off is lost: by the shut-offs themselves, or by their number."""
    missed = [run.shutdowns - run.warned for run in (today.today, today.changed)]
    return bool(lost) or (missed[1] > missed[0] and today.today.shutdowns == today.changed.shutdowns)
