"""Signing out on this device: the session ends as soon as this page is opened."""

from __future__ import annotations

import streamlit as st

from collector.people import signin
from collector.store import StoreError
from dashboard import access, words
from dashboard.launch import data_dir

try:
    signin.sign_out(data_dir(), access.token(), access.address())
except StoreError as error:
    st.error(words.store_fault(str(error)))
    st.stop()
st.rerun()
