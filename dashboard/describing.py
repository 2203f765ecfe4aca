"""Changes of the site file that a screen asks for, as journal entries, and the ids that they need; pure.

Rules of this file: an entry only asks (collector/siteedit/asked.py); the collector makes the change or says why not.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from typing import Any, Final

from collector.people.acts import ORIGIN
from collector.rules.entries import SITE_CHANGE, JournalEntry
from collector.siteedit import asked
from dashboard import first_words as words
from dashboard.actions import Person, Refused, named

ID_MAX: Final = 40
#: Units that are added in one go: beyond it the page would be a long list of answers.
ALIKE_MAX: Final = 50
_NUMBERED: Final = re.compile(r"(.*?)-?(\d{1,4})")


def added(table: str, fields: Mapping[str, Any], person: Person, now_ms: int) -> JournalEntry:
    """Ask for a new [[table]] with these fields; a unit's row names the unit and its ward."""
    unit = str(fields["id"]) if table == "unit" else ""
    ward = str(fields.get("ward", "")) if table == "unit" else ""
    return asking({"do": asked.ADD, "table": table, "fields": dict(fields), "why": ""}, person, now_ms, unit, ward)


def described(fields: Mapping[str, Any], person: Person, now_ms: int) -> JournalEntry:
    """Ask for keys of [facility]."""
    return asking({"do": asked.FACILITY, "fields": dict(fields), "why": ""}, person, now_ms)


def asking(
    body: dict[str, Any], person: Person, now_ms: int, unit: str = "", ward: str = ""
) -> JournalEntry:  # fmt: skip
    """Ask for what `body` says (collector/siteedit/asked.py)."""
    who = named(person)
    return JournalEntry(at_ms=now_ms, kind=SITE_CHANGE, unit=unit, ward=ward, who=who.name, role=who.role,
                        origin=ORIGIN, body=body)  # fmt: skip


def id_of(name: str, taken: Collection[str] = ()) -> str:
    """An id made of a name: small letters, digits and hyphens; Refused where none can be made, or it is there."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    found = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:ID_MAX].rstrip("-")
    if not found:
        raise Refused(words.no_id(name.strip()))
    if found in taken:
        raise Refused(words.id_taken(found))
    return found


def names_in(text: str) -> list[str]:
    """Names, one a line, without empty lines and without saying one twice."""
    return list(dict.fromkeys(" ".join(line.split()) for line in text.splitlines() if line.strip()))


def alike(first: str, count: int, taken: Collection[str]) -> list[str]:
    """Ids of so many units, counted on from the first; ids that are there already are passed over.

    "wren" and one is "wren"; "bed" and three are "bed-01" to "bed-03"; "bed-08" and two are "bed-08" and "bed-09".
    """
    start = id_of(first)
    if count == 1:
        return [id_of(first, taken)]
    found = _NUMBERED.fullmatch(start)
    stem, number, digits = (found[1] or "unit", int(found[2]), len(found[2])) if found else (start, 1, 2)
    ids: list[str] = []
    while len(ids) < min(count, ALIKE_MAX):
        one = id_of(f"{stem[: ID_MAX - 6]}-{number:0{digits}}")
        if one not in taken:
            ids.append(one)
        number += 1
    return ids
