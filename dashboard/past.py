"""The parts of the unit's screen that look back: the linked charts, alarm history, journal."""

from __future__ import annotations

from datetime import date
from typing import Final

import streamlit as st

from collector.rules.capacity.now import CapacityPoint
from collector.rules.entries import ACKNOWLEDGE, CONDITION
from collector.rules.unitrow import RUNNING, UnitRow
from collector.service.tasks import tasks_of
from dashboard import capacity_words, guide, past_words, queries
from dashboard.capacity import is_at_flow, is_old
from dashboard.course import with_now
from dashboard.episodes import episodes
from dashboard.fan import Fan, fan_of, until_of
from dashboard.figures import episode_rows, figures_html, journal_rows, service_hours
from dashboard.frame import SLOWLY_S, in_words, look, table
from dashboard.freshness import collector_lives, is_stale
from dashboard.happened import BEFORE_MS, KINDS, Mark, marks_of
from dashboard.inwords import in_words_html, record_from
from dashboard.launch import data_dir
from dashboard.noting import draw_note
from dashboard.queries import Now, UnitPast
from dashboard.timeline import COURSE_POINTS, POINTS, Picture, linked_spec
from dashboard.times import DAY, HOUR, day_end_ms, moment_text

SPANS: Final = {"Hour": HOUR, "Day": DAY, "Week": 7 * DAY, "Month": 30 * DAY, "Year": 365 * DAY, "3 years": 1096 * DAY}
_REDRAW_S: Final = {"Hour": 10.0, "Day": 20.0}  # a unit is heard every ten seconds or so
_NOW: Final = {"Hour", "Day"}  # spans in which a record that is shorter leaves the axis as it is
ALARM_ROWS: Final = 200
JOURNAL_ROWS: Final = 100


def draw_charts(unit: str, ward: str) -> None:
    """What happened, purity, flow, power and capacity over a span, up to now or up to the end of a day."""
    left, middle, right = st.columns((4, 2, 2), vertical_alignment="bottom")
    span = left.segmented_control("Span", list(SPANS), default="Hour", required=True, label_visibility="collapsed",
                                  format_func=capacity_words.span_name,
                                  key="chart-span")  # fmt: skip
    day = right.date_input("Up to the end of", value=None, key="chart-day", help=capacity_words.UP_TO_HELP,
                           format="YYYY-MM-DD")  # fmt: skip
    follow = middle.toggle(past_words.FOLLOW, value=True, key="chart-follow", help=past_words.FOLLOW_HELP)
    every_s = None if day or not follow else _REDRAW_S.get(span, 60.0)
    st.fragment(_charts, run_every=every_s)(unit, ward, span, day)
    draw_note(unit)


def _charts(unit: str, ward: str, span: str, day: date | None) -> None:
    screen = look()
    if screen.now is None:
        return
    now_ms = screen.now_ms // 1000 * 1000
    to_ms = now_ms if day is None else min(now_ms, day_end_ms(day, screen.now.zone))
    with in_words():
        past, points = _read(screen.now, unit, ward, (to_ms - SPANS[span], to_ms), current=to_ms == now_ms)
        lives = collector_lives(screen.now, screen.wall_ms)
        fan = _fan(screen.now, unit, to_ms, lives) if to_ms == now_ms else None
        standing = [alarm for alarm in screen.now.alarms if alarm.active] if to_ms == now_ms else []
        mine = [alarm for alarm in standing if alarm.unit == unit or (not alarm.unit and alarm.ward == ward)]
        marks = marks_of(past.events, mine, _tasks(screen.now, unit), past.from_ms, to_ms)
        _draw(screen.now, unit, past, points, marks, fan, whole=span in _NOW)


def _read(
    now: Now, unit: str, ward: str, span: tuple[int, int], *, current: bool
) -> tuple[UnitPast, list[CapacityPoint]]:  # fmt: skip
    past = queries.unit_past(data_dir(), unit, ward, *span, POINTS, before_ms=BEFORE_MS, kinds=KINDS)
    points = queries.unit_capacity(data_dir(), unit, span[0] - HOUR, span[1], COURSE_POINTS)
    row = now.units.get(unit)
    return past, with_now(points, row.capacity if row and current else None, unit)


def _tasks(now: Now, unit: str) -> dict[str, str]:
    if now.site is None or now.site.unit(unit) is None:
        return {}
    return {task.id: task.title for task in tasks_of(now.site, unit)}


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


def _draw(
    now: Now, unit: str, past: UnitPast, points: list[CapacityPoint], marks: list[Mark], fan: Fan | None, *, whole: bool
) -> None:  # fmt: skip
    if past.far_said:
        st.warning(capacity_words.far_away(past.far_said))
    if not len(past.series):
        st.info(f"No readings of {unit} in this span.")
    if not points:
        st.caption(capacity_words.NO_CAPACITY_YET)
    if not len(past.series) and not points and not marks:
        return
    until_ms = until_of(fan, past.to_ms, past.to_ms - past.from_ms)
    begun_ms = past.from_ms if whole else record_from(past, points, marks)
    row = now.units.get(unit)
    flow_lpm = row.flow_lpm if row is not None and row.phase == RUNNING else None
    picture = Picture(past, points, marks, now.zone, now.model_of(unit), begun_ms, max(past.to_ms, until_ms), flow_lpm,
                      fan if until_ms else None, st.context.theme.type == "dark")  # fmt: skip
    shape = f"{past.to_ms - past.from_ms}-{bool(picture.fan)}"  # another shape of chart is another chart to a browser
    with st.container(key=f"linked-{shape}"):
        st.vega_lite_chart(linked_spec(picture), width="stretch", key=f"chart-{shape}", alt=past_words.ALT)
    if begun_ms > past.from_ms:
        st.caption(past_words.record_begins(moment_text(begun_ms, past.to_ms, now.zone)))
    st.caption(f"{past_words.HOW_TO_USE} From {_source(past)}. {past_words.CAPACITY_CAPTION if points else ''}")
    if fan is not None:
        st.caption(capacity_words.FAN_CAPTION if until_ms else capacity_words.beyond_span(fan.levels[0].said))
    with st.expander(past_words.IN_WORDS):
        st.html(in_words_html(past, marks, now.zone))


def _source(past: UnitPast) -> str:
    series, far = past.series, capacity_words.AND_FAR if past.far else ""
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
