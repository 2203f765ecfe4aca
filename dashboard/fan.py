"""Forecasts drawn: the fan after “now” on the purity chart; pure.

A fan opens sideways: it says when each level is reached, so its edges are moments. A limit that may not be reached
within the forecast's 30 days has its late edge there.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd

from collector.rules.capacity.now import CapacityNow
from collector.site import Model
from dashboard import capacity, past_words
from dashboard.charts import COLOURS, INK, Limit, local_times
from dashboard.ranges import range_of, when_text
from dashboard.times import DAY, MINUTE

COLOUR: Final = "#8257a8"
HORIZON_MS: Final = 30 * DAY
_PRIORITY: Final = {"amber_in_min": "medium", "red_in_min": "high", "shutdown_in_min": "high"}


class Level(NamedTuple):
    """When one limit is reached, in ms; `middle_ms` None lies beyond the forecast."""

    limit: Limit
    early_ms: int
    middle_ms: int | None
    late_ms: int
    said: str


class Fan(NamedTuple):
    """A forecast of purity from a moment on, at the flow then in use; levels from the highest down."""

    at_ms: int
    purity_pct: float
    levels: tuple[Level, ...]


def fan_of(found: CapacityNow | None, purity_pct: float | None, model: Model) -> Fan | None:
    """The fan of an estimate; None where nothing is foreseen or purity is not known."""
    if found is None or found.outlook is None or purity_pct is None:
        return None
    values = (model.amber_pct, model.red_pct, model.shutdown_pct)
    levels = [
        _level(Limit(value, name, _PRIORITY[key]), getattr(found.outlook, key), found.at_ms)
        for (key, name), value in zip(capacity.LIMITS, values, strict=True)
        if value < purity_pct
    ]
    foreseen = tuple(level for level in levels if level is not None)
    return Fan(found.at_ms, purity_pct, foreseen) if foreseen else None


def _level(limit: Limit, quantiles: dict[str, float | None], at_ms: int) -> Level | None:
    early, middle, late = (quantiles.get(name) for name in ("p05", "p50", "p95"))
    if early is None:
        return None
    return Level(
        limit, at_ms + int(early * MINUTE), None if middle is None else at_ms + int(middle * MINUTE),
        at_ms + (HORIZON_MS if late is None else int(late * MINUTE)),
        f"{limit.text} {when_text(range_of(quantiles))}",
    )  # fmt: skip


def until_of(fan: Fan | None, now_ms: int, span_ms: int) -> int:
    """Up to when a chart of a span goes on so that its fan is seen: at most as far ahead as back; 0 without one."""
    if fan is None or fan.levels[0].early_ms > now_ms + span_ms:
        return 0
    latest_ms = max(level.late_ms for level in fan.levels)
    return min(now_ms + span_ms, latest_ms + (latest_ms - now_ms) // 8)


def fan_layers(fan: Fan, now_ms: int, until_ms: int, zone: ZoneInfo, *, dark: bool) -> list[alt.Chart]:
    """Wedge, median and a bar at each limit, with the line that divides what was from what is to come.

    Nothing goes beyond until_ms, the axis's end: each view finds its ends in its data, and this one would leave the
    others behind.
    """
    return [*_wedge(fan, until_ms, zone, dark), *_bars(fan.levels, until_ms, zone, dark), *_now(now_ms, zone, dark)]


def cut(rows: Sequence[tuple[float, ...]], until_ms: float) -> list[tuple[float, ...]]:
    """Rows of a level and its moments up to until_ms, the latest moment last, with a row where each one crosses it."""
    made: list[tuple[float, ...]] = []
    for before, after in pairwise(rows):
        made.append(before)
        for side in range(len(before) - 1, 0, -1):
            if before[side] < until_ms < after[side]:
                share = (until_ms - before[side]) / (after[side] - before[side])
                made.append(tuple(first + share * (last - first) for first, last in zip(before, after, strict=True)))
    found = [*made, rows[-1]]
    return [(row[0], *(min(at_ms, until_ms) for at_ms in row[1:])) for row in found if row[1] <= until_ms + 1]


def _wedge(fan: Fan, until_ms: int, zone: ZoneInfo, dark: bool) -> list[alt.Chart]:
    edges: list[tuple[float, ...]] = [(fan.purity_pct, fan.at_ms, fan.at_ms)]
    edges += [(level.limit.value, level.early_ms, level.late_ms) for level in fan.levels]
    edges = cut(edges, until_ms)
    table = pd.DataFrame({"level": [edge[0] for edge in edges],
                          "early": local_times([round(edge[1]) for edge in edges], zone),
                          "late": local_times([round(edge[2]) for edge in edges], zone)})  # fmt: skip
    middles: list[tuple[float, ...]] = [(fan.purity_pct, fan.at_ms)]
    middles += [(level.limit.value, level.middle_ms) for level in fan.levels if level.middle_ms is not None]
    middles = cut(middles, until_ms)
    path = pd.DataFrame(
        {"level": [one[0] for one in middles], "time": local_times([round(one[1]) for one in middles], zone)}
    )
    area = alt.Chart(table).mark_area(orient="horizontal", color=COLOUR, opacity=0.38 if dark else 0.22, clip=True)
    line = alt.Chart(path).mark_line(color=COLOUR, strokeWidth=1.8, strokeDash=[4, 3], clip=True)
    return [
        # Levels that begin at one moment would be stacked on each other.
        area.encode(x="early:T", x2="late:T", y=alt.Y("level:Q", stack=None)),
        line.encode(x="time:T", y="level:Q", order=alt.Order("level:Q", sort="descending")),
    ]


def _bars(levels: Sequence[Level], until_ms: int, zone: ZoneInfo, dark: bool) -> list[alt.Chart]:
    levels = [level for level in levels if level.early_ms <= until_ms]
    table = pd.DataFrame({
        "level": [level.limit.value for level in levels], "forecast": [level.said for level in levels],
        "early": local_times([level.early_ms for level in levels], zone),
        "late": local_times([min(level.late_ms, until_ms) for level in levels], zone),
        "colour": [COLOURS[level.limit.priority] for level in levels],
    })  # fmt: skip
    known = [level for level in levels if level.middle_ms is not None and level.middle_ms <= until_ms]
    ticks = pd.DataFrame({"level": [level.limit.value for level in known],
                          "middle": local_times([level.middle_ms or 0 for level in known], zone)})  # fmt: skip
    bars = alt.Chart(table).mark_rule(strokeWidth=5, opacity=0.85, clip=True)
    tick = alt.Chart(ticks).mark_tick(orient="vertical", size=13, thickness=2.5, color=INK[dark], clip=True)
    return [
        bars.encode(x="early:T", x2="late:T", y="level:Q", color=alt.Color("colour:N", scale=None, legend=None),
                    tooltip=["forecast:N"]),
        tick.encode(x="middle:T", y="level:Q"),
    ]  # fmt: skip


def _now(now_ms: int, zone: ZoneInfo, dark: bool) -> list[alt.Chart]:
    table = alt.Chart(pd.DataFrame({"time": local_times([now_ms], zone), "text": [past_words.NOW]}))
    rule = table.mark_rule(color=INK[dark], strokeWidth=1).encode(x="time:T")
    text = table.mark_text(align="left", dx=4, fontSize=11, fontWeight="bold", color=INK[dark])
    return [rule, text.encode(x="time:T", y=alt.value(8), text="text:N")]
