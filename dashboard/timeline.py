"""What happened, purity, flow, power and capacity over one time axis, zoomed, moved and read off together; pure.

Rules of this file: the axis takes its ends from the data (SPAN), names of data never change, and what the browser gets
is bounded: POINTS buckets, COURSE_POINTS hours and MARKS_MOST marks, however long the span is.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

import altair as alt
import numpy as np
import pandas as pd

from collector.rules.capacity.now import CapacityPoint
from collector.site import Model
from dashboard import past_words as words
from dashboard.charts import (
    COLOURS,
    FLOW,
    HEIGHT_PX,
    LEFT_PX,
    MARKS,
    POWER,
    PURITY,
    SERIES,
    SPAN,
    Limit,
    Quantity,
    local_times,
    quantity_layers,
    series_frame,
    x_axis,
)  # fmt: skip
from dashboard.course import COURSE, PROVEN, course_frame, course_layers
from dashboard.fan import Fan, fan_layers
from dashboard.happened import BY_NOTE, BY_SERVICE, Mark, lanes
from dashboard.queries import UnitPast

POINTS: Final = 600
COURSE_POINTS: Final = 300
MARKS_MOST: Final = 300
#: More upright lines than these through every view would hide what they mark.
STEMS_MOST: Final = 30
LANE_PX: Final = 17
NOTE_COLOUR: Final = "#8257a8"
_KINDS: Final = {**COLOURS, BY_SERVICE: PROVEN, BY_NOTE: NOTE_COLOUR}
_SHAPES: Final = ("triangle-down", "triangle-down", "triangle-down", "diamond", "circle")
_WHEN: Final = "%d %b %Y %H:%M"
#: The wheel alone scrolls the page, and so does a finger.
_ZOOM: Final = "wheel![event.ctrlKey]"
_DRAG: Final = "[pointerdown[event.pointerType !== 'touch'], window:pointerup] > window:pointermove!"
#: What a layer says only when it stands alone.
_TOP: Final = ("$schema", "config")
#: One zoom and one moment for all views.
_PARAMETERS: Final[tuple[dict[str, Any], ...]] = (
    {"name": "zoomed", "bind": "scales",
     "select": {"type": "interval", "encodings": ["x"], "zoom": _ZOOM, "translate": _DRAG}},
    {"name": "at", "select": {"type": "point", "encodings": ["x"], "nearest": True, "on": "pointerover",
                              "clear": "pointerout"}},
)  # fmt: skip
_TIPS: Final = {"purity_pct": ".1f", "flow_lpm": ".1f", "power_w": ".0f", "capacity": ".1f"}


class Picture(NamedTuple):
    """What is to be drawn of a unit; from_ms to until_ms is the axis, flow_lpm what is in use while it runs."""

    past: UnitPast
    points: Sequence[CapacityPoint]
    marks: Sequence[Mark]
    zone: ZoneInfo
    model: Model
    from_ms: int
    until_ms: int
    flow_lpm: float | None = None
    fan: Fan | None = None
    dark: bool = False


def linked_spec(picture: Picture) -> dict[str, Any]:
    """The whole as a Vega-Lite specification; its named data are frames."""
    table = series_frame(picture.past.series, picture.zone)
    course = course_frame(picture.points, picture.zone)
    views = [_lanes(), *_quantities(picture, table), _capacity(picture, course)]
    last = len(views) - 1
    data: dict[str, Any] = {}
    drawn = [_view(*view, number, data, labels=number == last) for number, view in enumerate(views)]
    spec: dict[str, Any] = {"$schema": alt.SCHEMA_URL, "vconcat": drawn, "spacing": 7,
                            "config": {"axis": {"gridOpacity": 0.5}}}  # fmt: skip
    spec["params"] = [one | {"views": [f"near_{number}" for number in range(len(views))]} for one in _PARAMETERS]
    spec["datasets"] = data | {
        SERIES: _with_capacity(table, course), COURSE: course, MARKS: marks_frame(picture),
        SPAN: pd.DataFrame({"time": local_times([picture.from_ms, picture.until_ms], picture.zone)}),
    }  # fmt: skip
    return spec


def _quantities(picture: Picture, table: pd.DataFrame) -> list[tuple[list[alt.Chart], int]]:
    fine, model, dark = not picture.past.series.bucket_ms, picture.model, picture.dark
    ahead: list[alt.Chart] = []
    if picture.fan:
        ahead = fan_layers(picture.fan, picture.past.to_ms, picture.until_ms, picture.zone, dark=dark)
    found = []
    for quantity, limits in ((PURITY, purity_limits(model, foreseen=bool(ahead))),
                             (FLOW, [Limit(model.rated_flow_lpm, words.rated(model.rated_flow_lpm), "low")]),
                             (POWER, list[Limit]())):  # fmt: skip
        layers = [*quantity_layers(table, quantity, limits, fine=fine, dark=dark), _stems(quantity)]
        found.append((layers + (ahead if quantity is PURITY else []), _height(quantity, bool(ahead))))
    return found


def _height(quantity: Quantity, ahead: bool) -> int:
    return HEIGHT_PX if quantity is not PURITY else HEIGHT_PX + (110 if ahead else 40)


def purity_limits(model: Model, *, foreseen: bool) -> list[Limit]:
    """The model's limits; where it switches itself off only matters beside a forecast."""
    limits = [Limit(model.amber_pct, words.level(words.AMBER, model.amber_pct), "medium"),
              Limit(model.red_pct, words.level(words.RED, model.red_pct), "high", True)]  # fmt: skip
    return (
        [*limits, Limit(model.shutdown_pct, words.level(words.SWITCH_OFF, model.shutdown_pct), "high")]
        if foreseen
        else limits
    )


def _capacity(picture: Picture, course: pd.DataFrame) -> tuple[list[alt.Chart], int]:
    drawn = course_layers(course, picture.model.rated_flow_lpm, picture.flow_lpm, dark=picture.dark)
    return drawn, HEIGHT_PX


def _view(
    layers: Sequence[alt.Chart], height: int, number: int, data: dict[str, Any], *, labels: bool
) -> dict[str, Any]:  # fmt: skip
    """A view with the ends of the axis and the moment that is pointed at, in any of the views; adds to `data`.

    Put together as plain data: the library would copy and check each layer at every level, a third of a second in all.
    """
    x = x_axis(labels=labels)
    ends = alt.Chart(alt.NamedData(SPAN)).mark_point(opacity=0).encode(x=x)
    base = alt.Chart(alt.NamedData(SERIES)).transform_calculate(**_tip_words())
    tips = [alt.Tooltip("when:N", title=words.TIME),
            *(alt.Tooltip(f"{name}_said:N", title=words.TIPS[name]) for name in _TIPS)]  # fmt: skip
    near = base.mark_point(opacity=0, size=1).encode(x=x, y=alt.value(height / 2), tooltip=tips)
    pointed = base.transform_filter({"param": "at", "empty": False})
    line = pointed.mark_rule(color="#808890", strokeWidth=1, aria=False).encode(x=x)
    # What is pointed at lies below the marks, so that a mark's own words are had by pointing at the mark.
    made = [one.to_dict(validate=False) for one in (ends, near.properties(name=f"near_{number}"), line, *layers)]
    for one in made:
        data |= one.pop("datasets", {})
    return {"height": height, "layer": [{k: v for k, v in one.items() if k not in _TOP} for one in made]}


def _tip_words() -> dict[str, str]:
    found = {"when": f"utcFormat(datum.time, '{_WHEN}:%S')"}
    for name, form in _TIPS.items():
        mean, low, high = (f"format(datum.{name}{end}, '{form}')" for end in ("", "_low", "_high"))
        found[f"{name}_said"] = (
            f"isValid(datum.{name}_high) ? (isValid(datum.{name}) ? {mean} : {json.dumps(words.NOT_SEEN)}) + "
            f"({low} == {high} ? '' : ' (' + {low} + {json.dumps(f' {words.UP_TO} ')} + {high} + ')') : '-'"
        )
    return found


def _with_capacity(table: pd.DataFrame, course: pd.DataFrame) -> pd.DataFrame:
    """The series with what was known of capacity at each moment, so that one look says all four."""
    if course.empty or table.empty:
        nothing = np.full(len(table), np.nan, np.float32)
        return table.assign(capacity=nothing, capacity_low=nothing, capacity_high=nothing)
    known = course[["time", "middle", "low", "high"]].set_axis(
        ["time", "capacity", "capacity_low", "capacity_high"], axis=1
    )
    steps_h = np.diff(known["time"].to_numpy()) / np.timedelta64(1, "h")
    step_h = float(np.median(steps_h)) if len(steps_h) else 0.0
    reach = pd.Timedelta(hours=max(3.0, 2 * step_h))
    ours = table.assign(time=table["time"].astype(known["time"].dtype))
    return pd.merge_asof(ours, known, on="time", tolerance=reach)


def marks_frame(picture: Picture) -> pd.DataFrame:
    """Columns time, end, lane, kind, what, when, stem: what happened, cut to the axis."""
    marks = picture.marks[:MARKS_MOST]
    until = [picture.past.to_ms if mark.to_ms is None else mark.to_ms for mark in marks]
    begun = [max(mark.from_ms, picture.from_ms) for mark in marks]
    loud = [mark.kind in ("high", "medium", BY_NOTE) and mark.from_ms >= picture.from_ms for mark in marks]
    return pd.DataFrame({
        "time": local_times(begun, picture.zone),
        "end": local_times([max(pair) for pair in zip(begun, until, strict=True)], picture.zone),
        "lane": [mark.lane for mark in marks], "kind": [mark.kind for mark in marks],
        "what": [mark.what for mark in marks],
        "when": local_times([mark.from_ms for mark in marks], picture.zone).strftime(_WHEN),
        "stem": [one and sum(loud) <= STEMS_MOST for one in loud],
    })  # fmt: skip


def _colour() -> alt.Color:
    return alt.Color("kind:N", scale=alt.Scale(domain=list(_KINDS), range=list(_KINDS.values())), legend=None)


def _lanes() -> tuple[list[alt.Chart], int]:
    """A lane each for alarms, supply, service and notes: bars as long as it lasted, a shape where it began."""
    known = alt.Chart(alt.NamedData(MARKS))
    axis = alt.Axis(
        title=None, minExtent=LEFT_PX, maxExtent=LEFT_PX, ticks=False, domain=False, grid=True, labelOverlap=False
    )
    y = alt.Y("lane:N", scale=alt.Scale(type="band", domain=list(lanes()), paddingOuter=0.3), axis=axis)
    tips = [alt.Tooltip("when:N", title=words.TIME), alt.Tooltip("what:N", title=words.WHAT)]
    base = known.encode(x=x_axis(labels=False), y=y, color=_colour(), tooltip=tips)
    shape = alt.Shape("kind:N", scale=alt.Scale(domain=list(_KINDS), range=list(_SHAPES)), legend=None)
    bars = base.mark_bar(height=7, opacity=0.55, clip=True).encode(x2="end:T")
    heads = base.mark_point(filled=True, size=75, opacity=1, clip=True).encode(shape=shape)
    return [bars, heads], LANE_PX * len(lanes())


def _stems(quantity: Quantity) -> alt.Chart:
    """Alarms and notes as upright lines through the quantities."""
    known = alt.Chart(alt.NamedData(MARKS)).transform_filter("datum.stem")
    tips = [alt.Tooltip("when:N", title=words.TIME), alt.Tooltip("what:N", title=words.WHAT)]
    stems: alt.Chart = known.mark_rule(strokeWidth=1.2, opacity=0.6, clip=True, aria=False).encode(
        x=x_axis(labels=False), color=_colour(), tooltip=tips
    )
    return stems
