"""Spare parts: what there is, what to order this month, and what came and went."""

from __future__ import annotations

import streamlit as st

from dashboard import help_words
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.crew import who_records
from dashboard.desk import draw_outcome
from dashboard.figures import figures_html
from dashboard.frame import help_beside, in_words, needed_now, order, strip
from dashboard.sheet import sheet_html
from dashboard.stockroom import draw_moving, money, need_rows

strip()
now, now_ms = needed_now()
st.header(words.PARTS)
if now.site is None or not now.site.parts:
    st.info(common_words.EMPTY_SITE if now.site is None else words.NO_PARTS)
    st.stop()
draw_outcome()
with in_words():
    found = order(now, now_ms)
    listed = [need for need in found.needs if need.order]
    at_once = sum(need.order_now for need in listed)
    st.html(figures_html([(words.TO_ORDER, words.parts_count(len(listed))), (words.AT_ONCE, str(at_once)),
                          (words.COST, money(found.cost, found.currency))]))  # fmt: skip
    st.subheader(words.STOCK)
    st.html(sheet_html(words.PART_COLUMNS, need_rows(found.needs, found.currency), 200))
    if found.unknown:
        st.warning(words.unknown_parts(found.unknown))
    st.caption(words.PARTS_CAPTION)
person = who_records(now)
draw_moving(now.site, person)
help_beside(help_words.PARTS)
