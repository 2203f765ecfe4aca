"""Lists of the screens of upkeep as one block of HTML; pure. Every value that comes from outside goes through `escape`.

On a narrow screen each row becomes a card with its column's name before each value (board.css).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import NamedTuple
from urllib.parse import quote

from dashboard import service_words as words
from dashboard.board import Look
from dashboard.tiles import mark_html


class Cell(NamedTuple):
    """One value: a unit's is a link to its page; `mark` is one of "late", "soon", "good" or "" and never alone.

    look puts a state's shape before it, as on the board; the row's words say the same.
    """

    text: str
    unit: str = ""
    mark: str = ""
    note: str = ""
    look: Look | None = None


Row = Sequence[Cell | str]


def sheet_html(columns: Sequence[str], rows: Sequence[Row], most: int = 100, widths: Sequence[int] = ()) -> str:
    """Rows under their columns; beyond `most` they are counted, and "None." says that there are none.

    widths are shares of 100, so that lists above each other have their columns above each other.
    """
    if not rows:
        return f'<p class="sw-none">{escape(words.NONE)}</p>'
    shares = [f' style="width:{share}%"' for share in widths] or [""] * len(columns)
    head = "".join(f'<th scope="col"{share}>{escape(name)}</th>' for name, share in zip(columns, shares, strict=True))
    body = "".join(f"<tr>{_row_html(columns, row)}</tr>" for row in rows[:most])
    more = f'<p class="sw-none">{escape(words.and_more(len(rows) - most))}</p>' if len(rows) > most else ""
    fixed = " sw-fixed" if widths else ""
    return f'<table class="sw-sheet{fixed}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}'


def facts_html(pairs: Sequence[tuple[str, str]]) -> str:
    """Names and what is known of each, line by line; for sentences as for numbers."""
    made = (f"<div><dt>{escape(name)}</dt><dd>{escape(text)}</dd></div>" for name, text in pairs)
    return f'<dl class="sw-facts">{"".join(made)}</dl>'


def _row_html(columns: Sequence[str], row: Row) -> str:
    cells = (cell if isinstance(cell, Cell) else Cell(cell) for cell in row)
    return "".join(_cell_html(name, cell) for name, cell in zip(columns, cells, strict=True))


def _cell_html(name: str, cell: Cell) -> str:
    text = escape(cell.text)
    if cell.unit:
        text = f'<a href="./unit?unit={quote(cell.unit)}">{text}</a>'
    if cell.look is not None:
        text = f"{mark_html(cell.look)} {text}"
    note = f"<small>{escape(cell.note)}</small>" if cell.note else ""
    classes = " ".join([f"sw-mark-{cell.mark}-text"] * bool(cell.mark) + ["sw-empty"] * (not cell.text))
    return f'<td data-name="{escape(name)}" class="{classes}"><span>{text}{note}</span></td>'
