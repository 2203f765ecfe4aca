"""The dashboard as Streamlit serves it: its screens, and the addresses of signing in beside them (see launch.py)."""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from dashboard.doorway import ROUTES
from dashboard.packing import Packed
from dashboard.sso import secrets
from dashboard.wire import remember_more

remember_more()
app = st.App(Path(__file__).with_name("app.py"), routes=ROUTES, secrets=secrets(), middleware=[Middleware(Packed)])
