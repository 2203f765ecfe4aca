"""How the rules' limits are written in a file: each time with its unit in the key, each delay as a table of two times.

`absent_ms` is written as one of `absent_s`, `absent_min`, `absent_h`, `absent_days`; the delay `amber` as
`amber = { on_s = 90, off_min = 3 }`; everything else by its own name. Made from `Limits`, so a new limit is known here
at once. The bounds are what a value can mean at all, not what is wise.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, create_model

from collector.rules.limits import DAY, HOUR, LIMITS, MINUTE, SECOND, Delay, Limits

UNITS: Final = {"s": SECOND, "min": MINUTE, "h": HOUR, "days": DAY}
LONGEST_MS: Final = 3660 * DAY
_CONFIG: Final = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def spelled(name: str) -> dict[str, int]:
    """The keys under which a time in ms may be written, with what one of each is in ms."""
    return {f"{name.removesuffix('_ms')}_{unit}": ms for unit, ms in UNITS.items()}


def _times(names: tuple[str, ...], *, ge: float | None = None, gt: float | None = None) -> dict[str, Any]:
    return {
        key: (Annotated[float | None, Field(ge=ge, gt=gt, le=LONGEST_MS / unit_ms)], None)
        for name in names
        for key, unit_ms in spelled(name).items()
    }


DelayKeys: Final = create_model("DelayKeys", __config__=_CONFIG, **_times(Delay._fields, ge=0))


def _bounds(name: str, default: float) -> object:
    """What a limit that is no time may be, by the unit in its name."""
    if isinstance(default, int):
        return Annotated[int | None, Field(ge=1)]
    low, high = 0.0, float("inf")
    if name.endswith(("_share", "_rate")):
        low, high = (0.0, 1.0) if default < 1 else (1.0, 2.0)
    elif name.endswith("_pct"):
        high = 110.0
    return Annotated[float | None, Field(ge=low, le=high)]


def _fields() -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for name, default in LIMITS._asdict().items():
        if isinstance(default, Delay):
            fields[name] = (DelayKeys | None, None)
        elif name.endswith("_ms"):
            fields |= _times((name,), gt=0)
        else:
            fields[name] = (_bounds(name, default), None)
    return fields


LimitKeys: Final = create_model("LimitKeys", __config__=_CONFIG, **_fields())


def keys_at(path: tuple[str | int, ...]) -> list[str]:
    """The keys known in [limits] (path ()) or in one of its delays."""
    return list((DelayKeys if path else LimitKeys).model_fields)


def changed(limits: Limits, keys: BaseModel) -> Limits:
    """Limits with the values that a checked file gives."""
    given = {name: value for name in keys.model_fields_set if (value := getattr(keys, name)) is not None}
    values: dict[str, Any] = {}
    for name, before in limits._asdict().items():
        if isinstance(before, Delay):
            if name in given:
                values[name] = before._replace(**_in_ms(Delay._fields, _set_in(given[name])))
        elif name.endswith("_ms"):
            values |= _in_ms((name,), given)
        elif name in given:
            values[name] = given[name]
    return limits._replace(**values)


def _set_in(keys: BaseModel) -> dict[str, float]:
    return {name: value for name in keys.model_fields_set if (value := getattr(keys, name)) is not None}


def _in_ms(names: tuple[str, ...], given: dict[str, Any]) -> dict[str, int]:
    return {name: round(given[key] * ms) for name in names for key, ms in spelled(name).items() if key in given}


def given_twice(keys: BaseModel) -> list[tuple[str, ...]]:
    """Where a file gives one time in two units: the place of the second."""
    tables: dict[tuple[str, ...], dict[str, float]] = {(): _set_in(keys)}
    tables |= {(name,): _set_in(value) for name, value in tables[()].items() if isinstance(value, BaseModel)}
    found: list[tuple[str, ...]] = []
    for place, given in tables.items():
        for name in Delay._fields if place else (n for n in Limits._fields if n.endswith("_ms")):
            both = [key for key in spelled(name) if key in given]
            found += [(*place, key) for key in both[1:]]
    return found


def shown(name: str, before: object, after: object) -> tuple[str, object, object]:
    """A limit's name and two values as people read them: times as text with their unit."""
    if isinstance(before, Delay) and isinstance(after, Delay):
        return name, _delay_text(before), _delay_text(after)
    if name.endswith("_ms") and isinstance(before, int) and isinstance(after, int):
        return name.removesuffix("_ms"), time_text(before), time_text(after)
    return name, before, after


def _delay_text(delay: Delay) -> str:
    return f"on {time_text(delay.on_ms)}, off {time_text(delay.off_ms)}"


def time_text(ms: float) -> str:
    """A span of time in the unit in which it reads best, such as 90 s, 4.5 min, 2.1 h, 3 days."""
    size, name = next(
        ((u, n) for n, u in reversed(UNITS.items()) if abs(ms) >= (2 * u if n != "s" else 0)), (SECOND, "s")
    )
    number = f"{ms / size:.1f}".removesuffix(".0")
    return f"{number} {name}"
