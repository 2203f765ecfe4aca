"""Power quality by ward over a span: losses, sags, swells, the share within limits, the worst hours."""

from __future__ import annotations

import streamlit as st

from dashboard import power_words as words
from dashboard import review_queries
from dashboard import words as common_words
from dashboard.frame import in_words, needed_now, strip
from dashboard.launch import data_dir
from dashboard.powerrows import ward_rows, worst_rows
from dashboard.sheet import sheet_html
from dashboard.times import DAY

strip()
now, now_ms = needed_now()
st.header(words.PAGE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
days = st.segmented_control(words.SPAN, list(words.SPANS), default=7, required=True, label_visibility="collapsed",
                            format_func=words.SPANS.__getitem__)  # fmt: skip
with in_words():
    found = review_queries.power_quality(data_dir(), now, now.site, (now_ms - days * DAY, now_ms))
    if not any(one.hours or one.losses for one in found):
        st.info(words.NOTHING)
        st.stop()
    st.html(sheet_html(words.COLUMNS, ward_rows(found, now)))
    if left := sum(one.left_out for one in found):
        st.warning(words.left_out(left))
    st.subheader(words.WORST)
    st.html(sheet_html(words.WORST_COLUMNS, worst_rows(found, now, now_ms)))
    st.caption(words.CAPTION)
