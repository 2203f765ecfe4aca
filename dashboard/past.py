"""The parts of the unit's screen that look back: charts, alarm history, journal."""

from __future__ import annotations

from typing import Final

import streamlit as st

from collector.rules.entries import ACKNOWLEDGE, CONDITION
from collector.rules.unitrow import UnitRow
from collector.site import Model
from dashboard import queries, words
from dashboard.charts import FLOW, POWER, PURITY, Limit, Quantity, chart
from dashboard.episodes import episodes
from dashboard.figures import episode_rows, figures_html, journal_rows, service_hours
from dashboard.frame import SLOWLY_S, data_dir, in_words, look, table
from dashboard.queries import Now, UnitPast
from dashboard.times import DAY, HOUR, moment_text

SPANS: Final = {"Hour": HOUR, "Day": DAY, "Week": 7 * DAY, "Month": 30 * DAY, "Year": 365 * DAY}
_REDRAW_S: Final = {"Hour": 5.0, "Day": 20.0}
ALARM_ROWS: Final = 200
JOURNAL_ROWS: Final = 100


def draw_charts(unit: str, ward: str) -> None:
    """Purity, flow and power over a span that is chosen."""
    span = st.segmented_control("Span", list(SPANS), default="Hour", required=True, label_visibility="collapsed")
    st.fragment(_charts, run_every=_REDRAW_S.get(span, 60.0))(unit, ward, span)


def _charts(unit: str, ward: str, span: str) -> None:
    screen = look()
    if screen.now is None:
        return
    to_ms = screen.now_ms // 1000 * 1000
    with in_words():
        past = queries.unit_past(data_dir(), unit, ward, to_ms - SPANS[span], to_ms)
        _draw(screen.now, unit, past)


def _draw(now: Now, unit: str, past: UnitPast) -> None:
    if not len(past.series):
        st.info(f"No readings of {unit} in this span.")
        return
    model = now.site.model_of(unit) if now.site else Model(id="default")
    limits = (Limit(model.amber_pct, f"amber {model.amber_pct:g} %", "medium"),
              Limit(model.red_pct, f"red {model.red_pct:g} %", "high"))  # fmt: skip
    rated = (Limit(model.rated_flow_lpm, f"rated {model.rated_flow_lpm:g} L/min", "low"),)
    for quantity, lines in ((PURITY, limits), (FLOW, rated), (POWER, ())):
        _chart(now, past, quantity, lines)
    st.caption(f"Line: mean; band: least and greatest; triangles: alarms raised; discs: ended. From {_source(past)}.")


def _chart(now: Now, past: UnitPast, quantity: Quantity, limits: tuple[Limit, ...]) -> None:
    drawn = chart(past, quantity, now.zone, limits, dark=st.context.theme.type == "dark")
    st.altair_chart(drawn, width="stretch", key=f"chart-{quantity.name}", alt=f"{quantity.title} over the chosen span")


def _source(past: UnitPast) -> str:
    series = past.series
    if series.source == "raw":
        return "single readings" if not series.bucket_ms else f"readings by {series.bucket_ms // 1000} s"
    return f"{series.source} of readings, by {series.bucket_ms // 60_000} min"


@st.fragment(run_every=SLOWLY_S)
def draw_record(unit: str, ward: str) -> None:
    """Service hours, what was raised for it and for its ward, and the newest journal rows about it."""
    screen = look()
    if screen.now is None:
        return
    with in_words():
        _hours_and_capacity(screen.now, screen.now_ms, unit)
        _alarms(screen.now, screen.now_ms, unit, ward)
        st.subheader("Journal")
        rows = queries.journal(data_dir(), unit, limit=JOURNAL_ROWS)
        table(journal_rows(rows, screen.now, screen.now_ms))


def _hours_and_capacity(now: Now, now_ms: int, unit: str) -> None:
    row = now.units.get(unit, UnitRow(unit=unit))
    left, right = st.columns(2)
    with left:
        st.subheader("Service hours")
        st.html(figures_html(service_hours(row)))
        st.caption(words.HOURS)
    with right:
        st.subheader("Capacity")
        st.write(words.CAPACITY_PLACE)
        day = moment_text(row.proven_ms, now_ms, now.zone)
        said = words.NOT_PROVEN if row.proven_lpm is None else words.proven(f"{row.proven_lpm:.1f}", day)
        st.write(f"{said[0].upper()}{said[1:]}.")


def _alarms(now: Now, now_ms: int, unit: str, ward: str) -> None:
    st.subheader("Alarms so far")
    kinds = (CONDITION, ACKNOWLEDGE)
    rows = queries.journal(data_dir(), unit, kinds, limit=ALARM_ROWS)
    rows += [row for row in queries.journal(data_dir(), "", kinds, limit=ALARM_ROWS) if row.ward == ward]
    table(episode_rows(episodes(rows), now, now_ms))
