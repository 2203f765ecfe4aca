"""How near service hours come to the truth over a made-up year with gaps, restarts and meters that are reset.

Every unit has a year of runs whose moments are known. Its readings go through the rules as they come live; what is
stored every 500 readings is what a restart goes on from, and the broker then sends the rest again. The judgement of
capacity is left out (hours do not depend on it), so that a year takes seconds. "counted" is what was seen running and
what the unit's own meter told across gaps; "unknown" is time that nobody can account for and that is said to be so.
A unit without a meter cannot be within a tenth of a per cent of a truth that nobody saw: then the truth must lie
between "counted" and "counted and unknown".
Usage: python -m tests.bench.service_hours [STEP_S]
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from unittest.mock import patch

from collector.reading import Reading
from collector.rules import engine as rules
from collector.rules.engine import RulesEngine
from collector.rules.entries import HOUR_METER
from collector.rules.unitrow import UnitRow
from collector.site import parse_site

START_MS, MINUTE_MS, HOUR_MS = 1_790_000_000_000, 60_000, 3_600_000
DAYS = 365
STORED_EVERY = 500  # readings: the collector's batch
SITE = parse_site('[facility]\nid = "sim-bench"\n[[unit]]\nid = "u"\n')
TARGET_PCT = 0.1
Spans = list[tuple[int, int]]


@dataclass(frozen=True)
class Kind:
    """What a year is like: how many gaps, restarts and resets of the meter; the meter's smallest step (None: none)."""

    name: str
    gaps: int = 0
    restarts: int = 0
    meter_step_h: float | None = 0.1
    resets: int = 0
    reset_in_gap: bool = False


KINDS = (
    Kind("all heard", meter_step_h=None),
    Kind("restarts", restarts=200, meter_step_h=None),
    Kind("gaps, meter of 0.1 h", gaps=300, restarts=50),
    Kind("gaps, meter of 1 h", gaps=300, restarts=50, meter_step_h=1.0),
    Kind("gaps, meter reset 6 times", gaps=300, restarts=50, resets=6),
    Kind("the same, meter of 1 h", gaps=300, restarts=50, meter_step_h=1.0, resets=6),
    Kind("a reset within a gap", gaps=300, restarts=50, resets=1, reset_in_gap=True),
    Kind("gaps, no meter", gaps=300, restarts=50, meter_step_h=None),
)


@dataclass
class Year:
    """One unit's year: its runs, what of it nobody heard, when the meter was reset, when the collector restarted."""

    runs: Spans
    gaps: Spans
    resets: list[int]
    restarts: list[int]
    end_ms: int

    @property
    def truth_h(self) -> float:
        """The hours that the unit ran."""
        return sum(to_ms - from_ms for from_ms, to_ms in self.runs) / HOUR_MS


@dataclass(frozen=True)
class Found:
    """What the rules counted, in hours, beside the truth."""

    truth_h: float
    observed_h: float
    inferred_h: float
    unknown_h: float
    replaced: int  # how often the journal was told that the meter was reset or replaced

    @property
    def off_pct(self) -> float:
        """How far what was counted is off the truth, in per cent of it."""
        return 100.0 * (self.observed_h + self.inferred_h - self.truth_h) / self.truth_h

    @property
    def bracketed(self) -> bool:
        """Whether the truth lies between what was counted and that with what is unknown, to the target."""
        slack_h, low_h = TARGET_PCT / 100 * self.truth_h, self.observed_h + self.inferred_h
        return low_h - slack_h <= self.truth_h <= low_h + self.unknown_h + slack_h


def make_year(kind: Kind, seed: int, days: float = DAYS) -> Year:
    """A year of runs of hours to days, and gaps of minutes to two days, as a bridge without power or network leaves."""
    rng, end_ms = random.Random(f"{kind.name} {seed}"), START_MS + round(days * 24 * HOUR_MS)  # noqa: S311 - no secret
    runs = _spans(end_ms, lambda: rng.uniform(2, 200) * HOUR_MS, lambda: rng.uniform(0.3, 60) * HOUR_MS)
    share = kind.gaps * days / DAYS
    pause_ms = (end_ms - START_MS) / share if share else 0.0
    gaps = _spans(end_ms, lambda: 3 * MINUTE_MS * 960 ** rng.random() ** 3,
                  lambda: rng.uniform(0.2, 1.6) * pause_ms) if share else []  # fmt: skip
    resets = [rng.randrange(START_MS, end_ms) for _ in range(kind.resets)]
    resets = [_away(moment, gaps) for moment in resets]
    if kind.reset_in_gap:
        longest = sorted(gaps, key=lambda gap: gap[1] - gap[0])[len(gaps) * 3 // 4]
        resets = [(longest[0] + longest[1]) // 2]
    restarts = [rng.randrange(START_MS, end_ms) for _ in range(round(kind.restarts * days / DAYS))]
    return Year(runs, gaps, sorted(resets), sorted(restarts), end_ms)


def _spans(end_ms: int, length_ms: Callable[[], float], pause_ms: Callable[[], float]) -> Spans:
    """Spans and pauses by turns, from a pause on."""
    found: Spans = []
    at_ms = START_MS
    while True:
        from_ms = at_ms + round(pause_ms())
        to_ms = from_ms + round(length_ms())
        if to_ms >= end_ms:
            return found
        found.append((from_ms, to_ms))
        at_ms = to_ms


def _away(moment: int, gaps: Spans) -> int:
    """The moment, or one just after the gap that it lies in: whoever resets a meter mostly has the unit before them."""
    for from_ms, to_ms in gaps:
        if from_ms - MINUTE_MS <= moment <= to_ms:
            return to_ms + 10 * MINUTE_MS
    return moment


def readings(kind: Kind, year: Year, step_ms: int) -> Iterator[Reading]:
    """What is heard of the unit: a reading every step but in gaps, with what its meter shows, rounded down."""
    runs, gaps, resets = iter(year.runs), iter(year.gaps), list(year.resets)
    run, gap = next(runs, None), next(gaps, None)
    meter_ms = 4_000 * HOUR_MS
    for time_ms in range(START_MS, year.end_ms, step_ms):
        while run is not None and run[1] <= time_ms:
            run = next(runs, None)
        on = run is not None and run[0] <= time_ms
        meter_ms += step_ms if on else 0  # to the step: the ends of runs fall on either side alike
        if resets and resets[0] <= time_ms:
            resets.pop(0)
            meter_ms = 0
        while gap is not None and gap[1] <= time_ms:
            gap = next(gaps, None)
        if gap is not None and gap[0] <= time_ms:
            continue
        shown_h = None
        if kind.meter_step_h is not None:
            shown_h = meter_ms // round(kind.meter_step_h * HOUR_MS) * kind.meter_step_h
        yield Reading("u", time_ms, 94.0 if on else None, 3.0 if on else 0.0, 340.0 if on else 1.0, hours_h=shown_h)


def follow(kind: Kind, year: Year, step_ms: int) -> Found:
    """The year through the rules, with restarts from what was stored."""
    engine, stored = RulesEngine(SITE), [UnitRow(unit="u")]
    kept: list[Reading] = []
    restarts, replaced = list(year.restarts), 0
    for reading in readings(kind, year, step_ms):
        if restarts and restarts[0] <= reading.time_ms:
            restarts.pop(0)
            engine = RulesEngine(SITE)
            engine.restore(stored)
            for again in kept:
                _take(engine, again)
        replaced += _take(engine, reading)
        kept.append(reading)
        if len(kept) == STORED_EVERY:
            stored, kept = list(engine.rows(["u"])), []
    row = next(engine.rows(["u"]))
    return Found(year.truth_h, row.observed_h, row.inferred_h, row.unknown_h, replaced)


def _take(engine: RulesEngine, reading: Reading) -> int:
    engine.tick(reading.time_ms)
    engine.read(reading, reading.time_ms)
    return sum(note.kind == HOUR_METER for note in engine.take_notes())


def measured(kind: Kind, seed: int, step_ms: int, days: float = DAYS) -> Found:
    """A year of this kind, followed without the judgement of capacity."""
    with patch.object(rules, "follow_capacity", lambda *_: False):
        return follow(kind, make_year(kind, seed, days), step_ms)


def lines(step_ms: int) -> Iterator[str]:
    """The table, row by row."""
    heads = "".join(f"{head:>9}" for head in ("truth h", "seen", "by meter", "unknown", "resets", "off %"))
    yield f"{'year':28}{heads}  within {TARGET_PCT} %\n"
    for kind in KINDS:
        found = measured(kind, 1, step_ms)
        said = "yes" if abs(found.off_pct) <= TARGET_PCT else "truth lies between" if found.bracketed else "NO"
        yield (f"{kind.name:28}{found.truth_h:9.1f}{found.observed_h:9.1f}{found.inferred_h:9.1f}"
               f"{found.unknown_h:9.1f}{found.replaced:9}{found.off_pct:9.3f}  {said}\n")  # fmt: skip


def main() -> None:
    """Measure and print."""
    step_s = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    sys.stdout.write(f"one unit, {DAYS} days, a reading every {step_s:g} s\n\n")
    for line in lines(round(step_s * 1000)):
        sys.stdout.write(line)
        sys.stdout.flush()


if __name__ == "__main__":
    main()
