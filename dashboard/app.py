"""The dashboard's front door: run by Streamlit (see launch.py)."""

from __future__ import annotations

import streamlit as st

from dashboard import service_words, words
from dashboard.frame import ASSETS, load_assets

st.set_page_config(page_title=words.PRODUCT, page_icon=str(ASSETS / "icon.svg"), layout="wide")
load_assets()
page = st.navigation(
    {
        "": [
            st.Page("screens/board.py", title=words.PAGE_BOARD, default=True),
            st.Page("screens/unit.py", title=words.PAGE_UNIT, url_path="unit"),
            st.Page("screens/alarms.py", title=words.PAGE_ALARMS, url_path="alarms"),
            st.Page("screens/backup.py", title=service_words.BACKUP, url_path="backup"),
        ],
        service_words.UPKEEP: [
            st.Page("screens/due.py", title=service_words.DUE, url_path="due"),
            st.Page("screens/visits.py", title=service_words.VISITS, url_path="visits"),
            st.Page("screens/work.py", title=service_words.WORK, url_path="work"),
            st.Page("screens/parts.py", title=service_words.PARTS, url_path="parts"),
            st.Page("screens/fleet.py", title=service_words.FLEET, url_path="fleet"),
            st.Page("screens/labels.py", title=service_words.LABELS, url_path="labels"),
        ],
        service_words.RECORDS: [
            st.Page("screens/record.py", title=words.PAGE_DATA, url_path="data"),
            st.Page("screens/about.py", title=words.PAGE_ABOUT, url_path="about"),
        ],
    },
    position="top",
)
page.run()
