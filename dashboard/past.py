"""The parts of the unit's screen that look back: charts, alarm history, journal."""

from __future__ import annotations

from datetime import date
from typing import Final

import streamlit as st

from collector.rules.entries import ACKNOWLEDGE, CONDITION
from collector.rules.unitrow import RUNNING, UnitRow
from dashboard import guide, queries, words
from dashboard.capacity import is_at_flow, is_old
from dashboard.charts import FLOW, POWER, PURITY, Limit, Quantity, chart
from dashboard.course import course_chart, with_now
from dashboard.episodes import episodes
from dashboard.fan import Fan, fan_layers, fan_of, until_of
from dashboard.figures import episode_rows, figures_html, journal_rows, service_hours
from dashboard.frame import SLOWLY_S, in_words, look, table
from dashboard.freshness import collector_lives, is_stale
from dashboard.launch import data_dir
from dashboard.queries import Now, UnitPast
from dashboard.times import DAY, HOUR, day_end_ms

SPANS: Final = {"Hour": HOUR, "Day": DAY, "Week": 7 * DAY, "Month": 30 * DAY, "Year": 365 * DAY}
CAPACITY_SPANS: Final = {"Day": DAY, "Week": 7 * DAY, "Month": 30 * DAY, "Year": 365 * DAY, "3 years": 1096 * DAY}
_REDRAW_S: Final = {"Hour": 5.0, "Day": 20.0}
ALARM_ROWS: Final = 200
JOURNAL_ROWS: Final = 100


def draw_capacity(unit: str) -> None:
    """The capacity's course over a span that is chosen."""
    span = st.segmented_control("Capacity over", list(CAPACITY_SPANS), default="Month", required=True,
                                label_visibility="collapsed", key="capacity-span")  # fmt: skip
    st.fragment(_course, run_every=20.0)(unit, span)


def _course(unit: str, span: str) -> None:
    screen = look()
    if screen.now is None:
        return
    now, to_ms = screen.now, screen.now_ms
    row = now.units.get(unit, UnitRow(unit=unit))
    with in_words():
        points = queries.unit_capacity(data_dir(), unit, to_ms - CAPACITY_SPANS[span], to_ms)
        points = with_now(points, row.capacity, unit)
        if not points:
            st.info(words.NO_CAPACITY_YET)
            return
        flow_lpm = row.flow_lpm if row.phase == RUNNING else None
        drawn = course_chart(points, to_ms - CAPACITY_SPANS[span], to_ms, now.zone, now.model_of(unit).rated_flow_lpm,
                             flow_lpm, dark=st.context.theme.type == "dark")  # fmt: skip
        st.altair_chart(drawn, width="stretch", key="chart-capacity", alt="Capacity over the chosen span")
        st.caption(words.BAND_CAPTION)


def draw_charts(unit: str, ward: str) -> None:
    """Purity, flow and power over a span that is chosen, up to now or up to the end of a day."""
    left, right = st.columns((3, 1), vertical_alignment="bottom")
    span = left.segmented_control("Span", list(SPANS), default="Hour", required=True, label_visibility="collapsed")
    day = right.date_input("Up to the end of", value=None, key="chart-day", help=words.UP_TO_HELP)
    every_s = None if day else _REDRAW_S.get(span, 60.0)
    st.fragment(_charts, run_every=every_s)(unit, ward, span, day)


def _charts(unit: str, ward: str, span: str, day: date | None) -> None:
    screen = look()
    if screen.now is None:
        return
    now_ms = screen.now_ms // 1000 * 1000
    to_ms = now_ms if day is None else min(now_ms, day_end_ms(day, screen.now.zone))
    with in_words():
        past = queries.unit_past(data_dir(), unit, ward, to_ms - SPANS[span], to_ms)
        lives = collector_lives(screen.now, screen.wall_ms)
        _draw(screen.now, unit, past, _fan(screen.now, unit, to_ms, lives) if to_ms == now_ms else None)


def _fan(now: Now, unit: str, now_ms: int, lives: bool) -> Fan | None:
    """The forecast, unless it is of old data or of another flow."""
    row = now.units.get(unit)
    if row is None or row.capacity is None or is_stale(row, now, now_ms, lives):
        return None
    if is_old(row.capacity, row, now, now_ms):
        return None
    if row.capacity.outlook is None or not is_at_flow(row.capacity.outlook, row):
        return None
    return fan_of(row.capacity, row.purity_pct, now.model_of(unit))


def _draw(now: Now, unit: str, past: UnitPast, fan: Fan | None) -> None:
    if past.far_said:
        st.warning(words.far_away(past.far_said))
    if not len(past.series):
        st.info(f"No readings of {unit} in this span.")
        return
    model = now.model_of(unit)
    until_ms = until_of(fan, past.to_ms, past.to_ms - past.from_ms)
    limits = [Limit(model.amber_pct, f"amber {model.amber_pct:g} %", "medium"),
              Limit(model.red_pct, f"red {model.red_pct:g} %", "high", True)]  # fmt: skip
    if until_ms:
        limits.append(Limit(model.shutdown_pct, f"switch-off {model.shutdown_pct:g} %", "high"))
    rated = [Limit(model.rated_flow_lpm, f"rated {model.rated_flow_lpm:g} L/min", "low")]
    for quantity, lines in ((PURITY, limits), (FLOW, rated), (POWER, [])):
        _chart(now, past, quantity, lines, fan if quantity is PURITY else None, until_ms)
    st.caption(f"Line: mean; band: least and greatest; triangles: alarms raised; discs: ended. From {_source(past)}.")
    if fan is not None:
        st.caption(words.FAN_CAPTION if until_ms else words.beyond_span(fan.levels[0].said))


def _chart(now: Now, past: UnitPast, quantity: Quantity, limits: list[Limit], fan: Fan | None, until_ms: int) -> None:
    dark = st.context.theme.type == "dark"
    ahead = fan_layers(fan, past.to_ms, now.zone, dark=dark) if fan and until_ms else ()
    drawn = chart(past, quantity, now.zone, limits, dark=dark, until_ms=until_ms, ahead=ahead)
    st.altair_chart(drawn, width="stretch", key=f"chart-{quantity.name}", alt=f"{quantity.title} over the chosen span")


def _source(past: UnitPast) -> str:
    series, far = past.series, words.AND_FAR if past.far else ""
    if series.source == "raw":
        return ("single readings" if not series.bucket_ms else f"readings by {series.bucket_ms // 1000} s") + far
    return f"{series.source} of readings, by {series.bucket_ms // 60_000} min{far}"


@st.fragment(run_every=SLOWLY_S)
def draw_record(unit: str, ward: str) -> None:
    """Service hours, what was raised for it and for its ward, and the newest journal rows about it."""
    screen = look()
    if screen.now is None:
        return
    with in_words():
        st.subheader("Service hours")
        st.html(figures_html(service_hours(screen.now.units.get(unit, UnitRow(unit=unit)))))
        st.caption(guide.HOURS)
        _alarms(screen.now, screen.now_ms, unit, ward)
        st.subheader("Journal")
        rows = queries.journal(data_dir(), unit, limit=JOURNAL_ROWS)
        table(journal_rows(rows, screen.now, screen.now_ms))


def _alarms(now: Now, now_ms: int, unit: str, ward: str) -> None:
    st.subheader("Alarms so far")
    kinds = (CONDITION, ACKNOWLEDGE)
    rows = queries.journal(data_dir(), unit, kinds, limit=ALARM_ROWS)
    rows += [row for row in queries.journal(data_dir(), "", kinds, limit=ALARM_ROWS) if row.ward == ward]
    table(episode_rows(episodes(rows), now, now_ms))
