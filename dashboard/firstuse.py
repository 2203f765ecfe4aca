"""How far a hospital has come from nothing to a first live unit and a tried alarm: derived, never kept; pure."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple, get_args

from dashboard.queries import Now

Name = Literal["hospital", "wards", "models", "units", "bridge", "people", "test"]
NAMES: Final[tuple[Name, ...]] = get_args(Name)


class Step(NamedTuple):
    """One step; `needed` is False where a hospital can be watched without it."""

    name: Name
    done: bool
    needed: bool = True


def steps(now: Now, accounts: int = 0) -> list[Step]:
    """Every step in order, by what the site file and the store say; `accounts`: people who may sign in."""
    site = now.site
    if site is None:
        return [Step(name, done=False) for name in NAMES]
    return [
        Step("hospital", bool(site.facility.name)),
        Step("wards", bool(site.wards)),
        Step("models", bool(site.models)),
        Step("units", bool(site.units)),
        Step("bridge", bool(heard(now))),
        Step("people", bool(site.people) or accounts > 1, needed=False),
        Step("test", bool(now.way_tried) and not now.way_tried.get("dead"), needed=not now.simulated),
    ]


def heard(now: Now) -> list[str]:
    """Units of the site file that were ever heard."""
    known = now.units
    return [unit.id for unit in now.site.units if unit.id in known and known[unit.id].last_ms] if now.site else []


def is_open(now: Now) -> bool:
    """Whether the board still has to lead to the first use: something that is needed is not there yet."""
    if now.site is None:
        return False
    found = steps(now)
    lives = next(one.done for one in found if one.name == "bridge")
    return not lives or (not now.simulated and any(one.needed and not one.done for one in found))


def first_open(found: list[Step]) -> Name | None:
    """The step to go on with; what is needed comes first."""
    left = [one for one in found if not one.done]
    return next((one.name for one in (*(one for one in left if one.needed), *left)), None)
