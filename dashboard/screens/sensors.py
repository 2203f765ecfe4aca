"""Sensors and bridges: who is not heard or in doubt, how bridges and carriers stand, what could not be read."""

from __future__ import annotations

import streamlit as st

from dashboard import carriers, help_words, queries, review_queries, safe_copies, service_words
from dashboard import sensor_words as words
from dashboard.carriers import carrier_rows, carrier_warning, way_rows
from dashboard.figures import figures_html
from dashboard.frame import SLOWLY_S, help_beside, in_words, look, needed_now, strip
from dashboard.freshness import collector_lives
from dashboard.health import bridge_rows, collector_figures
from dashboard.launch import data_dir
from dashboard.safe_copies import copy_figures, copy_warning
from dashboard.sensorrows import sensor_rows, sensors
from dashboard.sheet import sheet_html, table_html

strip()
needed_now()
st.header(words.PAGE)


@st.fragment(run_every=SLOWLY_S)
def listed() -> None:
    """Everything on the page, looked at again every quarter of a minute."""
    screen = look()
    if screen.now is None:
        return
    now, now_ms, wall_ms = screen.now, screen.now_ms, screen.wall_ms
    with in_words():
        every = sensors(now, now_ms, collector_lives(now, wall_ms), *review_queries.minutes_heard(data_dir(), now_ms))
        pressing = [one for one in every if one.pressing]
        st.subheader(words.UNITS)
        st.html(sheet_html(words.UNIT_COLUMNS, sensor_rows(pressing, now))) if pressing else st.write(words.ALL_WELL)
        if pressing and len(every) > len(pressing):
            st.write(words.others(len(every) - len(pressing)))
        st.caption(words.CAPTION)
        st.subheader(words.BRIDGES)
        st.html(table_html(bridge_rows(now, now_ms))) if now.bridges else st.write(words.NO_BRIDGE)
        _carried(now, now_ms, wall_ms)


def _carried(now: queries.Now, now_ms: int, wall_ms: int) -> None:
    health = queries.health(data_dir())
    st.subheader(words.INTAKE)
    st.html(figures_html(collector_figures(now, now_ms, wall_ms)))
    st.caption(words.CERTIFICATE)
    st.subheader(words.ASIDE)
    counts = [(kind, f"{count:,}") for kind, count in health.quarantined.items()]
    st.html(figures_html(counts)) if counts else st.write(service_words.NONE)
    st.subheader(carriers.TITLE)
    if warning := carrier_warning(health.carried, now.site, wall_ms):
        st.warning(warning)
    st.html(table_html(carrier_rows(health.carried, now.zone, now_ms)))
    if ways := way_rows(health.carried, now.zone, now_ms):
        st.html(table_html(ways))
    st.subheader(safe_copies.TITLE)
    if warning := copy_warning(health.safe_copy, wall_ms, simulated=now.simulated):
        st.warning(warning)
    st.html(figures_html(copy_figures(health.safe_copy, wall_ms)))


listed()
help_beside(help_words.SENSORS)
