"""All units at a glance: what needs attention first, and why in one line; `?ward=` and `?find=` narrow it."""

from __future__ import annotations

import streamlit as st

from collector.service.gate import proofs_due
from dashboard import service_words
from dashboard import unitlist_words as words
from dashboard import words as common_words
from dashboard.adding import draw_adding
from dashboard.board import board_of, places
from dashboard.frame import EVERY_S, dues, in_words, look, needed_now, service_rows, strip
from dashboard.sheet import sheet_html
from dashboard.unitlist import Need, chosen, models_of, need_rows, needs

#: Units that need nothing are listed to this many; the others are found by ward, model or text.
MOST = 500
strip()
now, _ = needed_now()
st.header(words.PAGE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    draw_adding(now)
    st.stop()
units = now.site.units
wards = {place.id: place.title for place in places(now)}
one, two, three = st.columns(3)
asked = st.query_params.get("ward", "")
ward = one.selectbox(service_words.WARD, ["", *wards], index=[*wards].index(asked) + 1 if asked in wards else 0,
                     format_func=lambda name: wards.get(name, service_words.ALL_WARDS))  # fmt: skip
model = two.selectbox(words.MODEL, ["", *models_of(now.site)], format_func=lambda name: name or words.ALL_MODELS)
text = three.text_input(words.FIND, st.query_params.get("find", ""), placeholder=words.FIND_PLACEHOLDER, max_chars=60)


def found() -> tuple[list[Need], list[Need], list[Need]]:
    """What fits the choice: units that need attention, those with a task this week, and all others."""
    screen = look()
    if screen.now is None or screen.now.site is None:
        return [], [], []
    known, now_ms = screen.now, screen.now_ms
    proofs = proofs_due(screen.now.site, service_rows(), known.out_of_service)
    every = needs(known, board_of(known, now_ms, screen.wall_ms), dues(known, now_ms), proofs, now_ms)
    fits = chosen(every, ward, model, text)
    return ([one for one in fits if one.pressing], [one for one in fits if one.soon],
            [one for one in fits if not one.pressing and not one.soon])  # fmt: skip


@st.fragment(run_every=EVERY_S + 3)
def pressing() -> None:
    """What needs attention, drawn anew as things change."""
    with in_words():
        listed, *others = found()
        shown = sum(map(len, (listed, *others)))
        st.caption(words.counts(shown, len(units)))
        if not shown:
            st.write(words.NOT_FOUND)
            return
        st.subheader(service_words.counted(words.ATTENTION, len(listed)))
        if listed:
            st.html(sheet_html(words.COLUMNS, need_rows(listed), MOST, words.WIDTHS))
        else:
            st.write(words.NOTHING)


@st.fragment(run_every=60)
def quiet() -> None:
    """All others, once a minute: they are many, and a slow network carries them each time."""
    with in_words():
        _, soon, calm = found()
        for title, listed in ((words.THIS_WEEK, soon), (words.QUIET, calm)):
            if listed:
                st.subheader(service_words.counted(title, len(listed)))
                st.html(sheet_html(words.COLUMNS, need_rows(listed), MOST, words.WIDTHS))


pressing()
draw_adding(now)  # seldom wanted: below what cannot wait, above the long list of what can
quiet()
st.caption(words.CAPTION)
