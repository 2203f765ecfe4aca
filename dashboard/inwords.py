"""The linked charts in words: two tables that can be read out, and where the record begins; pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from collector.rules.capacity.now import CapacityPoint
from collector.store.history import Series
from dashboard import past_words as words
from dashboard.charts import QUANTITIES
from dashboard.happened import Mark
from dashboard.queries import UnitPast
from dashboard.times import DAY, moment_text

ROWS: Final = 60
_FORM: Final = {"purity_pct": ".1f", "flow_lpm": ".1f", "power_w": ".0f"}


def record_from(past: UnitPast, points: Sequence[CapacityPoint], marks: Sequence[Mark]) -> int:
    """Where the axis begins: at the span's start, or with the record when that is shorter (a day at least)."""
    firsts = [point.hour_ms for point in points[:1]] + [mark.from_ms for mark in marks[-1:]]
    firsts += past.series.time_ms[:1].tolist()
    first = min(firsts, default=past.from_ms)
    margin = (past.to_ms - first) // 50
    return max(past.from_ms, min(first - margin, past.to_ms - DAY))


def in_words_html(past: UnitPast, marks: Sequence[Mark], zone: ZoneInfo) -> str:
    """Values of the span, and what happened in it."""
    parts = [_table(words.VALUES, words.VALUE_COLUMNS, _values(past.series))] if len(past.series) else []
    if not marks:
        return "".join([*parts, f"<p>{escape(words.NOTHING_HAPPENED)}</p>"])
    rows = [(moment_text(mark.from_ms, past.to_ms, zone), _until(mark, past.to_ms, zone), mark.lane, mark.what)
            for mark in marks[:ROWS]]  # fmt: skip
    parts.append(_table(words.HAPPENED, words.MARK_COLUMNS, rows))
    if len(marks) > ROWS:
        parts.append(f"<p>{escape(words.more_happened(len(marks) - ROWS))}</p>")
    return "".join(parts)


def _until(mark: Mark, now_ms: int, zone: ZoneInfo) -> str:
    if mark.to_ms is None:
        return words.LASTS
    return "" if mark.to_ms == mark.from_ms else moment_text(mark.to_ms, now_ms, zone)


def _values(series: Series) -> Iterator[tuple[str, ...]]:
    for quantity in QUANTITIES:
        band, form = series.bands[quantity.name], _FORM[quantity.name]
        if np.isnan(band.mean).all():
            continue
        weights = np.where(np.isnan(band.mean), 0, series.n)
        mean = float(np.average(np.nan_to_num(band.mean), weights=weights))
        found = (float(np.nanmin(band.min)), mean, float(np.nanmax(band.max)))
        yield (words.TITLES[quantity.name], *(format(value, form) for value in found))


def _table(title: str, columns: Sequence[str], rows: Iterator[tuple[str, ...]] | Sequence[tuple[str, ...]]) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in columns)
    body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (f'<table class="sw-words"><caption>{escape(title)}</caption><thead><tr>{head}</tr></thead>'
            f"<tbody>{body}</tbody></table>")  # fmt: skip
