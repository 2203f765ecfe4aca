"""Proof: purity at rated flow, as found and as left, by a named reference analyser whose calibration is in date.

A check passes when even the least that purity may be reaches the limit: as left less the analyser's uncertainty (an
expanded one, k = 2: guarded acceptance after JCGM 106:2012, 8.3.2, from memory), at 82 % or the model's own red limit
where that is higher (82 %: WHO's and ISO 80601-2-69's low-purity alarm point). It counts at the rated flow only, to a
tenth, as good as flow settings are (ISO 80601-2-69, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from math import isfinite
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

from collector.rules.entries import FAIL, PASS, PURITY_PROOF, JournalRow
from collector.site import Analyser, Model, Site

#: No model's file may set the limit lower: WHO and ISO 80601-2-69, purity under 82 % v/v is told as an alarm.
LEAST_PCT: Final = 82.0
#: How far the flow of a check may lie off the rated one, as a share of it (from memory, see above).
FLOW_SHARE: Final = 0.10
#: Argon stays with the oxygen, so no sieve gives more: 20.95 / (20.95 + 0.93) (Johns et al., Thorax 1985;40:806).
CEILING_PCT: Final = 95.75
#: What an analyser may read in a steady state before it is the analyser that is wrong (computed inference).
READS_PCT: Final = 96.5


class NotUsable(Exception):
    """A check that cannot be judged; the text says why and the way out. Nothing is to be written."""


class Calibration(NamedTuple):
    """How an analyser's calibration stands; until is None when the site file names no date."""

    analyser: str
    title: str
    calibrated: date | None
    until: date | None
    days_left: int | None
    why: str  # why it cannot be used, "" when it can

    @property
    def good(self) -> bool:
        """Whether the analyser may be used."""
        return not self.why


class Measured(NamedTuple):
    """What somebody read: purities in % by volume at flow_lpm; as_found_pct None where the unit could not run."""

    as_found_pct: float | None
    as_left_pct: float
    flow_lpm: float


class Judged(NamedTuple):
    """What a check comes to: PASS or FAIL, why, and the figures it was judged by."""

    result: str
    why: str
    least_pct: float
    limit_pct: float
    uncertainty_pct: float


class Proof(msgspec.Struct, frozen=True, kw_only=True):
    """A check as it stands in the journal (kind `purity-proof`)."""

    seq: int
    at_ms: int
    unit: str
    work: str
    analyser: str
    as_found_pct: float | None
    as_left_pct: float
    flow_lpm: float
    uncertainty_pct: float
    result: str
    who: str

    @property
    def passed(self) -> bool:
        """Whether it passed."""
        return self.result == PASS


def limit_of(model: Model) -> float:
    """The purity in % that a unit of this model must show: 82, or its red limit where that is higher."""
    return max(LEAST_PCT, model.red_pct)


def calibration_of(analyser: Analyser, today: date) -> Calibration:
    """Whether an analyser's calibration is in date on a day of the facility."""
    title, on = analyser.name or analyser.id, analyser.calibrated
    if on is None:
        return Calibration(analyser.id, title, None, None, None, f"{title} has no calibration date")
    until = on + timedelta(days=int(analyser.calibrate_days))
    why = ""
    if on > today:
        why = f"{title} is said to have been calibrated on {_day(on)}, which is still to come"
    elif today > until:
        why = f"the calibration of {title} ran out on {_day(until)}"
    return Calibration(analyser.id, title, on, until, (until - today).days, why)


def calibrations(site: Site, now_ms: int) -> list[Calibration]:
    """Every reference analyser of a site: those that cannot be used first, then the next to run out."""
    found = [calibration_of(analyser, today_of(site, now_ms)) for analyser in site.analysers]
    never = -(10**6)  # without a date: before all others
    return sorted(found, key=lambda one: (one.good, never if one.days_left is None else one.days_left, one.analyser))


def today_of(site: Site, now_ms: int) -> date:
    """The facility's day."""
    return datetime.fromtimestamp(now_ms / 1000, ZoneInfo(site.facility.timezone)).date()


def usable_analyser(site: Site, analyser_id: str, now_ms: int) -> Analyser:
    """The analyser named; NotUsable with reason and way out when it is unknown or its calibration is not good."""
    analyser = site.analyser(analyser_id)
    if analyser is None:
        raise NotUsable(f"no [[analyser]] of the site file has the id '{analyser_id}'. {_way_out(site, '', now_ms)}")
    standing = calibration_of(analyser, today_of(site, now_ms))
    if not standing.good:
        raise NotUsable(f"{_capital(standing.why)}. {_way_out(site, analyser_id, now_ms)}")
    return analyser


def judge_proof(model: Model, analyser: Analyser, measured: Measured) -> Judged:
    """Pass or fail of a check, with the analyser's uncertainty counted; NotUsable for what no check can show."""
    _refuse_impossible(model, analyser, measured)
    limit_pct, uncertainty_pct = limit_of(model), analyser.uncertainty_pct
    least_pct = measured.as_left_pct - uncertainty_pct
    sum_text = f"{measured.as_left_pct:g} % less {uncertainty_pct:g} is {least_pct:g} %"
    if measured.flow_lpm < model.rated_flow_lpm * (1 - FLOW_SHARE):
        why = f"only {measured.flow_lpm:g} L/min of its rated {model.rated_flow_lpm:g}: not proven at rated flow"
        return Judged(FAIL, why, least_pct, limit_pct, uncertainty_pct)
    if round(least_pct, 6) >= limit_pct:
        return Judged(PASS, f"{sum_text}, at least {limit_pct:g} %", least_pct, limit_pct, uncertainty_pct)
    return Judged(FAIL, f"{sum_text}, under {limit_pct:g} %", least_pct, limit_pct, uncertainty_pct)


def _refuse_impossible(model: Model, analyser: Analyser, measured: Measured) -> None:
    most_pct = max(READS_PCT, CEILING_PCT + analyser.uncertainty_pct)
    for what, value in (("as found", measured.as_found_pct), ("as left", measured.as_left_pct)):
        if value is None:
            continue
        if not (isfinite(value) and 0.0 <= value <= 100.0):
            raise NotUsable(f"Purity {what} must lie between 0 and 100 %. Write what the analyser shows.")
        if value > most_pct:
            raise NotUsable(
                f"Purity {what} of {value:g} % is more than any sieve gives ({CEILING_PCT:g} %): the analyser is "
                "wrong. Check it in room air and in cylinder oxygen, then measure again."
            )
    flow, rated = measured.flow_lpm, model.rated_flow_lpm
    if not (isfinite(flow) and flow > 0.0):
        raise NotUsable("Write the flow at which purity was measured, in L/min.")
    if flow > rated * (1 + FLOW_SHARE):
        raise NotUsable(f"{flow:g} L/min is above the rated flow. Set {rated:g} L/min and measure again.")


def proof_of(row: JournalRow) -> Proof:
    """The check that a journal row holds; KeyError when it is none."""
    body = row.body
    return Proof(
        seq=row.seq, at_ms=row.at_ms, unit=row.unit, work=body.get("work") or "", analyser=body["analyser"],
        as_found_pct=body.get("as_found_pct"), as_left_pct=body["as_left_pct"], flow_lpm=body["flow_lpm"],
        uncertainty_pct=body["uncertainty_pct"], result=body["result"], who=row.who,
    )  # fmt: skip


def proofs_of(rows: Iterable[JournalRow], unit: str | None = None) -> list[Proof]:
    """Checks in the order in which they were written down; of one unit, or of all."""
    return [proof_of(row) for row in rows if row.kind == PURITY_PROOF and unit in (None, row.unit)]


def _way_out(site: Site, but: str, now_ms: int) -> str:
    good = [one for one in calibrations(site, now_ms) if one.good and one.analyser != but]
    if good:
        others = ", ".join(f"{one.title} (until {_day(one.until)})" for one in reversed(good))
        return f"Use {others}" + (
            ", or have this one calibrated and write the date into the site file." if but else "."
        )
    return "Have one calibrated and write its date into the site file ([[analyser]], 'calibrated')."


def _day(day: date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day else "?"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
