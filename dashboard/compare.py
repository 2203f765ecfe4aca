"""Two to six units side by side: one chart a quantity with a line a unit, and a table that says the same; pure.

Units are told apart by colour, dash and name. The colours are those of Okabe and Ito, which people with any common
colour blindness can tell apart (published palette, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from collector.rules.capacity.now import CapacityPoint
from collector.rules.limits import LIMITS
from collector.store.history import Series
from dashboard import compare_words as words
from dashboard.charts import FEW_POINTS, local_times, x_axis
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import HOUR
from dashboard.words import NOT_MEASURED

COLOURS: Final = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9")
DASHES: Final = ([1, 0], [7, 3], [2, 2], [9, 3, 2, 3], [4, 2], [12, 4])
MOST: Final = len(COLOURS)
CAPACITY: Final = "capacity"
QUANTITIES: Final = ("purity_pct", "flow_lpm", "power_w")
_HEIGHT_PX: Final = 200
_LEGEND: Final = alt.Legend(orient="top", title=None, symbolType="stroke", symbolSize=600, symbolStrokeWidth=2.5)
_ROUNDED: Final = {"mean": 2, "min": 2, "max": 2}
_WHEN: Final = "%d %b %Y %H:%M"
_DIGITS: Final = {"power_w": 0}

Tables = Mapping[str, pd.DataFrame]


def measured(found: Mapping[str, Series], zone: ZoneInfo) -> dict[str, pd.DataFrame]:
    """By quantity a frame of every unit: time, when, mean, min, max, part (a number for each unbroken line), unit."""
    tables = {}
    for name in QUANTITIES:
        parts = [_frame(series, name, zone).assign(unit=unit) for unit, series in found.items() if len(series)]
        tables[name] = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return tables


def _frame(series: Series, name: str, zone: ZoneInfo) -> pd.DataFrame:
    band, times = series.bands[name], local_times(series.time_ms, zone)
    missing = np.isnan(band.mean)
    steps = np.diff(series.time_ms, prepend=series.time_ms[:1])
    part = np.cumsum((steps > max(2.5 * series.bucket_ms, LIMITS.absent_ms)) | missing)
    table = pd.DataFrame({"time": times, "when": times.strftime(_WHEN), "mean": band.mean, "min": band.min,
                          "max": band.max, "part": part})  # fmt: skip
    return table[~missing].round(_ROUNDED)


def capacities(found: Mapping[str, Sequence[CapacityPoint]], zone: ZoneInfo) -> pd.DataFrame:
    """The same of capacity; where it was not seen there is no middle, and so no line."""
    parts = []
    for unit, points in found.items():
        shown = [point for point in points if point.seen]
        at_ms = np.array([point.hour_ms for point in shown], np.int64)
        times, steps = local_times(at_ms, zone), np.diff(at_ms, prepend=at_ms[:1])
        usual = float(np.median(steps[1:])) if len(steps) > 1 else 0.0
        parts.append(pd.DataFrame({
            "time": times, "when": times.strftime(_WHEN), "mean": [p.p50_lpm for p in shown],
            "min": [p.p05_lpm for p in shown], "max": [p.p95_lpm for p in shown],
            "part": np.cumsum(steps > max(3 * HOUR, 2.5 * usual)), "unit": unit,
        }).round(_ROUNDED))  # fmt: skip
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame()


def lines(
    table: pd.DataFrame, name: str, units: Sequence[str], span: list[alt.DateTime], *, named: bool = True
) -> alt.Chart:  # fmt: skip
    """One quantity, a line a unit; where units are `named` a legend says which is which, measured or not.

    span: where the time axis begins and ends (axis_ends), the same for each chart.
    """
    legend = _LEGEND if named else None
    colour = alt.Color("unit:N", scale=alt.Scale(domain=list(units), range=list(COLOURS[: len(units)])),
                       legend=legend)  # fmt: skip
    dash = alt.StrokeDash("unit:N", scale=alt.Scale(domain=list(units), range=list(DASHES[: len(units)])),
                          legend=legend)  # fmt: skip
    tips = [alt.Tooltip("unit:N"), alt.Tooltip("when:N", title="time"), alt.Tooltip("mean:Q", format=".1f")]
    dots = alt.OverlayMarkDef(size=14) if len(table) <= FEW_POINTS else False
    made: alt.Chart = alt.Chart(table).mark_line(strokeWidth=1.8, point=dots).encode(
        x=x_axis(labels=True, span=span), detail="part:N", color=colour, strokeDash=dash, tooltip=tips,
        y=alt.Y("mean:Q", title=words.TITLES[name], scale=alt.Scale(zero=False, nice=True),
                axis=alt.Axis(tickCount=5, minExtent=40)),
    ).properties(height=_HEIGHT_PX)  # fmt: skip
    return made


def value_rows(tables: Tables, units: Sequence[str], now: Now) -> list[Row]:
    """Mean, least and greatest of every unit over the span, and how many alarms it has now."""
    return [
        (Cell(unit, unit), *(_cell(tables[name], unit, _DIGITS.get(name, 1)) for name in (*QUANTITIES, CAPACITY)),
         str(sum(alarm.unit == unit for alarm in now.speaking())))
        for unit in units
    ]  # fmt: skip


def _cell(table: pd.DataFrame, unit: str, digits: int) -> Cell:
    own = table[table["unit"] == unit] if len(table) else table
    if not len(own):
        return Cell(NOT_MEASURED)
    low, high = own["min"].min(), own["max"].max()
    return Cell(f"{own['mean'].mean():.{digits}f}", note=words.between(f"{low:.{digits}f}", f"{high:.{digits}f}"))
