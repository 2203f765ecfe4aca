"""Lists of the screens of upkeep as one block of HTML; pure. Every value that comes from outside goes through `escape`.

On a narrow screen each row becomes a card with its column's name before each value (board.css).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape
from typing import Final, NamedTuple
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
#: A number with its unit's sign, as "1,234", "93.4 %" or "40 min" are; a dash stands where there is none.
_NUMBER: Final = re.compile(r"[-+\u2212]?\d[\d.,\s]*([smh%L]|min|[A-Z]{3})?|\u2013?")


def sheet_html(columns: Sequence[str], rows: Sequence[Row], most: int = 100, widths: Sequence[int] = ()) -> str:
    """Rows under their columns; beyond `most` they are counted, and "None." says that there are none.

    widths are shares of 100, so that lists above each other have their columns above each other. Columns of numbers
    alone end under each other, as sums do.
    """
    if not rows:
        return f'<p class="sw-none">{escape(words.NONE)}</p>'
    cells = [[cell if isinstance(cell, Cell) else Cell(cell) for cell in row] for row in rows[:most]]
    kinds = ["sw-number" if _is_of_numbers(column) else "" for column in zip(*cells, strict=True)]
    shares = [f' style="width:{share}%"' for share in widths] or [""] * len(columns)
    head = "".join(f'<th scope="col" class="{kind}"{share}>{escape(name)}</th>'
                   for name, kind, share in zip(columns, kinds, shares, strict=True))  # fmt: skip
    body = "".join(f"<tr>{_row_html(columns, kinds, row)}</tr>" for row in cells)
    more = f'<p class="sw-none">{escape(words.and_more(len(rows) - most))}</p>' if len(rows) > most else ""
    fixed = " sw-fixed" if widths else ""
    return f'<table class="sw-sheet{fixed}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}'


def table_html(rows: Sequence[Mapping[str, str]]) -> str:
    """Rows that name their columns themselves, as such a list; all have the same columns."""
    return sheet_html(list(rows[0]) if rows else (), [list(row.values()) for row in rows])


def facts_html(pairs: Sequence[tuple[str, str]]) -> str:
    """Names and what is known of each, line by line; for sentences as for numbers."""
    made = (f"<div><dt>{escape(name)}</dt><dd>{escape(text)}</dd></div>" for name, text in pairs)
    return f'<dl class="sw-facts">{"".join(made)}</dl>'


def _is_of_numbers(column: Sequence[Cell]) -> bool:
    return any(cell.text for cell in column) and all(_NUMBER.fullmatch(cell.text) and not cell.unit for cell in column)


def _row_html(columns: Sequence[str], kinds: Sequence[str], row: Sequence[Cell]) -> str:
    return "".join(_cell_html(name, kind, cell) for name, kind, cell in zip(columns, kinds, row, strict=True))


def _cell_html(name: str, kind: str, cell: Cell) -> str:
    text = escape(cell.text)
    if cell.unit:
        text = f'<a href="./unit?unit={quote(cell.unit)}">{text}</a>'
    if cell.look is not None:
        text = f'<span class="sw-sign">{mark_html(cell.look)}</span>{text}'
    note = f"<small>{escape(cell.note)}</small>" if cell.note else ""
    kinds = [kind, f"sw-mark-{cell.mark}-text" if cell.mark else "", "" if cell.text else "sw-empty"]
    named = " ".join(name for name in kinds if name)
    classes = f' class="{named}"' if named else ""
    # As few elements as will do: the browser goes through all of 500 units' twice, to clean them and to draw them.
    plain = not (note or cell.unit or cell.mark) and cell.look is None
    return f'<td data-name="{escape(name)}"{classes}>{text if plain else f"<span>{text}{note}</span>"}</td>'
