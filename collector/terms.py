"""Conditions, causes and instructions in the reader's language; what is stored and sent between machines is English.

An instruction is stored filled in. Which one it was is found among the catalogue's by filling them from the same
evidence, so that no reader need know when the rules say which.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Final, cast

from collector.rules import catalogue
from collector.rules.catalogue import CATALOGUE, Condition, action_text
from collector.rules.events import Evidence
from collector.tongue import language, said
from collector.tongue.current import ENGLISH
from collector.tongue.saying import listed_number

#: Instructions in the catalogue that stand beside the conditions' own.
OTHERS: Final = tuple(
    value for name, value in vars(catalogue).items() if name.endswith("_ACTION") and isinstance(value, str)
)


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


def _told(evidence: Mapping[str, object]) -> Evidence:
    """Evidence whose texts are told in the reader's language."""
    return cast("Evidence", {name: said(one) if isinstance(one, str) else one for name, one in evidence.items()})


def task_of(title: str) -> str:
    """A task's title: one of the defaults is told in the reader's language, a site file's own as it is written."""
    return said(title)


def instruction_of(condition: Condition) -> str:
    """A condition's instruction before it is filled in."""
    return said(condition.action)
