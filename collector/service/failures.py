"""Failures of units; run hours between them with confidence limits, time to repair, repeats.

What counts as a failure, so that figures mean something:
- `purity-red` or `purity-shutdown` of a unit, unless its last cause says that the unit was not to blame (overdraw,
  supply, analyser), or a work order that names a fault.
- What overlaps is one failure, and so is what comes within a day of it, unless a repair lies between: a unit that hangs
  about its limit fails once. A day is common practice, no source.
- A failure lasts until its last condition has cleared, its work is closed and the unit is back in service. Work that is
  still open says nothing yet: an order that was forgotten does not keep a unit down.
Service of a healthy unit is no failure, and a unit that only fell silent is not known to have failed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import fmean, median
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY, HOUR
from collector.service.episodes import OUT, WORK, Episode

JOIN_MS: Final = DAY
REPEAT_MS: Final = 30 * DAY
CONFIDENCE: Final = 0.90
#: What somebody does who has taken a failure on.
ANSWERS: Final = (entries.ACKNOWLEDGE, entries.OUT_OF_SERVICE, entries.WORK_OPENED)


class Failure(msgspec.Struct, frozen=True, kw_only=True):
    """One failure of a unit; to_ms is None while it lasts, answered_ms when somebody first took it on.

    repaired: a return to service or closed work ended it. repeat: the unit had been repaired within 30 days before.
    """

    unit: str
    from_ms: int
    to_ms: int | None
    what: tuple[str, ...]
    cause: str
    repaired: bool
    answered_ms: int | None = None
    repeat: bool = False

    @property
    def hours(self) -> float | None:
        """How long it lasted; None while it lasts."""
        return None if self.to_ms is None else (self.to_ms - self.from_ms) / HOUR

    @property
    def answer_min(self) -> float | None:
        """Minutes until somebody took it on; None when nobody has."""
        return None if self.answered_ms is None else (self.answered_ms - self.from_ms) / 60_000


class Mtbf(msgspec.Struct, frozen=True, kw_only=True):
    """Run hours between failures: mean_h and high_h are None without a failure, low_h without run hours."""

    run_h: float
    failures: int
    mean_h: float | None
    low_h: float | None
    high_h: float | None
    confidence: float = CONFIDENCE


class Repair(msgspec.Struct, frozen=True, kw_only=True):
    """Hours from failing to being back, over failures that were repaired; `waiting` of them still last."""

    repaired: int
    median_h: float | None
    mean_h: float | None
    answer_median_min: float | None
    waiting: int


def failures_of(unit: str, items: Sequence[Episode]) -> list[Failure]:
    """A unit's failures, the first first, from its episodes in order of their beginning."""
    groups: list[list[Episode]] = []
    for item in items:
        unfinished = item.what == WORK and item.to_ms is None
        if unfinished or not (item.failing or item.what in (OUT, WORK)):
            continue
        if groups and _goes_on(groups[-1], item):
            groups[-1].append(item)
        else:
            groups.append([item])
    found: list[Failure] = []
    for group in groups:
        if any(item.failing for item in group):
            found.append(_failure(unit, group, found[-1] if found else None))
    return found


def answered(failures: Iterable[Failure], rows: Iterable[JournalRow]) -> list[Failure]:
    """The same failures with the moment at which somebody first acknowledged, took out or opened work on the unit."""
    acts: dict[str, list[int]] = {}
    for row in rows:
        if row.kind in ANSWERS and row.unit:
            acts.setdefault(row.unit, []).append(row.at_ms)
    found = []
    for failure in failures:
        end_ms = failure.to_ms if failure.to_ms is not None else max(acts.get(failure.unit, [0]))
        later = [ms for ms in acts.get(failure.unit, ()) if failure.from_ms <= ms <= end_ms]
        found.append(msgspec.structs.replace(failure, answered_ms=min(later, default=None)))
    return found


def mtbf(run_h: float, failures: int, confidence: float = CONFIDENCE) -> Mtbf:
    """Mean run hours between failures with a two-sided interval; the lower bound alone where nothing failed.

    Source: NIST/SEMATECH e-Handbook 8.4.5.1, time-terminated: from 2T/chi2(1-a/2; 2r+2) to 2T/chi2(a/2; 2r), and
    T/ln(1/a) without failures. It assumes a constant rate: units that wear out fail later and then together.
    """
    from scipy import stats  # half a second and many megabytes: only for those who ask for it

    left = 1 - confidence
    if run_h <= 0:
        return Mtbf(run_h=0.0, failures=failures, mean_h=None, low_h=None, high_h=None, confidence=confidence)
    if not failures:
        low_h = 2 * run_h / float(stats.chi2.ppf(1 - left, 2))
        return Mtbf(run_h=run_h, failures=0, mean_h=None, low_h=low_h, high_h=None, confidence=confidence)
    low_h = 2 * run_h / float(stats.chi2.ppf(1 - left / 2, 2 * failures + 2))
    high_h = 2 * run_h / float(stats.chi2.ppf(left / 2, 2 * failures))
    return Mtbf(
        run_h=run_h, failures=failures, mean_h=run_h / failures, low_h=low_h, high_h=high_h, confidence=confidence
    )


def inherent_availability(mtbf_h: float, repair_h: float) -> float:
    """The share of time a unit is up by its run hours between failures and its time to repair (NIST 8.1.7)."""
    return mtbf_h / (mtbf_h + repair_h)


def repair_times(failures: Sequence[Failure]) -> Repair:
    """Time to repair over failures that were repaired; what still lasts is counted apart, not as short."""
    took = [failure.hours for failure in failures if failure.repaired and failure.hours is not None]
    answers = [failure.answer_min for failure in failures if failure.answer_min is not None]
    return Repair(
        repaired=len(took), median_h=median(took) if took else None, mean_h=fmean(took) if took else None,
        answer_median_min=median(answers) if answers else None, waiting=sum(f.to_ms is None for f in failures),
    )  # fmt: skip


def _goes_on(group: Sequence[Episode], item: Episode) -> bool:
    end_ms = _end(group)
    if end_ms is None or item.from_ms <= end_ms:
        return True
    return item.from_ms <= end_ms + JOIN_MS and not _repaired(group)


def _end(group: Sequence[Episode]) -> int | None:
    ends = [item.to_ms for item in group]
    return None if None in ends else max(end for end in ends if end is not None)


def _repaired(group: Sequence[Episode]) -> bool:
    return any(item.what in (OUT, WORK) and item.to_ms is not None for item in group)


def _failure(unit: str, group: Sequence[Episode], before: Failure | None) -> Failure:
    failing = [item for item in group if item.failing]
    end_ms, from_ms = _end(group), failing[0].from_ms
    known = [item.cause for item in failing if item.cause != "unknown"]
    repeat = bool(before and before.repaired and before.to_ms is not None and from_ms - before.to_ms <= REPEAT_MS)
    return Failure(
        unit=unit, from_ms=from_ms, to_ms=end_ms, what=tuple(dict.fromkeys(item.what for item in failing)),
        cause=known[-1] if known else "unknown", repaired=end_ms is not None and _repaired(group), repeat=repeat,
    )  # fmt: skip
