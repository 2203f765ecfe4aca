"""How the data are: the collector, what was put aside, the store's size, and the journal."""

from __future__ import annotations

import streamlit as st

from collector.rules.entries import KINDS
from dashboard import queries
from dashboard.carriers import TITLE as CARRIED
from dashboard.carriers import carrier_rows, carrier_warning, way_rows
from dashboard.figures import figures_html, journal_rows, quarantine_rows
from dashboard.frame import EVERY_S, in_words, look, needed_now, strip, table
from dashboard.health import bridge_rows, collector_figures, store_figures
from dashboard.launch import data_dir
from dashboard.safe_copies import TITLE, copy_figures, copy_warning
from dashboard.times import DAY
from dashboard.way_test import TRIED, tried_text

BACK = {1: "1 day", 7: "7 days", 30: "30 days", 366: "a year", 36_600: "to the beginning"}

strip()


@st.fragment(run_every=EVERY_S)
def collector() -> None:
    """The collector's own figures."""
    screen = look()
    if screen.now is not None:
        st.html(figures_html(collector_figures(screen.now, screen.now_ms, screen.wall_ms)))


now, now_ms = needed_now()
st.subheader("Collector")
collector()
if now.bridges:
    st.subheader("Bridges")
    st.dataframe(bridge_rows(now, now_ms), hide_index=True)
with in_words():
    health = queries.health(data_dir())
    st.subheader("Store")
    st.html(figures_html(store_figures(health, now, now_ms)))
    st.subheader(f"{TITLE}, and the alarm's way")
    wall_ms = queries.wall_ms()
    if warning := copy_warning(health.safe_copy, wall_ms, simulated=now.simulated):
        st.warning(warning)
    st.html(figures_html([*copy_figures(health.safe_copy, wall_ms), (TRIED, tried_text(health.way_tried, wall_ms))]))
    if warning := carrier_warning(health.carried, now.site, wall_ms):
        st.warning(warning)
    if carried := carrier_rows(health.carried, now.zone, now_ms):
        st.subheader(CARRIED)
        st.dataframe(carried, hide_index=True)
    if ways := way_rows(health.carried, now.zone, now_ms):
        st.dataframe(ways, hide_index=True)
    st.subheader("Could not be read: kept aside")
    if health.quarantined:
        st.write(" · ".join(f"{kind}: {count}" for kind, count in health.quarantined.items()))
    table(quarantine_rows(health.quarantine, now, now_ms))
    st.subheader("Journal")
    one, two, three = st.columns(3)
    units = sorted({*now.units, *(unit.id for unit in now.site.units)} if now.site else now.units)
    unit = one.selectbox("Unit", ["", *units], format_func=lambda name: name or "all units")
    kinds = two.multiselect("What", KINDS)
    days = three.selectbox("Back", list(BACK), format_func=BACK.__getitem__)
    rows = queries.journal(data_dir(), unit or None, kinds or None, now_ms - days * DAY)
    st.caption(f"{len(rows)} rows, newest first{', the newest are shown' * (len(rows) == queries.JOURNAL_ROWS)}")
    table(journal_rows(rows, now, now_ms))
