"""What the warnings must reach, each target with what was measured and whether that is enough."""

from __future__ import annotations

from typing import Final

import msgspec

from simulator.trial.coverage import CAPACITY
from simulator.trial.judge import LAMP, PRODUCT, RED_LAMP
from simulator.trial.measures import ALL, FALLS, Figures, Leads

LEAST_NUISANCE: Final = 0.1
_NONE: Final = "nothing to judge"


class Target(msgspec.Struct, frozen=True):
    """One target; `met` None: the stories gave nothing to judge it by."""

    name: str
    aim: str
    measured: str
    met: bool | None


def targets_of(f: Figures) -> list[Target]:
    """Every target with what was measured, in the order of their weight."""
    return [
        _told(f), *_leads(f), *_visible(f), _fast(f), _foreseen(f), *_peace(f), *_coverage(f), _causes(f),
    ]  # fmt: skip


def _told(f: Figures) -> Target:
    """A unit that shuts off while no readings come has been told of as silent: that is all that can be said of it."""
    blind = f" ({f.missed_blind} told as silent)" if f.missed_blind else ""
    met = f.missed == f.missed_blind if f.shutdowns else None
    return Target("Shutdowns without a ward alert before", "none", f"{f.missed} of {f.shutdowns}{blind}", met)


def _leads(f: Figures) -> list[Target]:
    return [
        _ratio("Median lead against the amber lamp's", _lead(f, ALL), _lead(f, ALL, LAMP), 2.0),
        _ratio("The same against the red lamp's, which sounds", _lead(f, ALL), _lead(f, ALL, RED_LAMP), 2.0),
        _ratio("The same for valve faults", _lead(f, "valve-fault"), _lead(f, "valve-fault", LAMP), 1.5),
    ]


def _lead(f: Figures, cause: str, way: str = PRODUCT) -> Leads | None:
    return next((leads for leads in f.leads if (leads.cause, leads.way) == (cause, way)), None)


def _ratio(name: str, mine: Leads | None, lamps: Leads | None, least: float) -> Target:
    if mine is None or lamps is None:
        return Target(name, f"at least {least}", _NONE, None)
    shown = f"{mine.p50:.1f} min to {lamps.p50:.1f} min"
    if lamps.p50 > 0:
        shown += f", {mine.p50 / lamps.p50:.2f} times"
    return Target(name, f"at least {least}", shown, mine.p50 >= least * lamps.p50 and mine.p50 > 0)


def _visible(f: Figures) -> list[Target]:
    mine = next(visible for visible in f.visible if visible.way == PRODUCT)
    lamps = next(visible for visible in f.visible if visible.way == LAMP)
    if mine.half_hour_share is None or mine.used_p50 is None or lamps.used_p50 is None:
        return [Target("Visible an hour before: 30 min lead", "all", _NONE, None),
                Target("Share of the visible time used", "median at least 0.7", _NONE, None)]  # fmt: skip
    count = round(mine.half_hour_share * mine.stories)
    return [
        Target("Visible an hour before: 30 min lead", "all", f"{count} of {mine.stories}", count == mine.stories),
        Target("Share of the visible time used", "median at least 0.7",
               f"{mine.used_p50:.2f} (lamp {lamps.used_p50:.2f})", mine.used_p50 >= 0.7),
    ]  # fmt: skip


def _fast(f: Figures) -> Target:
    mine = next(fast for fast in f.fast if fast.way == PRODUCT)
    met = mine.within_three == mine.falls if mine.falls else None
    return Target(
        "Falls through amber in a minute", "alert within 3 readings", f"{mine.within_three} of {mine.falls}", met
    )


def _foreseen(f: Figures) -> Target:
    met = f.slow_foreseen >= 0.9 * f.slow_falls if f.slow_falls else None
    measured = f"{f.slow_foreseen} of {f.slow_falls}"
    return Target("Slow falls foreseen 24 h before amber", "at least 9 in 10", measured, met)


def _peace(f: Figures) -> list[Target]:
    mine = next(nuisance for nuisance in f.nuisance if nuisance.way == PRODUCT)
    measured = f"{mine.per_unit_month:.3f} ({mine.alerts} in {mine.unit_months:.0f} unit-months"
    measured += f"; {f.right_had_flow_stayed} right, had the flow stayed)"
    chatter = f"{f.burden.chattering_minute} ({f.burden.chattering_hour} within an hour)"
    return [
        Target("Nuisance ward alerts a unit-month", f"at most {LEAST_NUISANCE}", measured,
               mine.per_unit_month <= LEAST_NUISANCE if mine.unit_months else None),
        Target("Chattering", "none", chatter, f.burden.chattering_minute == 0),
    ]  # fmt: skip


def _coverage(f: Figures) -> list[Target]:
    return [_covers(f, "90 % intervals of time cover", ALL), _covers(f, "90 % intervals of capacity cover", CAPACITY)]


def _covers(f: Figures, name: str, of: str) -> Target:
    """Judged on falls; a forecast in a story with a wrong analyser cannot be right, and is in the table."""
    c = next(c for c in f.coverage if (c.kind, c.of) == (FALLS, of))
    if c.share is None or c.share_by_story is None or c.open_share is None:
        return Target(name, "85 to 95 %", _NONE, None)
    shown = f"{100 * c.share:.1f} % in falls ({100 * c.share_by_story:.1f} % by story"
    shown += f"; {100 * c.open_share:.0f} % have no upper end)" if of == ALL else ")"
    return Target(name, "85 to 95 %", shown, 0.85 <= c.share <= 0.95)


def _causes(f: Figures) -> Target:
    met = f.causes.right >= 0.9 * f.causes.stories if f.causes.stories else None
    return Target("Cause right at the shutdown", "at least 9 in 10", f"{f.causes.right} of {f.causes.stories}", met)
