"""The dashboard's front door: run by Streamlit (see launch.py)."""

from __future__ import annotations

import streamlit as st

from dashboard import words
from dashboard.frame import ASSETS, load_assets

st.set_page_config(page_title=words.PRODUCT, page_icon=str(ASSETS / "icon.svg"), layout="wide")
load_assets()
page = st.navigation(
    [
        st.Page("screens/board.py", title="Ward board", default=True),
        st.Page("screens/unit.py", title="Unit", url_path="unit"),
        st.Page("screens/alarms.py", title="Alarms", url_path="alarms"),
        st.Page("screens/record.py", title="Data", url_path="data"),
        st.Page("screens/about.py", title="About", url_path="about"),
    ],
    position="top",
)
page.run()
