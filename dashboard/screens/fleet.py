"""The fleet's figures over a span: what was available, what failed, what it used, what the wards needed and heard."""

from __future__ import annotations

import streamlit as st

from dashboard import fleet_words as words
from dashboard import fleetrows as rows
from dashboard import help_words, service_words
from dashboard import words as common_words
from dashboard.figures import figures_html
from dashboard.frame import fleet, help_beside, in_words, needed_now, strip
from dashboard.sheet import sheet_html
from dashboard.times import DAY, moment_text

strip()
now, now_ms = needed_now()
st.header(service_words.FLEET)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
days = st.segmented_control(words.SPAN, list(words.SPANS), default=30, required=True, label_visibility="collapsed",
                            format_func=words.SPANS.__getitem__)  # fmt: skip
with in_words():
    found = fleet(now.site, days, now_ms)
    start, end = found.span
    if end - start < DAY // 24:
        st.info(words.NO_FIGURES_YET)
        st.stop()
    st.html(figures_html(rows.head_figures(found, now.site.facility.currency)))
    st.caption(words.figures_of(moment_text(start, now_ms, now.zone), moment_text(end, now_ms, now.zone),
                                found.fleet.availability.units, len(found.stored)))  # fmt: skip
    for title, columns, listed in (
        (words.AVAILABILITY, words.HOURS_COLUMNS, rows.hours_rows(found, now)),
        (words.FAILURES_HEAD, words.FAILURE_COLUMNS, rows.failure_rows(found, now)),
        (words.EACH_FAILURE, words.EACH_COLUMNS, rows.each_failure(found.failures, now, now_ms)),
        (words.FIRST_FAILURE, words.SURVIVAL_COLUMNS, rows.survival_rows(found.survival)),
        (words.DEMAND, words.DEMAND_COLUMNS, rows.demand_rows(found.demand, now)),
        (words.ALARM_LOAD, words.ALARM_COLUMNS, rows.alarm_rows(found.alarms, now)),
    ):
        st.subheader(title)
        st.html(sheet_html(columns, listed))
        st.caption(words.FIGURE_NOTES[title])
help_beside(help_words.FLEET)
