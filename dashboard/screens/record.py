"""The record: the journal, how much there is of everything, what was put aside; how data come in is on "Sensors"."""

from __future__ import annotations

import streamlit as st

from collector.rules.entries import KINDS
from dashboard import help_words, queries, safe_copies, service_words, way_test
from dashboard import screen_words as words
from dashboard import words as common_words
from dashboard.figures import figures_html, journal_rows, quarantine_rows
from dashboard.frame import help_beside, in_words, needed_now, strip, table
from dashboard.health import store_figures
from dashboard.launch import data_dir
from dashboard.safe_copies import copy_figures, copy_warning
from dashboard.sheet import facts_html
from dashboard.times import DAY
from dashboard.way_test import tried_text

strip()
now, now_ms = needed_now()
st.header(common_words.PAGE_DATA)
with in_words():
    health, wall_ms = queries.health(data_dir()), queries.wall_ms()
    if warning := copy_warning(health.safe_copy, wall_ms, simulated=now.simulated):
        st.warning(warning)
    st.subheader(words.JOURNAL)
    one, two, three = st.columns(3)
    units = sorted({*now.units, *(unit.id for unit in now.site.units)} if now.site else now.units)
    unit = one.selectbox(service_words.UNIT, ["", *units], format_func=lambda name: name or words.ALL_UNITS)
    kinds = two.multiselect(words.WHAT, KINDS, placeholder=words.ANYTHING)
    days = three.selectbox(words.BACK, list(words.BACK_DAYS), format_func=words.BACK_DAYS.__getitem__)
    rows = queries.journal(data_dir(), unit or None, kinds or None, now_ms - days * DAY)
    st.caption(words.rows_shown(len(rows), more=len(rows) == queries.JOURNAL_ROWS))
    table(journal_rows(rows, now, now_ms))
    st.subheader(words.STORE)
    st.html(figures_html(store_figures(health, now, now_ms)))
    st.subheader(words.copies_and_way(safe_copies.TITLE))
    tried = (way_test.TRIED, tried_text(health.way_tried, wall_ms))
    st.html(facts_html([*copy_figures(health.safe_copy, wall_ms), tried]))
    st.subheader(words.KEPT_ASIDE)
    if health.quarantined:
        st.write(" · ".join(f"{kind}: {count:,}" for kind, count in health.quarantined.items()))
    table(quarantine_rows(health.quarantine, now, now_ms))
    st.caption(words.HOW_DATA_COME)
help_beside(help_words.RECORD)
