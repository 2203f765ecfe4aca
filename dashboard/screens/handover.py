"""The note for the next shift: what stands, what happened, what is due; handed over, printed or copied."""

from __future__ import annotations

import streamlit as st

from collector.rules.entries import NOTE
from dashboard import access_words, queries, service_words
from dashboard import handover_words as words
from dashboard.board import places
from dashboard.crew import who_records
from dashboard.desk import act, draw_outcome
from dashboard.frame import dues, in_words, look, needed_now, strip
from dashboard.handover import KINDS, OWN_MAX, earlier, handed_over, note_html, note_of, note_text
from dashboard.launch import data_dir
from dashboard.times import DAY, HOUR, moment_text

PRINTS = (
    '<button class="sw-print" type="button">{}</button>'
    "<script>document.querySelector('.sw-print').onclick = () => window.print()</script>"
)
EARLIER = 5
strip()
now, now_ms = needed_now()
st.header(words.PAGE)
draw_outcome()
wards = {place.id: place.title for place in places(now)}
one, two = st.columns(2)
ward = one.selectbox(service_words.WARD, ["", *wards], format_func=lambda w: wards.get(w, service_words.ALL_WARDS))
hours = two.segmented_control(words.SPAN, list(words.SPANS), default=12, required=True,
                              format_func=words.SPANS.__getitem__)  # fmt: skip
own = st.text_area(words.OWN, key="handover-own", max_chars=OWN_MAX, help=words.OWN_HELP, height=100)
with in_words():
    from_ms = now_ms - hours * HOUR
    rows = queries.journal(data_dir(), kinds=KINDS, from_ms=from_ms)
    note = note_of(now, now_ms, ward, from_ms, rows, dues(now, now_ms), look().banners)
    if len(rows) == queries.JOURNAL_ROWS:
        st.warning(words.CUT)
    st.html(note_html(note, own))
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(PRINTS.format(words.PRINT), unsafe_allow_javascript=True)
        with st.popover(words.COPY):
            st.code(note_text(note, own), language=None, wrap_lines=True)
    person = who_records(now)
    if person.is_offered(NOTE, ward):
        st.button(words.KEEP, type="primary", on_click=act,
                  args=(lambda at_ms: handed_over(note, own, ward, from_ms, person, at_ms), words.KEPT))  # fmt: skip
    else:
        st.write(access_words.NOT_OFFERED)
    notes = queries.journal(data_dir(), kinds=(NOTE,), from_ms=now_ms - 30 * DAY)
    if before := earlier(notes, ward)[:EARLIER]:
        st.subheader(words.EARLIER)
        for row in before:
            when = moment_text(row.at_ms, now_ms, now.zone)
            with st.expander(words.kept_by(row.who, row.role, when)):
                st.text(f"{row.body['text']}\n\n{row.body.get('note', '')}")
