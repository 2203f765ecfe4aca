"""A trial as tables for people, and as CSV and JSON files for programs."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import msgspec
from rich.console import Console
from rich.table import Table

from simulator.trial.judge import Judged
from simulator.trial.measures import Coverage, Figures
from simulator.trial.trial import TrialResult

_SAID: Final = {True: "met", False: "MISSED", None: "-"}
NOTE: Final = (
    "Simulated units with simulated faults, whose laws the rules do not know; no open record of real units exists.\n"
    "The lamp to beat is the amber one, which the ward may not hear: the stronger baseline."
)


def show(result: TrialResult, console: Console) -> None:
    """Print the tables of a trial."""
    f = result.figures
    console.print(
        f"Trial with seed {result.seed}: {f.stories} stories ({f.benign} benign), {f.readings} readings, "
        f"{f.unit_days:.0f} unit-days, {f.shutdowns} shutdowns.\n{NOTE}"
    )
    for table in (
        _table("Targets", ("target", "aim", "measured", ""), _targets(result)),
        _table("Lead before shutdown, minutes", _LEAD_HEADS, _leads(f)),
        _table("Visible losses and fast falls", _VISIBLE_HEADS, _visible(f)),
        _table("Nuisance ward alerts", _NUISANCE_HEADS, _nuisance(f)),
        _table("What 90 % intervals cover", _COVERAGE_HEADS, map(_covered, f.coverage)),
        _table("Cause told at the shutdown", ("true cause", "right", "told"), _causes(f)),
        _table("To live with", ("measure", "value"), _burden(f)),
    ):
        console.print(table)


def _table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Table:
    table = Table(title=title, title_justify="left", show_edge=False)
    for number, head in enumerate(heads):
        table.add_column(head, justify="left" if number == 0 or title.startswith(("Targ", "Cause")) else "right")
    for row in rows:
        table.add_row(*row)
    return table


_LEAD_HEADS: Final = ("cause", "way", "shutdowns", "missed", "least", "p10", "median", "p90", "first alert",
                     "to lamp")  # fmt: skip
_VISIBLE_HEADS: Final = ("way", "visible", "30 min lead", "time used", "first seen", "30 min lead", "time used",
                         "fast falls", "in 3 readings", "untold")  # fmt: skip
_NUISANCE_HEADS: Final = ("way", "alerts", "unit-months", "a unit-month", "wrong sensor", "a unit-month", "too early")
_COVERAGE_HEADS: Final = ("kind", "of", "stories", "forecasts", "covered", "by story", "came early", "came late",
                          "left out", "open end", "before p50")  # fmt: skip


def _targets(result: TrialResult) -> Iterable[Sequence[str]]:
    return ((t.name, t.aim, t.measured, _SAID[t.met]) for t in result.targets)


def _leads(f: Figures) -> Iterable[Sequence[str]]:
    for row in f.leads:
        times = [f"{value:.1f}" for value in (row.least, row.p10, row.p50, row.p90, row.first_p50)]
        yield row.cause, row.way, str(row.shutdowns), str(row.missed), *times, _number(row.of_lamp)


def _visible(f: Figures) -> Iterable[Sequence[str]]:
    for v, fast in zip(f.visible, f.fast, strict=True):
        yield (v.way, str(v.stories), _percent(v.half_hour_share), _number(v.used_p50), str(v.first_stories),
               _percent(v.first_half_hour_share), _number(v.first_used_p50), str(fast.falls), str(fast.within_three),
               str(fast.untold))  # fmt: skip


def _nuisance(f: Figures) -> Iterable[Sequence[str]]:
    for n in f.nuisance:
        wrong = n.sensor_alerts / n.sensor_unit_months if n.sensor_unit_months else None
        yield (n.way, str(n.alerts), f"{n.unit_months:.1f}", f"{n.per_unit_month:.3f}", str(n.sensor_alerts),
               _number(wrong), str(n.after_onset))  # fmt: skip


def _covered(c: Coverage) -> Sequence[str]:
    return (c.kind, c.of, str(c.stories), str(c.forecasts), _percent(c.share), _percent(c.share_by_story),
            str(c.early), str(c.late), str(c.undecided), _percent(c.open_share), _percent(c.before_p50))  # fmt: skip


def _causes(f: Figures) -> Iterable[Sequence[str]]:
    for true, told in sorted(f.causes.table.items()):
        shown = ", ".join(f"{cause} {count}" for cause, count in sorted(told.items(), key=lambda item: -item[1]))
        yield true, f"{told.get(true, 0)} of {sum(told.values())}", shown


def _burden(f: Figures) -> Iterable[Sequence[str]]:
    b = f.burden
    yield "alarms a unit-day (all; ward)", f"{b.per_unit_day:.3f}; {b.ward_per_unit_day:.3f}"
    yield "alarms an hour in a ward of 20", f"{b.ward_per_hour:.2f}"
    yield "most in ten minutes", str(b.ward_peak_per_10_min)
    yield "ten-minute periods in flood", f"{100 * b.flood_share:.2f} %"
    yield "stale, over 24 h", _counts(b.stale)
    yield "shutdowns without any word to the ward (overdraw, supply, 'do not turn up')", str(f.missed_with_others)
    yield "nuisance by kind of story", _counts(f.nuisance_by_kind)
    yield "raised, by condition", _counts(b.raised)
    yield "capacity-falling a benign unit-month", f"{f.falling_per_benign_month:.3f}"


def _counts(counts: dict[str, int]) -> str:
    return ", ".join(f"{name} {count}" for name, count in counts.items()) or "none"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.1f} %"


def write(result: TrialResult, folder: Path) -> list[Path]:
    """Write `trial.json` (all of it) and CSV files of its parts; OSError when it cannot be."""
    folder.mkdir(parents=True, exist_ok=True)
    whole = folder / "trial.json"
    whole.write_bytes(msgspec.json.format(msgspec.json.encode(result), indent=1))
    f = result.figures
    return [
        whole,
        _csv(folder / "targets.csv", [_flat(target) for target in result.targets]),
        _csv(folder / "leads.csv", [_flat(row) for row in f.leads]),
        _csv(folder / "nuisance.csv", [_flat(row) for row in f.nuisance]),
        _csv(folder / "coverage.csv", [_flat(row) for row in f.coverage]),
        _csv(folder / "stories.csv", [_story(story) for story in result.stories]),
    ]


def _flat(row: msgspec.Struct) -> dict[str, object]:
    return {name: getattr(row, name) for name in row.__struct_fields__}


def _story(story: Judged) -> dict[str, object]:
    row = {name: value for name, value in _flat(story).items() if name not in ("ways", "checked", "marks")}
    for name, way in story.ways.items():
        row |= {f"{name}_{field}": value for field, value in _flat(way).items()}
    return row


def _csv(path: Path, rows: Sequence[dict[str, object]]) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]) if rows else [])
        writer.writeheader()
        writer.writerows(rows)
    return path
