"""A trial as pictures: leads, coverage, causes, and example stories with what each way of warning said of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import altair as alt
import numpy as np
import pandas as pd

from simulator.trial import coverage
from simulator.trial.judge import LAMP, LINE, PRODUCT, Judged, spells_of_ways
from simulator.trial.spells import HOUR_MS
from simulator.trial.stories import story as make_story
from simulator.trial.story import Story
from simulator.trial.told import tell
from simulator.trial.trial import TrialResult

#: Colours that people who see no red or green can tell apart (Okabe and Ito's set, from memory), each way's own.
WAY_COLOURS: Final = {PRODUCT: "#0072B2", LAMP: "#E69F00", LINE: "#999999"}
_WAYS: Final = list(WAY_COLOURS)
_SHOWN_POINTS: Final = 1500
_LEAST_MIN: Final = 0.1  # a logarithmic axis has no place for "not at all"
_EXAMPLES: Final = ("sieve-wet", "valve-fault", "leak", "intake-blocked", "compressor-weak", "sensor-fault")

Chart = Any  # altair's charts of layers, rows and facets share no type that its own functions take and return


def draw(result: TrialResult, folder: Path, kinds: str = "svg") -> list[Path]:
    """Write every picture as a file of this kind (svg or png); OSError when it cannot be written."""
    charts = {
        "leads": leads(result),
        "coverage": covered(result),
        "causes": causes(result),
        "examples": examples(result),
    }
    written = []
    for name, chart in charts.items():
        if chart is not None:
            path = folder / f"{name}.{kinds}"
            chart.save(path, scale_factor=2) if kinds == "png" else chart.save(path)
            written.append(path)
    return written


def leads(result: TrialResult) -> Chart | None:
    """Lead before the shutdown by cause, from p10 to p90 with the median, for the product and the baselines."""
    rows = [row for row in result.figures.leads if row.way in WAY_COLOURS]
    if not rows:
        return None
    table = pd.DataFrame(
        {"cause": row.cause, "way": row.way, **{q: max(getattr(row, q), _LEAST_MIN) for q in ("p10", "p50", "p90")}}
        for row in rows
    )
    scale = alt.Scale(type="log", domainMin=_LEAST_MIN)
    base = alt.Chart(table).encode(
        y=alt.Y("way:N", sort=_WAYS, title=None, axis=None),
        color=alt.Color("way:N", sort=_WAYS, scale=_colours(), title=None, legend=alt.Legend(orient="top")),
    )
    band = base.mark_bar(height=3).encode(x=alt.X("p10:Q", scale=scale, title=_LEAD_TITLE), x2="p90:Q")
    median = base.mark_point(size=60, filled=True, opacity=1).encode(
        x="p50:Q", shape=alt.Shape("way:N", sort=_WAYS, legend=None)
    )
    order = list(dict.fromkeys(table["cause"]))
    chart = alt.layer(band, median).properties(width=520, height=44)
    return chart.facet(row=alt.Row("cause:N", sort=order, title=None, header=_side()), spacing=6).properties(
        title="Lead before the unit switches itself off (p10, median, p90)"
    )


_LEAD_TITLE: Final = "minutes before the shutdown (0.1: not told)"


def covered(result: TrialResult) -> Chart | None:
    """The share of 90 % intervals that held the truth, by kind of story, against 85 to 95 %."""
    rows = [row for row in result.figures.coverage if row.share is not None and row.of in ("all", coverage.CAPACITY)]
    if not rows:
        return None
    names = {"all": "time to a limit", coverage.CAPACITY: "capacity"}
    table = pd.DataFrame(
        {"kind": row.kind, "of": names[row.of], "share": 100 * (row.share or 0.0), "forecasts": row.forecasts}
        for row in rows
    )
    aim = alt.Chart(pd.DataFrame({"low": [85], "high": [95]})).mark_rect(color="#009E73", opacity=0.2)
    dots = alt.Chart(table).mark_point(filled=True, opacity=0.9).encode(
        x=alt.X("share:Q", title="covered, %", scale=alt.Scale(domain=[0, 100])),
        y=alt.Y("kind:N", title=None, sort=list(dict.fromkeys(table["kind"]))),
        color=alt.Color("of:N", title=None, scale=alt.Scale(range=["#D55E00", "#0072B2"])),
        shape=alt.Shape("of:N", title=None),
        size=alt.Size("forecasts:Q", title="intervals", scale=alt.Scale(range=[30, 300])),
    )  # fmt: skip
    return (aim.encode(x="low:Q", x2="high:Q") + dots).properties(
        width=520, height=26 * table["kind"].nunique(), title="What intervals from p05 to p95 cover; aim 85 to 95 %"
    )


def causes(result: TrialResult) -> Chart | None:
    """Causes told against true ones, as shares of each true cause."""
    table = pd.DataFrame(
        {"true": true, "told": told, "count": count, "share": 100 * count / sum(row.values())}
        for true, row in sorted(result.figures.causes.table.items())
        for told, count in row.items()
    )
    if table.empty:
        return None
    base = alt.Chart(table).encode(
        x=alt.X("told:N", title="told at the shutdown", axis=alt.Axis(labelAngle=-40)),
        y=alt.Y("true:N", title="true cause"),
    )
    squares = base.mark_rect().encode(
        color=alt.Color("share:Q", title="% of true", scale=alt.Scale(scheme="blues", domain=[0, 100]))
    )
    numbers = base.mark_text().encode(text="count:Q", color=alt.condition("datum.share > 55", *_ON_DARK))
    return (squares + numbers).properties(width=420, height=320, title="Cause told against true cause, stories")


_ON_DARK: Final = (alt.value("white"), alt.value("black"))


def examples(result: TrialResult) -> Chart | None:
    """One story of some kinds: true and measured purity, and when each way of warning stood."""
    chosen = [next((s for s in result.stories if s.kind == kind), None) for kind in _EXAMPLES]
    charts = [_example(judged) for judged in chosen if judged is not None]
    if not charts:
        return None
    title = "True purity (black), measured (grey), the unit's limits, and when each way of warning stood"
    return alt.concat(*charts, columns=2).properties(title=title)


def _example(judged: Judged) -> Chart:
    story = make_story(judged.seed, judged.number, judged.kind)
    first_ms, last_ms = _window(story)
    scale = alt.Scale(domain=[(first_ms - last_ms) / HOUR_MS, 0])
    purity = _purity_chart(story, first_ms, last_ms, scale).properties(width=420, height=130, title=judged.name)
    bars = _alert_chart(story, first_ms, last_ms, scale).properties(width=420, height=48)
    return alt.vconcat(purity, bars, spacing=2)


def _purity_chart(story: Story, first_ms: int, last_ms: int, scale: alt.Scale) -> Chart:
    table = _purity(story, first_ms, last_ms)
    y = alt.Y("purity:Q", title="purity, %", scale=alt.Scale(domain=[60, 100], clamp=True))
    lines = [
        alt.Chart(table[table["what"] == what])
        .mark_line(clip=True, strokeWidth=width, color=colour)
        .encode(x=alt.X("h:Q", title=None, scale=scale, axis=alt.Axis(labels=False, tickCount=8)), y=y)
        for what, width, colour in (("measured", 0.8, "#aaaaaa"), ("true", 1.4, "black"))
    ]
    model = story.model
    limits = pd.DataFrame({"limit": [model.amber_pct, model.red_pct, model.shutdown_pct]})
    return alt.layer(*lines, alt.Chart(limits).mark_rule(strokeDash=[2, 3], color="#D55E00").encode(y="limit:Q"))


def _alert_chart(story: Story, first_ms: int, last_ms: int, scale: alt.Scale) -> Chart:
    spells = spells_of_ways(story, tell(story, ()))
    rows = [
        {
            "way": way,
            "from": (max(spell.from_ms, first_ms) - last_ms) / HOUR_MS,
            "to": ((spell.to_ms if spell.to_ms is not None else last_ms) - last_ms) / HOUR_MS,
        }
        for way in _WAYS
        for spell in spells[way]
        if spell.to_ms is None or spell.to_ms > first_ms
    ]
    return alt.Chart(pd.DataFrame(rows, columns=["way", "from", "to"])).mark_bar(clip=True).encode(
        x=alt.X("from:Q", title="hours before the end", scale=scale, axis=alt.Axis(tickCount=8)), x2="to:Q",
        y=alt.Y("way:N", title=None, scale=alt.Scale(domain=_WAYS)),
        color=alt.Color("way:N", scale=_colours(), legend=None),
    )  # fmt: skip


def _window(story: Story) -> tuple[int, int]:
    """The part of a story worth seeing: from a while before the onset to its end."""
    first_ms, last_ms = int(story.time_ms[0]), int(story.time_ms[-1])
    if story.onset_ms is None:
        return first_ms, last_ms
    return max(first_ms, story.onset_ms - (last_ms - story.onset_ms) // 4), last_ms


def _purity(story: Story, first_ms: int, last_ms: int) -> pd.DataFrame:
    """True and measured purity within the window, thinned by taking single rows: a mean would hide a spike."""
    rows: Sequence[int] = np.flatnonzero((story.time_ms >= first_ms) & (story.time_ms <= last_ms)).tolist()
    rows = rows[:: max(1, len(rows) // _SHOWN_POINTS)]
    hours = (story.time_ms[rows] - last_ms) / HOUR_MS
    parts = {"measured": story.measured["purity_pct"][rows], "true": story.true_purity_pct[rows]}
    return pd.concat([pd.DataFrame({"h": hours, "purity": values, "what": what}) for what, values in parts.items()])


def _colours() -> alt.Scale:
    return alt.Scale(domain=_WAYS, range=list(WAY_COLOURS.values()))


def _side() -> alt.Header:
    return alt.Header(labelAngle=0, labelAlign="left", labelAnchor="middle")
