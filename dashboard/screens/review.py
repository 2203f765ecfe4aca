"""Alarm analysis over a span: load by ward, the most frequent, those that stood long, how soon they were answered."""

from __future__ import annotations

import streamlit as st

from dashboard import fleet_words, review_queries
from dashboard import review_words as words
from dashboard.fleetrows import alarm_rows
from dashboard.frame import in_words, needed_now, strip
from dashboard.launch import data_dir
from dashboard.reviewrows import answer_rows, frequent_rows, stale_rows
from dashboard.sheet import sheet_html
from dashboard.times import DAY, moment_text

MOST = 20
strip()
now, now_ms = needed_now()
st.header(words.PAGE)
one, two = st.columns(2)
days = one.segmented_control(words.SPAN, list(words.SPANS), default=7, required=True,
                             format_func=words.SPANS.__getitem__)  # fmt: skip
audience = two.segmented_control(words.TOLD_TO, list(words.AUDIENCES), default="ward", required=True,
                                 format_func=words.AUDIENCES.__getitem__)  # fmt: skip
with in_words():
    start = now_ms - days * DAY
    found = review_queries.alarm_review(data_dir(), now, (start, now_ms), audience)
    total = sum(load.alarms for load in found.loads.values())
    st.caption(words.figures_of(total, moment_text(start, now_ms, now.zone), moment_text(now_ms, now_ms, now.zone)))
    if not total and not found.stale:
        st.info(words.NO_ALARMS)
        st.stop()
    for title, columns, rows in (
        (words.LOADS, fleet_words.ALARM_COLUMNS, alarm_rows(found.loads, now)),
        (words.FREQUENT, words.FREQUENT_COLUMNS, frequent_rows(found, now, now_ms)),
        (words.STALE, words.STALE_COLUMNS, stale_rows(found, now, now_ms)),
        (words.ANSWERS, words.ANSWER_COLUMNS, answer_rows(found, now)),
    ):
        st.subheader(title)
        st.html(sheet_html(columns, rows, MOST))
        st.caption(words.NOTES[title])
