"""Parts as rows for the screen, and the form in which they come and go."""

from __future__ import annotations

from collections.abc import Iterable

import streamlit as st

from collector.rules.entries import PART_MOVED, JournalEntry
from collector.service.parts import Need
from collector.service.stock import ORDERED, RECEIVED
from collector.site import Site
from dashboard import service_words as words
from dashboard.actions import TEXT_MAX, Person
from dashboard.desk import act
from dashboard.service_actions import PIECES_MOST, move_part
from dashboard.sheet import Cell, Row

#: What a form's choice means for the stock: its reason in the record, and whether pieces come or go.
MOVES = {"ordered": (ORDERED, 1), "received": (RECEIVED, 1), "found": ("", 1), "gone": ("", -1)}


def need_rows(needs: Iterable[Need], currency: str) -> list[Row]:
    """One row a part: what there is, what will be needed, what to order and what that costs."""
    return [
        (Cell(need.title, mark="late" if need.order_now or need.miscounted else ""),
         Cell(str(need.have), note=words.COUNT_SHELF if need.miscounted else ""),
         Cell(str(need.on_the_way) if need.on_the_way else "", note=words.lost_order(need.lost_order)),
         Cell(f"{need.planned + need.failures:.1f}", note=words.made_of(need.planned, need.failures)),
         str(need.reorder_level), order_text(need), money(need.cost, currency) if need.order else "",
         words.lasts(need.lasts, need.service_level))
        for need in needs
    ]  # fmt: skip


def order_text(need: Need) -> str:
    """How many to order, and whether that can wait."""
    if not need.order:
        return ""
    return words.order_at_once(need.order) if need.order_now else str(need.order)


def money(amount: float, currency: str) -> str:
    """An amount as people write it."""
    return f"{amount:,.2f} {currency}".strip()


def draw_moving(site: Site, person: Person) -> None:
    """Pieces that were ordered, came, were found or went; parts used in work are counted by the work itself."""
    if not person.is_offered(PART_MOVED):
        return
    titles = {part.id: part.title for part in site.parts}
    with st.expander(words.MOVE_PARTS), st.form("move", border=False):
        st.caption(words.MOVE_CAPTION)
        one, two, three = st.columns(3)
        one.selectbox(words.PART, list(titles), format_func=titles.__getitem__, key="move-part")
        two.selectbox(words.WHAT, list(MOVES), format_func=words.MOVES.__getitem__, key="move-what")
        three.number_input(words.PIECES, 1, PIECES_MOST, 1, key="move-pieces")
        st.text_input(words.MOVE_WHY, key="move-why", max_chars=TEXT_MAX)
        st.form_submit_button(words.RECORD, on_click=_move, args=(site, titles, person))


def _move(site: Site, titles: dict[str, str], person: Person) -> None:
    state = st.session_state
    part, what, pieces, said = state["move-part"], state["move-what"], state["move-pieces"], state["move-why"]
    why, sign = MOVES[what]

    def make(now_ms: int) -> JournalEntry:
        return move_part(site, part, sign * pieces, why or said, person, now_ms)

    act(make, f"{pieces} × {titles[part]}: {words.MOVES[what]}, written down")
