"""The plan of visits: which unit on which day, week by week, and what has to wait and why."""

from __future__ import annotations

from functools import partial

import streamlit as st

from collector.service.calendar_file import calendar_file
from collector.service.week_list import week_lists
from dashboard import plan_words as texts
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.board import places
from dashboard.crew import who_records
from dashboard.desk import draw_outcome
from dashboard.figures import figures_html
from dashboard.frame import in_words, needed_now, plan, strip
from dashboard.planner import deferral_rows, draw_setting, plan_figures, visit_rows, weeks_of
from dashboard.sheet import sheet_html

strip()
now, now_ms = needed_now()
st.header(words.VISITS)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
draw_outcome()
wards = {place.id: place.title for place in places(now)}
one, two = st.columns(2)
weeks = one.selectbox(texts.AHEAD, texts.WEEKS_AHEAD, index=1, format_func=texts.weeks_text)
ward = two.selectbox(words.WARD, ["", *wards], format_func=lambda name: wards.get(name, words.ALL_WARDS))
with in_words():
    found = plan(now, now_ms, weeks)
    st.html(figures_html(plan_figures(found)))
    st.caption(texts.PLAN_CAPTION)
    visits = [visit for visit in found.visits if ward in ("", visit.ward)]
    if not visits:
        st.write(texts.NO_VISITS)
    for monday, listed in weeks_of(visits):
        st.subheader(texts.week_of(monday))
        st.html(sheet_html(texts.VISIT_COLUMNS, visit_rows(listed, now), 100, texts.VISIT_WIDTHS))
    waiting = [one for one in found.deferred if ward in ("", one.ward)]
    st.subheader(words.counted(texts.WAITING, len(waiting)))
    st.html(sheet_html(texts.WAITING_COLUMNS, deferral_rows(waiting, now), 100, texts.WAITING_WIDTHS))
    with st.container(horizontal=True):
        st.download_button(texts.PRINT, partial(week_lists, now.site, found), "weeks.html", "text/html",
                           on_click="ignore")  # fmt: skip
        st.download_button(texts.CALENDAR, partial(calendar_file, now.site, found, now_ms), "visits.ics",
                           "text/calendar", on_click="ignore")  # fmt: skip
    draw_setting(now.site, visits, who_records(now))
