"""The dashboard as Streamlit serves it: its screens, and the addresses of signing in beside them (see launch.py)."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard.doorway import ROUTES
from dashboard.sso import secrets

app = st.App(Path(__file__).with_name("app.py"), routes=ROUTES, secrets=secrets())
