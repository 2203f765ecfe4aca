"""A unit's quantities as views of one linked chart: the mean as a line in a band of least and greatest, limits; pure.

Times are shown in the facility's zone: points are moved to its wall clock and drawn on a UTC axis, since a browser
knows only UTC and its own zone. Data go to the browser under names (SERIES, MARKS, SPAN) that stay the same, so that a
redraw changes data only and whoever has zoomed in stays there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from collector.rules.limits import LIMITS
from collector.store.history import Series
from dashboard import past_words as words

HEIGHT_PX: Final = 130
LINE: Final = "#3b7dbd"
INK: Final = {False: "#16202a", True: "#e9eef2"}
#: One left edge for all views: lanes have words there, charts have numbers.
LEFT_PX: Final = 52
FEW_POINTS: Final = 120
SERIES: Final = "series"
MARKS: Final = "marks"
SPAN: Final = "span"
#: Colours as on the board; each limit and event also carries its word.
COLOURS: Final = {"high": "#d2202f", "medium": "#b87d00", "low": "#0b8ba3"}
IN_USE: Final = "in-use"
IN_USE_COLOUR: Final = "#8b8f96"
#: From coarse to fine, whatever the zoom: a year, a month, a day, a minute, a second, each where it begins.
_AXIS_WORDS: Final = (
    "utcFormat(datum.value, utcseconds(datum.value) ? '%H:%M:%S' : utchours(datum.value) || utcminutes(datum.value) ? "
    "'%H:%M' : utcdate(datum.value) > 1 ? '%-d %b' : utcmonth(datum.value) ? '%b' : '%Y')"
)


#: Height of a limit's word as a share of its view.
_WORD_SHARE: Final = 0.12


class Limit(NamedTuple):
    """A level drawn across a chart; its word stands above its line, or below it."""

    value: float
    text: str
    priority: str
    below: bool = False


class Quantity(NamedTuple):
    """What a view shows; `least` and `most` are the span it shows at least, its ends are multiples of `step`."""

    name: str
    least: float
    most: float
    step: float


PURITY: Final = Quantity("purity_pct", 80, 97, 1)
FLOW: Final = Quantity("flow_lpm", 0, 1, 0.5)
POWER: Final = Quantity("power_w", 0, 100, 50)
QUANTITIES: Final = (PURITY, FLOW, POWER)


def local_times(time_ms: Sequence[int] | np.ndarray, zone: ZoneInfo) -> pd.DatetimeIndex:
    """Moments as the facility's wall clock shows them, passed off as UTC."""
    moments = pd.to_datetime(np.asarray(time_ms, np.int64), unit="ms", utc=True)
    return pd.DatetimeIndex(moments.tz_convert(zone).tz_localize(None).tz_localize("UTC"))


def axis_ends(span: tuple[int, int], zone: ZoneInfo) -> list[alt.DateTime]:
    """The ends of a span as the time axis has them; as numbers the browser would take them for something else."""
    return [
        alt.DateTime(year=end.year, month=end.month, date=end.day, hours=end.hour, minutes=end.minute,
                     seconds=end.second, utc=True)
        for end in local_times(span, zone)
    ]  # fmt: skip


def series_frame(series: Series, zone: ZoneInfo) -> pd.DataFrame:
    """Columns time, and for each quantity q its mean q, q_low and q_high; a row without values breaks lines at a gap.

    Single precision: what instruments tell in tenths needs no more, and half the bytes go to the browser.
    """
    open_ms = max(2.5 * series.bucket_ms, LIMITS.absent_ms)
    gaps = np.flatnonzero(np.diff(series.time_ms) > open_ms) + 1
    within = series.time_ms[gaps - 1] + max(series.bucket_ms, 1)
    columns: dict[str, object] = {"time": local_times(np.insert(series.time_ms, gaps, within), zone)}
    for quantity in QUANTITIES:
        band = series.bands[quantity.name]
        for name, values in (("", band.mean), ("_low", band.min), ("_high", band.max)):
            columns[quantity.name + name] = np.insert(values, gaps, np.nan).round(2).astype(np.float32)
    return pd.DataFrame(columns)


def x_axis(*, labels: bool, span: list[alt.DateTime] | None = None) -> alt.X:
    """The one time axis; only the lowest view has words on it. Where it begins and ends is in the data (SPAN) or given.

    span: its ends, from axis_ends.
    """
    axis = alt.Axis(labelExpr=_AXIS_WORDS, labelOverlap=True, tickCount=8, labels=labels, ticks=labels)
    ends = alt.Undefined if span is None else span
    return alt.X("time:T", title=None, scale=alt.Scale(type="utc", nice=False, domain=ends), axis=axis)


def quantity_layers(
    table: pd.DataFrame, quantity: Quantity, limits: Sequence[Limit], *, fine: bool, dark: bool
) -> list[alt.Chart]:
    """Band, line and limits of one quantity; `fine`: each point is one reading."""
    base, title = alt.Chart(alt.NamedData(SERIES)), words.TITLES[quantity.name]
    few = len(table) <= FEW_POINTS  # else a lone point would not be seen
    domain = domain_of(table, quantity, limits, fine=fine)
    area = base.mark_area(opacity=0.28, color=LINE, clip=True).encode(
        x=x_axis(labels=False), y=y_axis(f"{quantity.name}_low", title, domain),
        y2=alt.Y2(f"{quantity.name}_high")
    )  # fmt: skip
    line = base.mark_line(color=LINE, strokeWidth=1.6, clip=True, point=alt.OverlayMarkDef(size=14) if few else False)
    drawn = [layer for limit in limits for layer in limit_layers(limit, dark)]
    return [area, line.encode(x=x_axis(labels=False), y=y_axis(quantity.name, title, domain)), *drawn]


def y_axis(name: str, title: str, domain: Sequence[float]) -> alt.Y:
    """An upright axis with the one left edge."""
    axis = alt.Axis(tickCount=4, minExtent=LEFT_PX, maxExtent=LEFT_PX, titleFontWeight="normal")
    return alt.Y(f"{name}:Q", title=title, scale=alt.Scale(domain=list(domain), nice=False), axis=axis)


def domain_of(table: pd.DataFrame, quantity: Quantity, limits: Sequence[Limit], *, fine: bool) -> list[float]:
    """Both ends in whole steps, so that they seldom move; purity's buckets are shown by their mean.

    Each warm-up begins at room air: over months every bucket's least is that, and nothing else would be seen.
    """
    levels = [quantity.least, quantity.most, *(limit.value for limit in limits)]
    lowest = "" if quantity is PURITY and not fine else "_low"
    ends = [table[quantity.name + lowest].min(), table[f"{quantity.name}_high"].max()]
    levels += [float(end) for end in ends if not math.isnan(end)]
    low, high = min(levels), max(levels)
    over = [limit.value + _WORD_SHARE * (high - low) for limit in limits if not limit.below]  # its word stands there
    high = max(high, *over) if over else high
    step = quantity.step
    return [max(0.0, math.floor(low / step) * step - (step if low else 0)), math.ceil(high / step + 0.25) * step]


def limit_layers(limit: Limit, dark: bool) -> list[alt.Chart]:
    """A level's line and its word."""
    table = alt.Chart(pd.DataFrame({"value": [limit.value], "text": [limit.text]}))
    colour = COLOURS.get(limit.priority, IN_USE_COLOUR)
    rule = table.mark_rule(color=colour, strokeDash=[6, 3], strokeWidth=1.4).encode(y="value:Q")
    text = table.mark_text(align="left", dx=3, dy=9 if limit.below else -6, fontSize=11, fontWeight="bold",
                           color=INK[dark])  # fmt: skip
    return [rule, text.encode(y="value:Q", x=alt.value(0), text="text:N")]
