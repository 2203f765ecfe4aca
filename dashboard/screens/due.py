"""What is due on which unit, as a list and as a month."""

from __future__ import annotations

import streamlit as st

from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.board import places
from dashboard.duelist import chosen_dues, due_rows, grouped, month_entries
from dashboard.frame import dues, in_words, needed_now, strip
from dashboard.month import month_html
from dashboard.sheet import sheet_html
from dashboard.times import local

strip()
now, now_ms = needed_now()
st.header(words.DUE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
wards = {place.id: place.title for place in places(now)}
one, two, three = st.columns(3)
ward = one.selectbox(words.WARD, ["", *wards], format_func=lambda name: wards.get(name, words.ALL_WARDS))
by = two.selectbox(words.WHOSE, list(words.BY), format_func=words.BY.__getitem__)
view = three.segmented_control(words.SHOW_AS, list(words.VIEWS), default="list", required=True,
                               format_func=words.VIEWS.__getitem__)  # fmt: skip
with in_words():
    found = chosen_dues(dues(now, now_ms), ward, by)
    if view == "month":
        today = local(now_ms, now.zone).date()
        ahead = st.segmented_control(words.MONTH, range(12), default=0, required=True, label_visibility="collapsed",
                                     format_func=lambda n: words.month_name(today, n))  # fmt: skip
        year, month = divmod(today.year * 12 + today.month - 1 + ahead, 12)
        st.html(month_html(year, month + 1, month_entries(found, now, now_ms), today))
        st.caption(words.MONTH_CAPTION)
    else:
        for name, listed in grouped(found, now_ms).items():
            title = words.counted(name, len(listed))
            with st.expander(title) if name == words.LATER else st.container():
                if name != words.LATER:
                    st.subheader(title)
                st.html(sheet_html(words.DUE_COLUMNS, due_rows(listed, now, now_ms), 60, words.DUE_WIDTHS))
        st.caption(words.DUE_CAPTION)
