"""Backup oxygen: each ward's cylinders and proven spare units, how long they last, a gauge to be read; `?ward=ID`."""

from __future__ import annotations

import streamlit as st

from collector.backup import card
from dashboard import backup_words as words
from dashboard import service_words
from dashboard import words as common_words
from dashboard.backup_form import draw_gauge
from dashboard.backuprows import backup_line, cylinder_rows, is_low, spare_rows
from dashboard.board import places
from dashboard.frame import SLOWLY_S, look, needed_now, strip
from dashboard.sheet import sheet_html

strip()
now, _ = needed_now()
st.header(service_words.BACKUP)
if now.site is None:
    st.info(common_words.EMPTY_SITE)
    st.stop()
wards = {place.id: place.title for place in places(now)}
asked = st.query_params.get("ward", "")
ward = st.selectbox(
    service_words.WARD, ["", *wards], index=[*wards].index(asked) + 1 if asked in wards else 0, width=320,
    format_func=lambda name: wards.get(name, service_words.ALL_WARDS),
)  # fmt: skip
draw_gauge(ward)


@st.fragment(run_every=SLOWLY_S)
def present() -> None:
    """Every ward's backup as it was last judged."""
    screen = look()
    if screen.now is None:
        return
    found = screen.now.backup.wards
    shown = [one for name, one in found.items() if (not ward or name == ward) and (name in wards or one.cylinders)]
    if not shown:
        st.info(words.NO_BACKUP)
    for one in shown:
        st.subheader(wards.get(one.ward, one.ward))
        (st.warning if is_low(one, screen.now_ms) else st.write)(backup_line(one, screen.now, screen.now_ms))
        rows = cylinder_rows(one, screen.now, screen.now_ms)
        st.html(sheet_html(words.CYLINDER_COLUMNS, rows, 100, words.CYLINDER_WIDTHS))
        if spares := spare_rows(one, screen.now, screen.now_ms):
            st.write(words.SPARES)
            st.html(sheet_html(words.SPARE_COLUMNS, spares))


present()
st.caption(words.HOW)
st.caption(" ".join(card.CAUTIONS))
