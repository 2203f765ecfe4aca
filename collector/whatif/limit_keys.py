"""How the rules' limits are written in a file: each time with its unit in the key, what belongs together as a table.

`absent_ms` is written as one of `absent_s`, `absent_min`, `absent_h`, `absent_days`; the delay `amber` as
`amber = { on_s = 90, off_min = 3 }`; everything else by its own name. Made from `Limits`, so a new limit is known here
at once. The bounds are what a value can mean at all, not what is wise.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, create_model

from collector.rules.limits import DAY, HOUR, LIMITS, MINUTE, SECOND, Limits

UNITS: Final = {"s": SECOND, "min": MINUTE, "h": HOUR, "days": DAY}
LONGEST_MS: Final = 3660 * DAY
_CONFIG: Final = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def spelled(name: str) -> dict[str, int]:
    """The keys under which a time in ms may be written, with what one of each is in ms."""
    return {f"{name.removesuffix('_ms')}_{unit}": ms for unit, ms in UNITS.items()}


def _time(unit_ms: int, *, may_be_none: bool) -> object:
    longest = LONGEST_MS / unit_ms
    return Annotated[float | None, Field(ge=0, le=longest) if may_be_none else Field(gt=0, le=longest)]


def _number(name: str, default: float) -> object:
    """What a limit that is no time may be, by the unit in its name."""
    if isinstance(default, int):
        return Annotated[int | None, Field(ge=1)]
    low, high = (-1.0, 0.0) if default < 0 else (0.0, float("inf"))
    if f"_{name}".endswith(("_share", "_rate")):
        low, high = (0.0, 1.0) if default < 1 else (1.0, 2.0)
    elif name.endswith("_pct"):
        high = 110.0
    return Annotated[float | None, Field(ge=low, le=high)]


def _model(name: str, defaults: dict[str, Any], *, within: bool) -> type[BaseModel]:
    fields: dict[str, Any] = {}
    for key, default in defaults.items():
        if isinstance(default, tuple):
            fields[key] = (_model(key, default._asdict(), within=True) | None, None)  # type: ignore[attr-defined]
        elif key.endswith("_ms"):
            fields |= {spelt: (_time(ms, may_be_none=within), None) for spelt, ms in spelled(key).items()}
        else:
            fields[key] = (_number(key, default), None)
    return create_model(name, __config__=_CONFIG, **fields)


_Keys: Final = _model("limits", LIMITS._asdict(), within=False)


def read(table: dict[str, Any]) -> BaseModel:
    """The checked keys of a table of limits; pydantic's ValidationError when it is wrong."""
    return _Keys.model_validate(table)


def keys_at(path: tuple[str | int, ...]) -> list[str]:
    """The keys known in [limits] (path ()) or in one of its tables."""
    if not path:
        return list(_Keys.model_fields)
    names = getattr(LIMITS, str(path[0]))._fields
    return [key for name in names for key in (spelled(name) if name.endswith("_ms") else (name,))]


def changed(limits: Limits, keys: BaseModel) -> Limits:
    """Limits with the values that a checked file gives."""
    return limits._replace(**_values(limits._asdict(), keys))


def _given(keys: BaseModel) -> dict[str, Any]:
    return {name: value for name in keys.model_fields_set if (value := getattr(keys, name)) is not None}


def _values(before: dict[str, Any], keys: BaseModel) -> dict[str, Any]:
    given, values = _given(keys), dict[str, Any]()
    for name, was in before.items():
        if name.endswith("_ms"):
            values |= [(name, round(given[key] * ms)) for key, ms in spelled(name).items() if key in given]
        elif name in given:
            now = given[name]
            values[name] = was._replace(**_values(was._asdict(), now)) if isinstance(was, tuple) else now  # type: ignore[attr-defined]
    return values


def given_twice(keys: BaseModel) -> Iterator[tuple[str, ...]]:
    """Where a file gives one time in two units: the place of the second."""
    given = _given(keys)
    stems: set[str] = set()
    for key in type(keys).model_fields:
        if key not in given:
            continue
        if isinstance(given[key], BaseModel):
            yield from ((key, *place) for place in given_twice(given[key]))
        stem, _, unit = key.rpartition("_")
        if unit in UNITS and stem in stems:
            yield (key,)
        stems.add(stem)


def differing(before: tuple[Any, ...], after: tuple[Any, ...], under: str = "") -> Iterator[tuple[str, object, object]]:
    """Each limit that differs, with both values as people read them: times as text with their unit."""
    for name, was, now in zip(before._fields, before, after, strict=True):  # type: ignore[attr-defined]
        if was == now:
            continue
        if isinstance(was, tuple):
            yield from differing(was, now, f"{under}{name}.")
        elif name.endswith("_ms"):
            yield under + name.removesuffix("_ms"), time_text(was), time_text(now)
        else:
            yield under + name, was, now


def time_text(ms: float) -> str:
    """A span of time in the unit in which it reads best, such as 90 s, 4.5 min, 2.1 h, 3 days."""
    for name, unit_ms in reversed(UNITS.items()):
        if abs(ms) >= 2 * unit_ms or name == "s":
            return f"{ms / unit_ms:.1f}".removesuffix(".0") + f" {name}"
    raise AssertionError("a second is the least")
