"""A unit's capacity as plain texts: what it is good for, when it will reach its limits, and why; pure.

Rules of this file: what the collector stored is put into words, never judged again, but for its age: an estimate that
is old is said in the past, with its time, and its forecast by the clock only.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import floor
from typing import Final, NamedTuple

from collector.rules.alarms import Alarm
from collector.rules.capacity.now import CapacityNow, Outlook
from collector.rules.events import Quantiles
from collector.rules.unitrow import OFF, RUNNING, WARMING_UP, UnitRow
from collector.site import Model
from collector.terms import reason_of
from collector.tongue import said
from dashboard import capacity_words, words
from dashboard.queries import Now
from dashboard.ranges import clock_range, range_of, range_text, when_text
from dashboard.times import MINUTE, moment_text

#: A calm unit's estimate is renewed every ten minutes, and not for some minutes after a step in flow; one that is older
#: than this is not of now.
OLD_MS: Final = 30 * MINUTE
#: Less than this share of the rated flow is worth a word (flow meters are no better: see collector/rules/limits.py).
_SHORT_SHARE: Final = 0.95
#: Under this flow nothing is said to hold, and under this fall a day nothing can be told from noise.
_LEAST_FLOW_LPM: Final = 0.5
_STEADY_PCT_PER_DAY: Final = 0.05
#: The condition whose alarm carries a forecast that its ward is told.
FORETELLS: Final = "shutdown-expected"
LIMITS: Final = (("amber_in_min", capacity_words.TURNED_UP[1]), ("red_in_min", capacity_words.TURNED_UP[2]),
                 ("shutdown_in_min", capacity_words.TURNED_UP[3]))  # fmt: skip


class Panel(NamedTuple):
    """What the capacity panel says; texts are plain and still to be escaped. `table` rows: flow and three ranges."""

    head: str
    lines: tuple[str, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    cause: str = ""
    why: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()
    greyed: bool = False
    short: bool = False  # the unit will not hold its rated flow
    note: str = ""


def flow_text(flow_lpm: float) -> str:
    """A flow rounded down to the half litre, as in instructions: it must hold, and not change with every estimate."""
    return f"{floor(flow_lpm * 2 + 1e-6) / 2:.1f}"


def is_short(found: CapacityNow, model: Model) -> bool:
    """Whether a unit is known to hold less than its rated flow."""
    return found.good_to_lpm is not None and found.good_to_lpm < _SHORT_SHARE * model.rated_flow_lpm


def is_old(found: CapacityNow, row: UnitRow, now: Now, now_ms: int) -> bool:
    """Whether an estimate is too old to be of now, or its unit does not show any more what it could be made from."""
    shown = row.phase == RUNNING and row.purity_pct is not None and row.flow_lpm is not None
    return not shown or now_ms - found.at_ms > OLD_MS + 10_000 * now.clock.speed


def is_at_flow(one: Outlook, row: UnitRow) -> bool:
    """Whether an outlook is for the flow in use: after a step it is not, until the next estimate comes."""
    return row.flow_lpm is not None and abs(row.flow_lpm - one.flow_lpm) <= max(0.2, 0.1 * one.flow_lpm)


def holds_text(row: UnitRow, model: Model, now: Now, now_ms: int, *, stale: bool) -> str:
    """What the board says of a unit that holds less than its rated flow; "" of all others."""
    found = row.capacity
    if found is None or found.good_to_lpm is None or not is_short(found, model):
        return ""
    if found.good_to_lpm < _LEAST_FLOW_LPM:
        return words.HOLDS_NOTHING
    flow = flow_text(found.good_to_lpm)
    if stale or is_old(found, row, now, now_ms):
        return words.was_good_to(flow)
    return words.good_to_only(flow) if _too_much(found, row) else words.good_to(flow)


def _too_much(found: CapacityNow, row: UnitRow) -> bool:
    """Whether more flow is in use than the unit will hold."""
    return row.flow_lpm is not None and found.good_to_lpm is not None and row.flow_lpm > found.good_to_lpm * 1.02


def expected_text(alarm: Alarm, row: UnitRow | None, now: Now, now_ms: int, *, by_clock: bool) -> str:
    """When a unit will switch itself off or give too little, for an alarm that foretells it; "" when nothing is said.

    The later of the alarm's forecast and the unit's own is told; of a unit that is off none, since it has been.
    """
    if row is not None and row.phase in (OFF, WARMING_UP):
        return ""
    forecast, at_ms = _later(alarm, row, now_ms)
    for name, told in (("shutdown_in_min", words.shut_off_expected), ("red_in_min", words.red_expected)):
        if (quantiles := _foreseen(forecast, name)) is not None:
            if by_clock:
                return told(clock_range(quantiles, at_ms, now_ms, now.zone))
            return told(when_text(range_of(quantiles, now_ms - at_ms)))
    return ""


def red_text(alarm: Alarm, row: UnitRow | None, model: Model, now_ms: int) -> str:
    """When purity will be under red, for an alarm that foretells it; "" once it is, and of a unit that does not run."""
    if row is None or row.phase != RUNNING or row.purity_pct is None or row.purity_pct < model.red_pct:
        return ""
    forecast, at_ms = _later(alarm, row, now_ms)
    quantiles = _foreseen(forecast, "red_in_min")
    if quantiles is None or _foreseen(forecast, "shutdown_in_min") is None or not quantiles.get("p95", 1):
        return ""
    return words.under_red(f"{model.red_pct:g}", when_text(range_of(quantiles, now_ms - at_ms)))


def _later(alarm: Alarm, row: UnitRow | None, now_ms: int) -> tuple[Mapping[str, object], int]:
    """The alarm's forecast or the unit's own, and the moment it is of."""
    at_ms = alarm.event_ms or alarm.raised_ms or now_ms
    found = row.capacity if row else None
    if found is not None and found.outlook is not None and found.at_ms >= at_ms:
        return {name: getattr(found.outlook, name) for name, _ in LIMITS}, found.at_ms
    return alarm.forecast or {}, at_ms


def _foreseen(forecast: Mapping[str, object], name: str) -> Quantiles | None:
    quantiles = forecast.get(name)
    return quantiles if isinstance(quantiles, dict) and quantiles.get("p05") is not None else None


def panel_of(row: UnitRow | None, model: Model, now: Now, now_ms: int, *, stale: bool) -> Panel:
    """The capacity panel of one unit; `stale` when its readings are too old to say anything."""
    found = row.capacity if row else None
    if row is None or found is None:
        proven = _proven(row, now, now_ms) if row else ""
        return Panel(capacity_words.CAPACITY_PLACE, (_sentence(proven or words.NOT_PROVEN),), greyed=stale)
    old = stale or is_old(found, row, now, now_ms)
    head = _head(found, row, model, now, now_ms)
    short = is_short(found, model)
    figures = tuple(_figures(found, row, model, now, now_ms))
    cause, why = words.CAUSE_TITLES.get(found.cause, found.cause), tuple(_sentence(reason_of(one)) for one in found.why)
    if old:
        when = moment_text(found.at_ms, now_ms, now.zone)
        return Panel(f"{capacity_words.as_of(when)} {head[0].lower()}{head[1:]}",
                     _old_lines(found, row, now, now_ms, stale), figures, cause, why, (), True, short)  # fmt: skip
    table = tuple(_table(found, row, now_ms))
    return Panel(head, tuple(_lines(found, row, model, now_ms)), figures, cause, why, table, False, short,
                 "" if found.seen or not table else capacity_words.UNSEEN_TABLE)  # fmt: skip


def _head(found: CapacityNow, row: UnitRow, model: Model, now: Now, now_ms: int) -> str:
    rated = f"{model.rated_flow_lpm:g}"
    if not found.seen:
        proven = _proven(row, now, now_ms)
        return _sentence(f"{proven}; {capacity_words.NOTHING_ABOVE}" if proven else words.NOT_PROVEN)
    if found.good_to_lpm is None:
        return capacity_words.CAPACITY_PLACE
    if found.good_to_lpm < _LEAST_FLOW_LPM:
        return capacity_words.GOOD_FOR_NOTHING
    short = is_short(found, model)
    return (
        capacity_words.good_for(flow_text(found.good_to_lpm), rated) if short else capacity_words.good_for_rated(rated)
    )


def _lines(found: CapacityNow, row: UnitRow, model: Model, now_ms: int) -> list[str]:
    lines = []
    if found.seen and is_short(found, model):
        lines.append(
            capacity_words.will_not_hold(f"{row.flow_lpm:.1f}")
            if _too_much(found, row)
            else capacity_words.CHANGE_OVER_FIRST
        )
    flow = found.outlook.flow_lpm if found.outlook else row.flow_lpm
    if not found.seen and flow is not None:
        lines.append(f"{capacity_words.unseen_at(f'{flow:.1f}')} {capacity_words.CHECK_AT_RATED}")
    if found.outlook is not None:
        ranges = [(name, range_of(getattr(found.outlook, key), now_ms - found.at_ms)) for key, name in LIMITS]
        foreseen = any(one.early is not None for _, one in ranges)
        parts = [f"{name} {when_text(one)}" for name, one in ranges] if foreseen else []
        if foreseen or found.seen:
            lines.append(capacity_words.outlook(f"{found.outlook.flow_lpm:.1f}", parts, _since(found.outlook, row)))
    return lines


def _old_lines(found: CapacityNow, row: UnitRow, now: Now, now_ms: int, stale: bool) -> tuple[str, ...]:
    """Why it is old; and of a unit that fell silent, what was to come, by the clock."""
    if not stale:
        off = row.phase == OFF
        since = moment_text(row.phase_since_ms if off else found.at_ms, now_ms, now.zone)
        return (capacity_words.off_since(since) if off else capacity_words.not_renewed(since),)
    if found.outlook is None:
        return (capacity_words.STILL_OLD,)
    said = [(name, clock_range(getattr(found.outlook, key), found.at_ms, now_ms, now.zone)) for key, name in LIMITS]
    parts = [f"{name} {when}" for name, when in said if when]
    expected = (capacity_words.was_expected(f"{found.outlook.flow_lpm:.1f}", parts),) if parts else ()
    return (*expected, capacity_words.STILL_OLD)


def _figures(found: CapacityNow, row: UnitRow, model: Model, now: Now, now_ms: int) -> list[tuple[str, str]]:
    if found.seen:
        figures = [("Capacity", f"{found.p05_lpm:.1f} to {found.p95_lpm:.1f} L/min"),
                   ("Most likely", f"{found.p50_lpm:.1f} L/min")]  # fmt: skip
        if found.fall_pct_per_day is not None:
            figures.append(("Trend", trend_text(found.fall_pct_per_day)))
    else:
        figures = [("Capacity", f"above {flow_text(found.p05_lpm)} L/min")]
    figures.append(("Rated", f"{model.rated_flow_lpm:g} L/min"))
    if row.proven_lpm is not None:
        day = moment_text(row.proven_ms, now_ms, now.zone)
        figures.append((f"Proven, {day}", f"{row.proven_lpm:.1f} L/min"))
    return figures


def trend_text(fall_pct_per_day: float) -> str:
    """How fast capacity falls or rises, in the span of time in which that can be pictured."""
    size = abs(fall_pct_per_day)
    if size < _STEADY_PCT_PER_DAY:
        return capacity_words.STEADY
    told = capacity_words.falls if fall_pct_per_day > 0 else capacity_words.rises
    for parts, name in ((1, "day"), (24, "h"), (1440, "min")):
        if size / parts < 99.5:  # two digits
            return told(f"{size / parts:.2g} %/{said(name)}")
    return told("over 100 %/min")


def _since(one: Outlook, row: UnitRow) -> str:
    return capacity_words.AS_NOW if is_at_flow(one, row) else capacity_words.AS_BEFORE


def _table(found: CapacityNow, row: UnitRow, now_ms: int) -> list[tuple[str, ...]]:
    own = [(one, _since(one, row)) for one in (found.outlook,) if one is not None]
    others = sorted(found.turned_up, key=lambda one: one.flow_lpm)
    if not others:
        return []
    age_ms = now_ms - found.at_ms
    return [*(_row(one, age_ms, since) for one, since in own), *(_row(one, age_ms, "") for one in others)]


def _row(one: Outlook, age_ms: int, note: str) -> tuple[str, ...]:
    def cell(quantiles: Quantiles) -> str:
        return range_text(range_of(quantiles, age_ms))

    return (f"{one.flow_lpm:.1f} L/min{note}", *(cell(getattr(one, key)) for key, _ in LIMITS))


def _proven(row: UnitRow, now: Now, now_ms: int) -> str:
    if row.proven_lpm is None:
        return ""
    return words.proven(f"{row.proven_lpm:.1f}", moment_text(row.proven_ms, now_ms, now.zone))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].removesuffix('.')}."
