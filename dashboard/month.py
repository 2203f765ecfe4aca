"""A month of things to do as a calendar in HTML; pure. Every value that comes from outside goes through `escape`."""

from __future__ import annotations

from calendar import Calendar
from collections.abc import Mapping, Sequence
from datetime import date
from html import escape
from typing import Final, NamedTuple
from urllib.parse import quote

from dashboard import service_words as words

#: So many things stand in one day; the others are counted.
PER_DAY: Final = 4


class Entry(NamedTuple):
    """One thing of a day: what it says, the unit it leads to ("" for none), and whether it is overdue."""

    text: str
    unit: str = ""
    late: bool = False


def month_html(year: int, month: int, entries: Mapping[date, Sequence[Entry]], today: date) -> str:
    """Weeks from Monday to Sunday; on a narrow screen only numbers stand in the days (board.css)."""
    head = "".join(f'<th scope="col">{name}</th>' for name in words.WEEKDAYS)
    weeks = (
        f"<tr>{''.join(_day_html(day, month, entries.get(day, ()), today) for day in week)}</tr>"
        for week in Calendar().monthdatescalendar(year, month)
    )
    return f'<table class="sw-month"><thead><tr>{head}</tr></thead><tbody>{"".join(weeks)}</tbody></table>'


def _day_html(day: date, month: int, entries: Sequence[Entry], today: date) -> str:
    if day.month != month:
        return '<td class="sw-away"></td>'
    late = any(entry.late for entry in entries)
    classes = " ".join(["sw-today"] * (day == today) + ["sw-late"] * late)
    shown = "".join(map(_entry_html, entries[:PER_DAY]))
    more = f"<li>{escape(words.and_more(len(entries) - PER_DAY))}</li>" if len(entries) > PER_DAY else ""
    count = f'<span class="sw-count">{len(entries)}{"!" if late else ""}</span>' if entries else ""
    here = ' aria-current="date"' if day == today else ""
    return f'<td class="{classes}"{here}><b>{day.day}</b>{count}<ul>{shown}{more}</ul></td>'


def _entry_html(entry: Entry) -> str:
    text = f"{'! ' if entry.late else ''}{entry.text}"
    inner = f'<a href="./unit?unit={quote(entry.unit)}">{escape(text)}</a>' if entry.unit else escape(text)
    return f"<li>{inner}</li>"
