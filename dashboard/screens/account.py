"""One's own account: the password, and signing out everywhere."""

from __future__ import annotations

import streamlit as st

from dashboard import access, doorway, entrance
from dashboard import access_words as words
from dashboard.frame import strip

strip()
person = access.current()
st.header(words.MY_ACCOUNT)
if person is None:
    st.info(words.OPEN)
    st.stop()
st.write(words.signed_in_as(person))
if said := entrance.said_text():
    (st.success if st.query_params.get("said") == "changed" else st.error)(said)
st.subheader(words.CHANGE_PASSWORD)
fields = entrance.field(words.OLD_PASSWORD, "old", "password", "current-password")
fields += entrance.field(words.NEW_PASSWORD, "password", "password", "new-password")
st.html(entrance.form(doorway.CHANGE, fields, words.CHANGE_PASSWORD, "/account"))
st.caption(f"{words.LENGTHS} {words.CHANGE_HOW}")
st.subheader(words.SIGN_OUT)
everywhere = '<input type="hidden" name="everywhere" value="yes">'
st.html(entrance.form(doorway.OUT, everywhere, words.SIGN_OUT_EVERYWHERE))
