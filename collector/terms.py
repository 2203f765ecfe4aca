"""Conditions, causes and instructions in the reader's language; what is stored and sent between machines is English.

An instruction is stored filled in. Which one it was is found among the catalogue's by filling them from the same
evidence, so that no reader need know when the rules say which.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Final, cast

from collector.rules import catalogue
from collector.rules.catalogue import CATALOGUE, Condition, action_text
from collector.rules.events import Evidence
from collector.tongue import language, said
from collector.tongue.catalogues import bound
from collector.tongue.current import ENGLISH
from collector.tongue.saying import listed_number

#: Instructions in the catalogue that stand beside the conditions' own.
OTHERS: Final = tuple(
    value for name, value in vars(catalogue).items() if name.endswith("_ACTION") and isinstance(value, str)
)


#: The signs of a cause, as rules/causes.py says them (a test compares); a field is a number or a text of its own.
REASONS: Final = (
    "flow is {flow} L/min, rated {rated} L/min", "supply lately {pct} % under nominal",
    "flow fell by {pct} % together with purity, not in a step",
    "purity is off by {points} points; power, pressure and a change of flow do not bear it out",
    "power jumped as purity began to fall; now {pct} % against its normal",
    "the unit has not been watched for long enough to know its normal", "the signs fit more than one cause",
    "a third of capacity goes in {span}", "{what} as usual", "{what} {off} {unit} against its normal at this flow",
    "{count} days",
)  # fmt: skip
#: What a reason is about, and the limits that an instruction names.
PARTS: Final = ("power", "pressure", "cabinet", "amber", "red", "switch-off", "day")
_LIMIT: Final = re.compile(r"([\d.]+ %) \(([\w-]+)\)")


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((one, re.compile(re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+?)", re.escape(one)))) for one in REASONS)


def reason_of(reason: str) -> str:
    """A stored sign of a cause in the language spoken now; as it is where it is none of those known."""
    if language() == ENGLISH:
        return reason
    for template, pattern in _patterns():
        if found := pattern.fullmatch(reason):
            fields = {name: listed_number(reason_of(one)) for name, one in found.groupdict().items()}
            return bound(said(template, **fields), language())
    return said(reason)


@cache
def templates() -> tuple[str, ...]:
    """Every instruction that the rules give, before it is filled in."""
    return (*(condition.action for condition in CATALOGUE.values()), *OTHERS)


def title_of(condition: str) -> str:
    """What people call a condition."""
    return said(catalogue.title_of(condition))


def action_of(action: str, condition: str, evidence: Mapping[str, object]) -> str:
    """A stored instruction in the language spoken now; as it is where it is none of the catalogue's."""
    if language() == ENGLISH or not action:
        return action
    known, filled = CATALOGUE.get(condition), cast("Evidence", evidence)
    for template in (*((known.action,) if known else ()), *templates()):
        if action == action_text(template, filled):
            return listed_number(action_text(said(template), _told(evidence)))
    return said(action)


def _part(text: str) -> str:
    """A text in evidence; a limit with its name in brackets is told in two parts."""
    found = _LIMIT.fullmatch(text)
    return f"{found[1]} ({said(found[2])})" if found else said(text)


def _told(evidence: Mapping[str, object]) -> Evidence:
    """Evidence whose texts are told in the reader's language."""
    return cast("Evidence", {name: _part(one) if isinstance(one, str) else one for name, one in evidence.items()})


def task_of(title: str) -> str:
    """A task's title: one of the defaults is told in the reader's language, a site file's own as it is written."""
    return said(title)


def instruction_of(condition: Condition) -> str:
    """A condition's instruction before it is filled in."""
    return said(condition.action)
