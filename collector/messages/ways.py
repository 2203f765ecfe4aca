"""The messages file: every way a message can go, and how long each step of telling waits for an answer.

Rules of this file: the file holds secrets (a way's `url` has its password), so nobody but its owner may read it, and no
value of a `url` ever stands in an error, a log line or the journal. A wrong file is refused whole, each fault with its
line.
"""

from __future__ import annotations

import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, ValidationError

from collector.rules.events import Priority
from collector.site import Id, Site, TomlPath, fault_text
from collector.site_lines import LineFinder, nearest
from collector.site_tables import Table, minutes_of, two_times

#: Who is told first, next, and last, while nobody acknowledges.
LADDER: Final = ("ward", "engineer", "on-call")
_PRIORITIES: Final[dict[str, tuple[Priority, ...]]] = {
    "ward": ("high", "medium"), "engineer": ("high", "medium", "low"), "on-call": ("high",), "planner": ("low",),
}  # fmt: skip
_OTHERS_READ: Final = stat.S_IRWXG | stat.S_IRWXO


def _rising(value: tuple[float, float, float]) -> tuple[float, float, float]:
    if not 0 <= value[0] <= value[1] <= value[2]:
        raise ValueError("write three delays in minutes that do not fall, such as [0, 3, 10]")
    return value


Delays = Annotated[tuple[float, float, float], AfterValidator(_rising)]


class WaysError(Exception):
    """The messages file cannot be used; the text holds one line per fault."""


class Escalation(Table):
    """Minutes from an alarm to the first, second and third step of LADDER, while nobody acknowledges it.

    The defaults are common practice, no source. Low priority is never told further.
    """

    high_min: Delays = (0.0, 3.0, 10.0)
    medium_min: Delays = (0.0, 10.0, 30.0)

    def delays_min(self, priority: Priority) -> tuple[float, ...]:
        """Minutes to each step; a step that is not there is never reached."""
        return {"high": self.high_min, "medium": self.medium_min, "low": (0.0,)}[priority]


class Way(Table):
    """One way to one person or group: `url` as apprise reads it, no `wards` for all, `priorities` by role if not said.

    quiet_hours hold back medium and low priority, never high. after_min is this way's own delay instead of its step's.
    `short` sends the first line alone, at most one SMS; by the gateway's own limit where it is not said.
    """

    id: Id
    url: Annotated[str, Field(min_length=1, repr=False)]
    role: Literal["ward", "engineer", "on-call", "planner"]
    person: str = ""
    wards: tuple[str, ...] = ()
    priorities: tuple[Priority, ...] = ()
    quiet_hours: Annotated[str, AfterValidator(two_times)] = ""
    after_min: Annotated[float, Field(ge=0, le=1440)] | None = None
    short: bool | None = None

    @property
    def told(self) -> tuple[Priority, ...]:
        """The priorities that go this way."""
        return self.priorities or _PRIORITIES[self.role]

    @property
    def title(self) -> str:
        """Whom it reaches, in words."""
        return self.person or self.id

    def is_quiet(self, minute_of_day: int) -> bool:
        """Whether this minute of the facility's day is within the quiet hours."""
        hours = minutes_of(self.quiet_hours)
        if hours is None:
            return False
        begin, end = hours
        return begin <= minute_of_day < end if begin < end else minute_of_day >= begin or minute_of_day < end


class Ways(Table):
    """A whole messages file."""

    ways: tuple[Way, ...] = Field(default=(), alias="way")
    escalation: Escalation = Escalation()


def load_ways(path: Path, site: Site) -> Ways:
    """Read a messages file; WaysError when it is wrong, cannot be read, or can be read by others too."""
    try:
        if path.stat().st_mode & _OTHERS_READ:
            raise WaysError(f"{path}: others may read it and it holds passwords; run: chmod 600 {path}")
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise WaysError(f"{path}: no such file; write one (README, 'Messages') or name another") from error
    except (OSError, UnicodeDecodeError) as error:
        raise WaysError(f"{path}: cannot be read: {error}") from error
    return parse_ways(text, site, str(path))


def parse_ways(text: str, site: Site, name: str = "messages.toml") -> Ways:
    """Read a messages file's text; `name` stands in front of each fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WaysError(f"{name}: not valid TOML: {error}") from error
    lines = LineFinder(text)
    try:
        ways = Ways.model_validate(data)
    except ValidationError as error:
        raise WaysError("\n".join(_fault(name, lines, dict(item)) for item in error.errors())) from error
    if faults := list(_cross_faults(ways, site, lines, name)):
        raise WaysError("\n".join(faults))
    return ways


def _fault(name: str, lines: LineFinder, item: dict[str, object]) -> str:
    loc = item["loc"]
    if isinstance(loc, tuple) and "url" in loc and item["type"] != "missing":
        item["input"] = None  # what stands there may be a password
    return fault_text(name, lines, item, _keys_at)


def _keys_at(path: TomlPath) -> list[str]:
    if not path:
        return ["way", "escalation"]
    return list((Escalation if path[0] == "escalation" else Way).model_fields)


def _cross_faults(ways: Ways, site: Site, lines: LineFinder, name: str) -> Iterator[str]:
    ids, wards = [way.id for way in ways.ways], [ward.id for ward in site.places()]
    for index, way in enumerate(ways.ways):
        if way.id in ids[:index]:
            yield f"{name}:{lines.line(('way', index, 'id'))}: two [[way]] have the id '{way.id}'; rename one"
        for ward in way.wards:
            if ward not in wards:
                yield f"{name}:{lines.line(('way', index, 'wards'))}: no ward '{ward}'{nearest(ward, wards)}"
