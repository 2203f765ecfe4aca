"""A unit's past as charts: the mean as a line in a band of least and greatest, limits and events drawn in; pure.

Times are shown in the facility's zone: points are moved to its wall clock and drawn on a UTC axis, since a browser
knows only UTC and its own zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from collector.rules.catalogue import title_of
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, RAISED
from collector.rules.limits import LIMITS
from collector.store.history import Series
from dashboard.queries import UnitPast
from dashboard.times import DAY

HEIGHT_PX: Final = 190
LINE: Final = "#3b7dbd"
INK: Final = {False: "#16202a", True: "#e9eef2"}
FEW_POINTS: Final = 120
_SHOWN: Final = ("mean", "min", "max")
#: As text: a tooltip would show a moment in the browser's own zone.
_WHEN: Final = "%d %b %H:%M:%S"
_WHEN_TIP: Final = alt.Tooltip("when:N", title="time")
#: Colours as on the board; each limit and event also carries its word.
COLOURS: Final = {"high": "#d2202f", "medium": "#b87d00", "low": "#0b8ba3"}
IN_USE: Final = "in-use"
IN_USE_COLOUR: Final = "#8b8f96"


class Limit(NamedTuple):
    """A level drawn across a chart; its word stands above its line, or below it."""

    value: float
    text: str
    priority: str
    below: bool = False


class Quantity(NamedTuple):
    """What a chart shows; `least` and `most` are the span it shows at least."""

    name: str
    title: str
    least: float
    most: float


PURITY: Final = Quantity("purity_pct", "Purity, %", 80, 97)
FLOW: Final = Quantity("flow_lpm", "Flow, L/min", 0, 1)
POWER: Final = Quantity("power_w", "Power, W", 0, 100)


def local_times(time_ms: Sequence[int] | np.ndarray, zone: ZoneInfo) -> pd.DatetimeIndex:
    """Moments as the facility's wall clock shows them, passed off as UTC."""
    moments = pd.to_datetime(np.asarray(time_ms, np.int64), unit="ms", utc=True)
    return pd.DatetimeIndex(moments.tz_convert(zone).tz_localize(None).tz_localize("UTC"))


def frame_of(series: Series, quantity: str, zone: ZoneInfo) -> pd.DataFrame:
    """Columns time, when, mean, min, max, and part, which counts up at every gap: no line is drawn across one."""
    band = series.bands[quantity]
    table = pd.DataFrame({"time": local_times(series.time_ms, zone), "mean": band.mean, "min": band.min,
                          "max": band.max})  # fmt: skip
    open_ms = max(2.5 * series.bucket_ms, LIMITS.absent_ms)
    step_ms = np.diff(series.time_ms, prepend=series.time_ms[:1])
    missing = np.isnan(band.mean)
    table["when"] = table["time"].dt.strftime(_WHEN)
    table["part"] = np.cumsum((step_ms > open_ms) | missing)
    table = table[~missing]
    return table.round(dict.fromkeys(_SHOWN, 3))


def chart(
    past: UnitPast,
    quantity: Quantity,
    zone: ZoneInfo,
    limits: Sequence[Limit] = (),
    *,
    dark: bool = False,
    until_ms: int = 0,
    ahead: Sequence[alt.Chart] = (),
) -> alt.Chart | alt.LayerChart | alt.FacetChart:
    """One quantity over the span, with limits and events; the axis goes on to until_ms, where `ahead` is drawn."""
    table = frame_of(past.series, quantity.name, zone)
    x = time_axis(past.from_ms, max(past.to_ms, until_ms), zone)
    base = alt.Chart(table)
    dots = alt.OverlayMarkDef(size=14) if len(table) <= FEW_POINTS else False  # else a lone point would not be seen
    scale = alt.Scale(domain=_span(table, quantity, limits), nice=False)
    axis = alt.Axis(tickCount=5, minExtent=40)  # one left edge for all charts
    lines = [
        base.mark_area(opacity=0.28, color=LINE).encode(
            x=x, y=alt.Y("min:Q", title=quantity.title, scale=scale, axis=axis), y2="max:Q", detail="part:N"
        ),
        base.mark_line(color=LINE, strokeWidth=1.6, point=dots).encode(
            x=x, y=alt.Y("mean:Q", title=quantity.title, scale=scale, axis=axis), detail="part:N",
            tooltip=[_WHEN_TIP, *(alt.Tooltip(f"{name}:Q", format=".1f") for name in _SHOWN)],
        ),
    ]  # fmt: skip
    drawn = [layer for limit in limits for layer in limit_layers(limit, dark)]
    return alt.layer(*lines, *drawn, *_events(past, zone), *ahead).properties(height=HEIGHT_PX + (70 if ahead else 0))


def time_axis(from_ms: int, to_ms: int, zone: ZoneInfo) -> alt.X:
    """The axis of a span, in the facility's wall clock."""
    domain = [_when(moment) for moment in local_times([from_ms, to_ms], zone)]
    return alt.X("time:T", title=None, scale=alt.Scale(type="utc", domain=domain),
                 axis=alt.Axis(format=_format(to_ms - from_ms), labelOverlap=True, tickCount=8))  # fmt: skip


def _when(moment: pd.Timestamp) -> alt.DateTime:
    return alt.DateTime(year=moment.year, month=moment.month, date=moment.day, hours=moment.hour,
                        minutes=moment.minute, seconds=moment.second, utc=True)  # fmt: skip


def _format(span_ms: int) -> str:
    if span_ms > 400 * DAY:
        return "%b %Y"
    return "%H:%M" if span_ms <= DAY else "%d %b" if span_ms > 4 * DAY else "%d %b %H:%M"


def _span(table: pd.DataFrame, quantity: Quantity, limits: Sequence[Limit]) -> list[float]:
    levels = [quantity.least, quantity.most, *(limit.value for limit in limits)]
    if len(table):
        levels += [float(table["min"].min()), float(table["max"].max())]
    low, high = min(levels), max(levels)
    edge = (high - low) * 0.04
    return [low - edge if low else 0.0, high + edge]


def limit_layers(limit: Limit, dark: bool) -> list[alt.Chart]:
    """A level's line and its word."""
    table = alt.Chart(pd.DataFrame({"value": [limit.value], "text": [limit.text]}))
    colour = COLOURS.get(limit.priority, IN_USE_COLOUR)
    rule = table.mark_rule(color=colour, strokeDash=[6, 3], strokeWidth=1.4).encode(y="value:Q")
    text = table.mark_text(align="left", dx=3, dy=10 if limit.below else -6, fontSize=11, fontWeight="bold",
                           color=INK[dark])  # fmt: skip
    return [rule, text.encode(y="value:Q", x=alt.value(0), text="text:N")]


def events_frame(rows: Sequence[JournalRow], zone: ZoneInfo) -> pd.DataFrame:
    """Columns time, when, what, event and priority: what was raised and cleared."""
    shown = [row for row in rows if row.body.get("event") in (RAISED, CLEARED)]
    times = local_times([row.at_ms for row in shown], zone)
    return pd.DataFrame({
        "time": times,
        "when": times.strftime(_WHEN),
        "what": [f"{title_of(row.condition)}: {row.body['event']}" for row in shown],
        "event": [str(row.body["event"]) for row in shown],
        "priority": [str(row.body.get("priority", "low")) for row in shown],
    })  # fmt: skip


def _events(past: UnitPast, zone: ZoneInfo) -> list[alt.Chart]:
    table = events_frame(past.events, zone)
    if table.empty:
        return []
    colour = alt.Color("priority:N", scale=alt.Scale(domain=list(COLOURS), range=list(COLOURS.values())), legend=None)
    shape = alt.Shape("event:N", scale=alt.Scale(domain=[RAISED, CLEARED], range=["triangle-down", "circle"]),
                      legend=None)  # fmt: skip
    tips = [_WHEN_TIP, alt.Tooltip("what:N")]
    base = alt.Chart(table).encode(x="time:T", color=colour, tooltip=tips)
    stems = base.transform_filter(alt.datum.event == RAISED).mark_rule(strokeWidth=1, opacity=0.65)
    heads = base.mark_point(filled=True, size=75, opacity=1).encode(y=alt.value(6), shape=shape)
    return [stems, heads]
