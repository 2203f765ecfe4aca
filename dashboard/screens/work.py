"""Work orders: those that are open, one of them with what was found, done and proven; `?order=ID`."""

from __future__ import annotations

import streamlit as st

from collector.service.proof import calibrations
from collector.service.work import work_orders
from dashboard import help_words
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.crew import who_records
from dashboard.desk import draw_outcome
from dashboard.frame import help_beside, in_words, needed_now, service_rows, strip
from dashboard.orders import calibration_rows, due_rows, order_rows
from dashboard.sheet import sheet_html
from dashboard.workbench import draw_opening, draw_order

strip()
now, now_ms = needed_now()
st.header(words.WORK)
if now.site is None:
    st.info(common_words.EMPTY_SITE)
    st.stop()
draw_outcome()
person = who_records(now)
with in_words():
    rows = service_rows()
    orders = work_orders(rows)
    st.subheader(words.OPEN_ORDERS)
    st.html(sheet_html(words.ORDER_COLUMNS, order_rows(orders, now, now_ms, is_open=True)))
    draw_opening(now, person, orders)
    if orders:
        draw_order(now, now_ms, person, orders, rows)
    st.subheader(words.CHECKS_DUE)
    st.html(sheet_html(words.CHECK_COLUMNS, due_rows(now, now_ms, rows)))
    st.subheader(words.ANALYSERS)
    st.html(sheet_html(words.ANALYSER_COLUMNS, calibration_rows(calibrations(now.site, now_ms))))
    st.subheader(words.CLOSED_ORDERS)
    st.html(sheet_html(words.ORDER_COLUMNS, order_rows(orders, now, now_ms, is_open=False), 50))
help_beside(help_words.WORK)
