"""The capacity panel as one block of HTML; pure. Every value that comes from outside goes through `escape`."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dashboard import capacity_words
from dashboard.capacity import Panel
from dashboard.figures import figures_html


def panel_html(panel: Panel) -> str:
    """Sentence first, then figures, cause, and what would be if the flow were set otherwise."""
    classes = "sw-panel" + " sw-greyed" * panel.greyed + " sw-short" * panel.short
    title = escape(capacity_words.CAPACITY)
    lines = "".join(f"<p>{escape(line)}</p>" for line in panel.lines)
    figures = figures_html(panel.figures, greyed=panel.greyed) if panel.figures else ""
    beside = _cause_html(panel.cause, panel.why) + _table_html(panel.table, panel.note)
    return (
        f'<section class="{classes}" aria-label="{title}"><h3>{title}</h3><p class="sw-good-for">{escape(panel.head)}'
        f'</p>{lines}{figures}<div class="sw-beside">{beside}</div></section>'
    )


def _cause_html(cause: str, why: Sequence[str]) -> str:
    if not cause:
        return ""
    items = "".join(f"<li>{escape(one)}</li>" for one in why)
    return f'<div class="sw-cause"><b>{capacity_words.LIKELY}: {escape(cause)}</b><ul>{items}</ul></div>'


def _table_html(rows: Sequence[Sequence[str]], note: str) -> str:
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in capacity_words.TURNED_UP)
    body = "".join(
        f'<tr><th scope="row">{escape(first)}</th>{"".join(f"<td>{escape(cell)}</td>" for cell in rest)}</tr>'
        for first, *rest in rows
    )
    said = f"{note} {capacity_words.NEVER_TURN_UP}".strip()
    return (
        f'<div class="sw-turned"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
        f"<p>{escape(said)}</p></div>"
    )
