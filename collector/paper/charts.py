"""The report's charts as pictures; pure but for the chart library. Its colours differ in grey and to the colour blind.

Priorities have the colours of the screens (IEC 60601-1-8: red high, yellow medium, cyan low), darkened for paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Final

import altair as alt
import pandas as pd

from collector.service.report_lines import DayLine, WardLine

Chart = alt.Chart | alt.LayerChart | alt.FacetChart
FONT: Final = "DejaVu Sans, Verdana, sans-serif"
INK: Final = "#1b2a33"
BAR: Final = "#2b6a8f"
_PRIORITIES: Final = {"high": "#a50f15", "medium": "#e6a700", "low": "#7fb3c8"}
#: Width and height are those of the whole picture, so that pictures side by side have the same letters.
_FIT: Final = alt.AutoSizeParams(type="fit", contains="padding")
#: A ward's name longer than this would take the room of its bar.
_NAME_MOST: Final = 22
#: More wards than this are not drawn: the worst are, and the table has them all.
WARDS_MOST: Final = 12


def png(chart: Chart) -> bytes:
    """A chart as a picture for print, three dots to the point."""
    shown = chart.configure(font=FONT).configure_view(stroke=None).configure_axis(
        labelColor=INK, titleColor=INK, labelFontSize=10, titleFontSize=10, titleFontWeight="normal",
        gridColor="#e3e8ea", domainColor="#c9d3d8", tickColor="#c9d3d8", labelLimit=170,
    ).configure_title(color=INK, fontSize=12, anchor="start", offset=8).configure_legend(
        labelColor=INK, labelFontSize=10, title=None, orient="top", padding=0, offset=4
    )  # fmt: skip
    out = BytesIO()
    shown.save(out, format="png", scale_factor=3)
    return out.getvalue()


def availability(wards: Sequence[WardLine], width: int, height: int) -> Chart | None:
    """Availability by ward, the worst first; None where nothing is known."""
    known = sorted((w for w in wards if w.availability_pct is not None), key=lambda w: w.availability_pct or 0.0)
    rows = [{"ward": _short(w.title), "pct": w.availability_pct, "said": f"{w.availability_pct:.1f} %"} for w in known]
    if not rows:
        return None
    table = pd.DataFrame(rows[:WARDS_MOST])
    base = alt.Chart(table).encode(
        y=alt.Y("ward:N", sort=list(table["ward"]), title=None),
        x=alt.X("pct:Q", scale=alt.Scale(domain=[0, 100]), title="% of unit-hours known", axis=alt.Axis(tickCount=5)),
    )
    words = base.mark_text(align="right", dx=-4, fontSize=10, color="white").encode(text="said:N")
    more = f" (the {WARDS_MOST} lowest of {len(rows)})" if len(rows) > WARDS_MOST else ""
    bars = base.mark_bar(color=BAR, size=min(20, height * 0.7 / len(table)))
    chart: Chart = (bars + words).properties(
        width=width, height=height, title="Availability by ward" + more, autosize=_FIT
    )
    return chart


def alarms(days: Sequence[DayLine], width: int, height: int) -> Chart | None:
    """Alarms told to wards on each day, by priority; None where no unit was heard of."""
    if not any(day.heard for day in days):
        return None
    rows = [
        {"day": day.day.day, "priority": name, "n": getattr(day, name), "order": place}
        for day in days
        for place, name in enumerate(_PRIORITIES)
    ]
    most = max((day.low + day.medium + day.high for day in days), default=0)
    scale = alt.Scale(domain=list(_PRIORITIES), range=list(_PRIORITIES.values()))
    bars = alt.Chart(pd.DataFrame(rows)).mark_bar().encode(
        x=_days(days), y=alt.Y("n:Q", title="alarms", scale=alt.Scale(domain=[0, max(4, most)]),
                               axis=alt.Axis(tickMinStep=1, tickCount=4)),
        color=alt.Color("priority:N", scale=scale), order="order:Q",
    )  # fmt: skip
    chart: Chart = alt.layer(*_unheard(days), bars).properties(
                 width=width, height=height, title="Alarms told to wards, by day" + _grey(days),
                 autosize=_FIT)  # fmt: skip
    return chart


def adequate(days: Sequence[DayLine], width: int, height: int) -> Chart | None:
    """Unit-hours a day that units were seen running, and those of them with output under the limit."""
    if not any(day.heard for day in days):
        return None
    names = {"output adequate": BAR, "output under the limit": "#d95f0e"}
    rows = [
        {"day": day.day.day, "what": what, "h": hours, "order": place}
        for day in days
        for place, (what, hours) in enumerate(zip(names, (day.adequate_h, day.running_h - day.adequate_h), strict=True))
    ]
    scale = alt.Scale(domain=list(names), range=list(names.values()))
    bars = alt.Chart(pd.DataFrame(rows)).mark_bar().encode(
        x=_days(days), y=alt.Y("h:Q", title="unit-hours", axis=alt.Axis(tickCount=4)),
        color=alt.Color("what:N", scale=scale), order="order:Q",
    )  # fmt: skip
    chart: Chart = alt.layer(*_unheard(days), bars).properties(
                 width=width, height=height, title="Hours that units ran, by day and output" + _grey(days),
                 autosize=_FIT)  # fmt: skip
    return chart


def _unheard(days: Sequence[DayLine]) -> list[alt.Chart]:
    """A grey ground for days on which no unit was heard of: nothing there is no good news."""
    silent = pd.DataFrame({"day": [day.day.day for day in days if not day.heard]})
    return [alt.Chart(silent).mark_bar(color="#d5dbde", opacity=0.6).encode(x=_days(days), y=alt.value(0),
            y2=alt.value("height"))] if len(silent) else []  # fmt: skip


def _grey(days: Sequence[DayLine]) -> str:
    return "" if all(day.heard for day in days) else " (grey: no readings)"


def _days(days: Sequence[DayLine]) -> alt.X:
    shown = [day.day.day for day in days]
    axis = alt.Axis(labelAngle=0, values=shown[:: 1 + len(shown) // 16])
    return alt.X("day:O", title="day of the month", sort=shown, axis=axis)


def _short(name: str) -> str:
    return name if len(name) <= _NAME_MOST else name[: _NAME_MOST - 1] + "…"
