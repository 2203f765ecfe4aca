"""What this watches, what it does not, and where its limits come from."""

from __future__ import annotations

import streamlit as st

from dashboard import guide, language, screen_words, words
from dashboard.frame import look, strip
from dashboard.sheet import table_html
from dashboard.tables import condition_rows, limit_rows, ward_rows

strip()
st.header(words.PAGE_ABOUT)
st.markdown(f"{screen_words.LANGUAGES}: {language.links('about')}")
st.caption(screen_words.LANGUAGE_HOW)
st.subheader(screen_words.CAUTIONS)
st.markdown("\n".join(f"- **{text}**" for text in guide.CAUTIONS))
left, right = st.columns(2)
with left:
    st.subheader(screen_words.WATCHES)
    st.markdown("\n".join(f"- {text}" for text in guide.WATCHES))
with right:
    st.subheader(screen_words.WATCHES_NOT)
    st.markdown("\n".join(f"- {text}" for text in guide.WATCHES_NOT))
now = look().now
if now is not None and now.site is not None:
    st.subheader(screen_words.LIMITS)
    st.html(table_html(limit_rows(now.site)))
    st.caption(guide.STARRED)
    st.html(table_html(ward_rows(now.site)))
st.subheader(screen_words.LIMIT_SOURCES)
st.write(guide.LIMIT_SOURCES)
st.subheader(words.PAGE_ALARMS)
st.html(table_html(condition_rows()))
