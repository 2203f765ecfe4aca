"""Which limits can be tried, what they are today, and the file of changes that says so; pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from collector.rules.limits import LIMITS, Limits
from collector.site import Model, Site, Ward
from collector.whatif.limit_keys import UNITS
from dashboard import limits_words as words

RULES: Final = "limits"
_WARD: Final = ("flow_limit_lpm",)
_MODEL: Final = tuple(name for name in Model.model_fields if name not in ("id", "task"))
_SIGNS: Final = {"pct": "%", "lpm": "L/min", "w": "W", "volts": "V", "min": "min", "days": "days", "k": "K"}


class Option(NamedTuple):
    """One limit: table ("model", "five"), key as a file of changes writes it, today's value in that key's unit."""

    table: tuple[str, ...]
    key: str
    title: str
    value: float | None
    sign: str
    within: str = ""
    help: str = ""

    @property
    def id(self) -> str:
        """Its place in the file, as one text."""
        return ".".join((*self.table, *((self.within,) if self.within else ()), self.key))


def groups(site: Site, limits: Limits = LIMITS) -> dict[str, list[Option]]:
    """Everything that can be tried, by what it is of: models and wards by their titles, then the rules."""
    models = list(site.models) + ([] if all(unit.model for unit in site.units) else [Model(id="default")])
    found = {words.of_model(model.id): _of(("model", model.id), model, _MODEL) for model in models}
    found |= {words.of_ward(ward.name or ward.id): _of(("ward", ward.id), ward, _WARD) for ward in site.wards}
    return found | {words.RULES: sorted(_rules(limits), key=lambda one: one.help == words.HELP_OTHER)}


def _of(table: tuple[str, ...], part: Model | Ward, keys: tuple[str, ...]) -> list[Option]:
    return [Option(table, key, words.TITLES.get(key, key), getattr(part, key), _sign(key),
                   help=words.HELP.get(key, "")) for key in keys]  # fmt: skip


def _rules(limits: Limits) -> Iterator[Option]:
    for name, value in limits._asdict().items():
        if isinstance(value, tuple):
            for part, inner in value._asdict().items():  # type: ignore[attr-defined]
                yield _rule(part, inner, name)
        else:
            yield _rule(name, value)


def _rule(name: str, value: float, within: str = "") -> Option:
    stem = name.removesuffix("_ms")
    place = f"{within}.{stem}" if within else stem
    title, explained = words.TITLES.get(place, place.replace("_", " ")), words.HELP.get(place, words.HELP_OTHER)
    if stem == name:
        return Option((RULES,), name, title, value, _sign(name), within, explained)
    unit = next(unit for unit in reversed(UNITS) if value >= 2 * UNITS[unit] or unit == "s")
    return Option((RULES,), f"{stem}_{unit}", title, value / UNITS[unit], unit, within, explained)


def _sign(key: str) -> str:
    return _SIGNS.get(key.rpartition("_")[2], "")


def changes_toml(options: Mapping[str, Option], tried: Mapping[str, float]) -> str:
    """The file of changes of the values that are tried, by the id of their option; "" for none."""
    tables: dict[str, list[str]] = {}
    inner: dict[tuple[str, str], list[str]] = {}
    for place, value in tried.items():
        option = options[place]
        written = f"{option.key} = {_number(option, value)}"
        table = ".".join(option.table)
        if option.within:
            inner.setdefault((table, option.within), []).append(written)
            tables.setdefault(table, [])
        else:
            tables.setdefault(table, []).append(written)
    for (table, within), lines in inner.items():
        tables[table].append(f"{within} = {{ {', '.join(lines)} }}")
    return "\n\n".join("\n".join([f"[{table}]", *lines]) for table, lines in tables.items())


def _number(option: Option, value: float) -> str:
    """Whole where the limit counts something, else with a point: the file knows the two apart."""
    return str(round(value)) if isinstance(option.value, int) else f"{value!r}"


def value_text(value: float | None, sign: str) -> str:
    """A value as it is shown; "none" where there is no limit."""
    return "none" if value is None else f"{value:g} {sign}".strip()
