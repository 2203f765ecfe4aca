"""The course of a unit's capacity over days to years as a chart; pure.

What was not seen (low flow) is drawn pale and without a middle: there only the lower edge says anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from collector.rules.capacity.now import CapacityNow, CapacityPoint
from dashboard.charts import HEIGHT_PX, IN_USE, LINE, Limit, limit_layers, local_times, time_axis
from dashboard.times import DAY, HOUR

PROVEN: Final = "#2c8a57"
#: Hours without a point after which band and line break off.
_OPEN_MS: Final = 3 * HOUR
#: What lies far above the rated flow is not told apart: the axis ends there.
_TOP_OF_RATED: Final = 1.6
_WHEN: Final = "%d %b %Y %H:%M"


def course_frame(points: Sequence[CapacityPoint], zone: ZoneInfo) -> pd.DataFrame:
    """Columns time, when, low, middle (NaN when not seen), high, proven, seen, part (counts up at gaps), lone."""
    times_ms = np.array([point.hour_ms for point in points], np.int64)
    seen = np.array([point.seen for point in points], bool)
    steps = np.diff(times_ms)
    width_ms = int(np.median(steps)) if len(steps) else 0
    breaks = np.zeros(len(points), bool)
    breaks[1:] = (steps > max(_OPEN_MS, 2.5 * width_ms)) | (seen[1:] != seen[:-1])
    times = local_times(times_ms, zone)
    table = pd.DataFrame({
        "time": times, "when": times.strftime(_WHEN), "low": [p.p05_lpm for p in points],
        "middle": [p.p50_lpm if p.seen else np.nan for p in points], "high": [p.p95_lpm for p in points],
        "proven": pd.Series([p.proven_lpm for p in points], dtype=float), "seen": seen, "part": np.cumsum(breaks),
    })  # fmt: skip
    table["lone"] = table.groupby("part")["time"].transform("count") == 1
    return table.round({"low": 2, "middle": 2, "high": 2, "proven": 2})


def with_now(points: Sequence[CapacityPoint], found: CapacityNow | None, unit: str) -> list[CapacityPoint]:
    """The points and, as the last one, what is known now."""
    if found is None or (points and points[-1].hour_ms >= found.at_ms):
        return list(points)
    last = CapacityPoint(unit=unit, hour_ms=found.at_ms, p05_lpm=found.p05_lpm, p50_lpm=found.p50_lpm,
                         p95_lpm=found.p95_lpm, seen=found.seen,
                         proven_lpm=points[-1].proven_lpm if points else None)  # fmt: skip
    return [*points, last]


def course_chart(
    points: Sequence[CapacityPoint], from_ms: int, to_ms: int, zone: ZoneInfo, rated_lpm: float,
    flow_lpm: float | None, *, dark: bool = False,
) -> alt.LayerChart | alt.FacetChart:  # fmt: skip
    """Band, most likely value and proven flow, with the rated flow and the flow in use drawn in.

    Where the record (one point at least) is shorter than the span, the axis begins with it, but shows a day at least.
    """
    table = course_frame(points, zone)
    top = max(rated_lpm * 1.15, flow_lpm or 0, min(float(table["high"].max()), rated_lpm * _TOP_OF_RATED))
    begin_ms = max(from_ms, min(points[0].hour_ms, to_ms - DAY))
    x = time_axis(begin_ms, to_ms + (to_ms - begin_ms) // 80, zone)  # room for the last point
    limits = [Limit(rated_lpm, f"rated {rated_lpm:g} L/min", "low")]
    layers = [*_bands(table, x, top), _middle(table, top), *_proven(table)]
    layers += [layer for limit in limits for layer in limit_layers(limit, dark)]
    if flow_lpm is not None:
        layers += limit_layers(Limit(flow_lpm, f"in use {flow_lpm:.1f} L/min", IN_USE, True), dark)
    return alt.layer(*layers).properties(height=HEIGHT_PX + 40)


def _y(name: str, top: float) -> alt.Y:
    return alt.Y(f"{name}:Q", title="Capacity, L/min", scale=alt.Scale(domain=[0, top * 1.04], nice=False),
                 axis=alt.Axis(tickCount=5, minExtent=40))  # fmt: skip


def _bands(table: pd.DataFrame, x: alt.X, top: float) -> list[alt.Chart]:
    """Seen dark, not seen pale; an hour between gaps has no width and is drawn as a stroke."""
    opacity = alt.Opacity("seen:N", scale=alt.Scale(domain=[True, False], range=[0.32, 0.12]), legend=None)
    base = alt.Chart(table).encode(x=x, y=_y("low", top), y2="high:Q", detail="part:N", opacity=opacity)
    area = base.mark_area(color=LINE, clip=True)
    strokes = base.transform_filter(alt.datum.lone).mark_rule(color=LINE, strokeWidth=3, clip=True)
    edge = alt.Chart(table).transform_filter("!datum.seen").mark_line(color=LINE, strokeWidth=1, strokeDash=[2, 3])
    return [area, strokes, edge.encode(x="time:T", y="low:Q", detail="part:N")]


def _middle(table: pd.DataFrame, top: float) -> alt.Chart:
    tips = [alt.Tooltip("when:N", title="time"), *(alt.Tooltip(f"{name}:Q", format=".1f")
            for name in ("low", "middle", "high", "proven"))]  # fmt: skip
    dots = alt.OverlayMarkDef(size=28) if len(table) <= 60 else False
    line = alt.Chart(table[table["seen"]]).mark_line(color=LINE, strokeWidth=1.8, point=dots, clip=True)
    found: alt.Chart = line.encode(x="time:T", y=_y("middle", top), detail="part:N", tooltip=tips)
    return found


def _proven(table: pd.DataFrame) -> list[alt.Chart]:
    known = table.dropna(subset=["proven"])
    if known.empty:
        return []
    line = alt.Chart(known).mark_line(color=PROVEN, strokeWidth=1.8, strokeDash=[5, 3], interpolate="step-after")
    text = alt.Chart(known.tail(1).assign(text="proven")).mark_text(align="right", dy=10, fontSize=11, color=PROVEN)
    return [line.encode(x="time:T", y="proven:Q"), text.encode(x="time:T", y="proven:Q", text="text:N")]
