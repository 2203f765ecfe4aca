"""All units at a glance: what needs attention first, and why in one line; `?ward=` and `?find=` narrow it."""

from __future__ import annotations

import streamlit as st

from collector.service.gate import proofs_due
from dashboard import service_words
from dashboard import unitlist_words as words
from dashboard import words as common_words
from dashboard.board import board_of, places
from dashboard.frame import dues, in_words, look, needed_now, service_rows, strip
from dashboard.sheet import sheet_html
from dashboard.unitlist import chosen, models_of, need_rows, needs

#: Units that need nothing are listed to this many; the others are found by ward, model or text.
MOST = 500
strip()
now, _ = needed_now()
st.header(words.PAGE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
wards = {place.id: place.title for place in places(now)}
one, two, three = st.columns(3)
asked = st.query_params.get("ward", "")
ward = one.selectbox(service_words.WARD, ["", *wards], index=[*wards].index(asked) + 1 if asked in wards else 0,
                     format_func=lambda name: wards.get(name, service_words.ALL_WARDS))  # fmt: skip
model = two.selectbox(words.MODEL, ["", *models_of(now.site)], format_func=lambda name: name or words.ALL_MODELS)
text = three.text_input(words.FIND, st.query_params.get("find", ""), placeholder=words.FIND_PLACEHOLDER, max_chars=60)


@st.fragment(run_every=5)
def listed() -> None:
    """The list, drawn anew as things change; what is due is worked out once a minute."""
    screen = look()
    if screen.now is None or screen.now.site is None:
        return
    known, now_ms = screen.now, screen.now_ms
    with in_words():
        proofs = proofs_due(screen.now.site, service_rows(), known.out_of_service)
        every = needs(known, board_of(known, now_ms, screen.wall_ms), dues(known, now_ms), proofs, now_ms)
        found = chosen(every, ward, model, text)
        st.caption(words.counts(len(found), len(every)))
        if not found:
            st.write(words.NOT_FOUND)
            return
        pressing = [need for need in found if need.pressing]
        quiet = [need for need in found if not need.pressing]
        st.subheader(service_words.counted(words.ATTENTION, len(pressing)))
        st.html(
            sheet_html(words.COLUMNS, need_rows(pressing), MOST, words.WIDTHS)
            if pressing
            else f"<p>{words.NOTHING}</p>"
        )
        if quiet:
            st.subheader(service_words.counted(words.QUIET, len(quiet)))
            st.html(sheet_html(words.COLUMNS, need_rows(quiet), MOST, words.WIDTHS))


listed()
st.caption(words.CAPTION)
