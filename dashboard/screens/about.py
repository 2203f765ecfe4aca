"""What this watches, what it does not, and where its limits come from."""

from __future__ import annotations

import streamlit as st

from dashboard import guide
from dashboard.frame import look, strip
from dashboard.tables import condition_rows, limit_rows, ward_rows

strip()
st.header("About")
st.subheader("Cautions")
st.markdown("\n".join(f"- **{text}**" for text in guide.CAUTIONS))
left, right = st.columns(2)
with left:
    st.subheader("What it watches")
    st.markdown("\n".join(f"- {text}" for text in guide.WATCHES))
with right:
    st.subheader("What it does not")
    st.markdown("\n".join(f"- {text}" for text in guide.WATCHES_NOT))
now = look().now
if now is not None and now.site is not None:
    st.subheader("Limits in force")
    st.dataframe(limit_rows(now.site), hide_index=True)
    st.caption(guide.STARRED)
    st.dataframe(ward_rows(now.site), hide_index=True)
st.subheader("Where limits come from")
st.write(guide.LIMIT_SOURCES)
st.subheader("Alarms")
st.dataframe(condition_rows(), hide_index=True, height="content")
