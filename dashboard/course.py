"""The course of a unit's capacity over days to years as a view of its linked chart; pure.

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
from dashboard import past_words as words
from dashboard.charts import IN_USE, LINE, Limit, limit_layers, local_times, x_axis, y_axis
from dashboard.times import HOUR

PROVEN: Final = "#2c8a57"
COURSE: Final = "course"
#: Hours without a point after which band and line break off.
_OPEN_MS: Final = 3 * HOUR
#: What lies far above the rated flow is not told apart: the axis ends there.
_TOP_OF_RATED: Final = 1.6


def course_frame(points: Sequence[CapacityPoint], zone: ZoneInfo) -> pd.DataFrame:
    """Columns time, low, middle (NaN when not seen), high, proven, seen, part (counts up at gaps), lone."""
    times_ms = np.array([point.hour_ms for point in points], np.int64)
    seen = np.array([point.seen for point in points], bool)
    steps = np.diff(times_ms)
    width_ms = int(np.median(steps)) if len(steps) else 0
    breaks = np.zeros(len(points), bool)
    breaks[1:] = (steps > max(_OPEN_MS, 2.5 * width_ms)) | (seen[1:] != seen[:-1])
    table = pd.DataFrame({
        "time": local_times(times_ms, zone), "low": [p.p05_lpm for p in points],
        "middle": [p.p50_lpm if p.seen else np.nan for p in points], "high": [p.p95_lpm for p in points],
        "proven": pd.Series([p.proven_lpm for p in points], dtype=float), "seen": seen,
        "part": np.cumsum(breaks).astype(np.int32),
    })  # fmt: skip
    table["lone"] = table.groupby("part")["time"].transform("count") == 1
    values = ["low", "middle", "high", "proven"]
    table[values] = table[values].round(2).astype(np.float32)
    return table


def with_now(points: Sequence[CapacityPoint], found: CapacityNow | None, unit: str) -> list[CapacityPoint]:
    """The points and, as the last one, what is known now."""
    if found is None or (points and points[-1].hour_ms >= found.at_ms):
        return list(points)
    last = CapacityPoint(unit=unit, hour_ms=found.at_ms, p05_lpm=found.p05_lpm, p50_lpm=found.p50_lpm,
                         p95_lpm=found.p95_lpm, seen=found.seen,
                         proven_lpm=points[-1].proven_lpm if points else None)  # fmt: skip
    return [*points, last]


def course_layers(
    table: pd.DataFrame, rated_lpm: float, flow_lpm: float | None, *, dark: bool = False
) -> list[alt.Chart]:
    """Band, most likely value and proven flow, with the rated flow and the flow in use drawn in."""
    highest = 0.0 if table.empty else float(table["high"].max())
    top = max(rated_lpm * 1.15, flow_lpm or 0, min(highest, rated_lpm * _TOP_OF_RATED)) * 1.04
    top = float(np.ceil(top * 2) / 2)  # in halves, so that it seldom moves
    layers = [*_bands(top), _middle(table, top), *_proven(table, top)]
    layers += limit_layers(Limit(rated_lpm, words.rated(rated_lpm), "low"), dark)
    if flow_lpm is not None:
        layers += limit_layers(Limit(flow_lpm, words.in_use(flow_lpm), IN_USE, True), dark)
    return layers


def _y(name: str, top: float) -> alt.Y:
    return y_axis(name, words.CAPACITY, [0.0, top])


def _bands(top: float) -> list[alt.Chart]:
    """Seen dark, not seen pale; an hour between gaps has no width and is drawn as a stroke."""
    opacity = alt.Opacity("seen:N", sort=[True, False],
                          scale=alt.Scale(domain=[True, False], range=[0.32, 0.12]), legend=None)  # fmt: skip
    known = alt.Chart(alt.NamedData(COURSE))
    x = x_axis(labels=True)
    base = known.encode(x=x, y=_y("low", top), y2="high:Q", detail="part:N", opacity=opacity)
    area = base.mark_area(color=LINE, clip=True)
    strokes = base.transform_filter(alt.datum.lone).mark_rule(color=LINE, strokeWidth=3, clip=True)
    edge = known.transform_filter("!datum.seen").mark_line(color=LINE, strokeWidth=1, strokeDash=[2, 3], clip=True)
    return [area, strokes, edge.encode(x=x, y=_y("low", top), detail="part:N")]


def _middle(table: pd.DataFrame, top: float) -> alt.Chart:
    dots = alt.OverlayMarkDef(size=28) if len(table) <= 60 else False
    line = alt.Chart(alt.NamedData(COURSE)).transform_filter("datum.seen")
    line = line.mark_line(color=LINE, strokeWidth=1.8, point=dots, clip=True)
    found: alt.Chart = line.encode(x=x_axis(labels=True), y=_y("middle", top), detail="part:N")
    return found


def _proven(table: pd.DataFrame, top: float) -> list[alt.Chart]:
    known = table.dropna(subset=["proven"])
    if known.empty:
        return []
    line = alt.Chart(alt.NamedData(COURSE)).transform_filter("isValid(datum.proven)")
    line = line.mark_line(color=PROVEN, strokeWidth=1.8, strokeDash=[5, 3], interpolate="step-after", clip=True)
    last = pd.DataFrame({"proven": [float(known["proven"].iloc[-1])], "text": [words.PROVEN]})
    text = alt.Chart(last).mark_text(align="right", dx=-4, dy=10, fontSize=11, color=PROVEN)
    return [line.encode(x=x_axis(labels=True), y=_y("proven", top)),
            text.encode(x=alt.value("width"), y="proven:Q", text="text:N")]  # fmt: skip
