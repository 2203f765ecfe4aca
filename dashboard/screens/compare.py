"""Two to six units over one span: a chart for each quantity, and the same in numbers; `?units=a,b`."""

from __future__ import annotations

import streamlit as st

from dashboard import compare_words as words
from dashboard import queries
from dashboard import words as common_words
from dashboard.charts import axis_ends
from dashboard.compare import CAPACITY, MOST, capacities, lines, measured, value_rows
from dashboard.frame import in_words, needed_now, strip
from dashboard.launch import data_dir
from dashboard.sheet import sheet_html
from dashboard.times import DAY, HOUR

LENGTHS = {"hour": HOUR, "day": DAY, "week": 7 * DAY, "month": 30 * DAY, "year": 365 * DAY}
POINTS = 400
strip()
now, now_ms = needed_now()
st.header(words.PAGE)
if now.site is None or not now.site.units:
    st.info(common_words.EMPTY_SITE)
    st.stop()
known = [unit.id for unit in now.site.units]
asked = [unit for unit in st.query_params.get("units", "").split(",") if unit in known][:MOST]
units = st.multiselect(words.CHOOSE, known, default=asked or known[:2], max_selections=MOST, help=words.HELP)
span = st.segmented_control(words.SPAN, list(words.SPANS), default="day", required=True, label_visibility="collapsed",
                            format_func=words.SPANS.__getitem__)  # fmt: skip
if len(units) < 2:
    st.info(words.TOO_FEW)
    st.stop()
st.query_params["units"] = ",".join(units)
from_ms = now_ms - LENGTHS[span]
with in_words():
    found = {
        unit: queries.unit_past(data_dir(), unit, now.site.ward_of(unit).id, from_ms, now_ms, POINTS).series
        for unit in units
    }
    hours = {unit: queries.unit_capacity(data_dir(), unit, from_ms, now_ms) for unit in units}
    tables = measured(found, now.zone) | {CAPACITY: capacities(hours, now.zone)}
    if not any(len(table) for table in tables.values()):
        st.info(words.NOTHING)
        st.stop()
    ends = axis_ends((from_ms, now_ms), now.zone)
    drawn = {name: table for name, table in tables.items() if len(table)}
    for name, table in drawn.items():
        chart = lines(table, name, units, ends, named=name == next(iter(drawn)))
        st.altair_chart(chart, width="stretch", key=f"compare-{name}", alt=words.over_span(words.TITLES[name]))
    st.subheader(words.VALUES)
    st.html(sheet_html(words.COLUMNS, value_rows(tables, units, now)))
    st.caption(words.CAPTION)
