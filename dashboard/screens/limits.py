"""Other limits, tried on the past before anybody lives with them; for engineers and administrators."""

from __future__ import annotations

import streamlit as st

from dashboard import limits_words as words
from dashboard import words as common_words
from dashboard.frame import needed_now, strip
from dashboard.limits_page import draw_changes, draw_result, draw_span, draw_try, may_try

strip()
now, now_ms = needed_now()
st.header(words.PAGE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
st.write(words.INTRO)
if not may_try():
    st.info(words.NOT_YOURS)
    st.stop()
options = draw_changes(now.site)
draw_try(draw_span(now, now.site, now_ms), options)
draw_result(now, now_ms)
