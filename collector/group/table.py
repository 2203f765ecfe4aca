"""Who follows which facility: one table, changed as a whole, and the pure functions that change it.

Rules of this file: no IO and no clock. Every change gives the table the next generation, and whoever is given a
facility is given it at that generation: its epoch. An epoch is never given twice, so a store that has seen a newer one
knows that whoever comes with an older one has lost the facility. A facility that moves between two members that live
is first let go by its owner (`next` says to whom), so that the two never both follow it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec
from msgspec.structs import replace

VERSION: Final = 1


class Member(msgspec.Struct, frozen=True):
    """A collector of the group; `incarnation` tells two processes of one name apart.

    `units` says of each facility that it has a site file for how many units are there.
    """

    incarnation: str
    units: dict[str, int]


class Held(msgspec.Struct, frozen=True):
    """A facility: who follows it ("" for nobody), since which epoch, and who is to follow it next ("" for no other)."""

    owner: str = ""
    epoch: int = 0
    next: str = ""


class Table(msgspec.Struct, frozen=True):
    """The whole group at one generation."""

    generation: int = 0
    members: dict[str, Member] = {}
    held: dict[str, Held] = {}
    v: int = VERSION

    def owned_by(self, name: str) -> dict[str, Held]:
        """What a member holds."""
        return {facility: held for facility, held in self.held.items() if held.owner == name}


def joined(table: Table, name: str, member: Member) -> Table:
    """With a new member; an earlier one of that name has lost what it held."""
    return replace(without(table, [name]), members={**without(table, [name]).members, name: member})


def without(table: Table, gone: Iterable[str]) -> Table:
    """Without members that are gone; what they held is nobody's."""
    names = set(gone)
    members = {name: member for name, member in table.members.items() if name not in names}
    held = {facility: _left(held, names) for facility, held in table.held.items()}
    return replace(table, members=members, held=held)


def _left(held: Held, gone: set[str]) -> Held:
    if held.owner in gone:
        return Held(epoch=held.epoch)
    return replace(held, next="") if held.next in gone else held


def let_go(table: Table, facility: str, name: str) -> Table:
    """After its owner has stopped following it; unchanged when it is not the owner's any more, or is to stay."""
    held = table.held.get(facility, Held())
    if held.owner != name or not held.next:
        return table
    given = Held(held.next, table.generation + 1)
    return replace(table, generation=table.generation + 1, held={**table.held, facility: given})


def raised(table: Table, facility: str, name: str, seen_epoch: int) -> Table:
    """With a newer epoch than the store has seen, for an owner whose table was lost and begun anew."""
    held = table.held.get(facility, Held())
    if held.owner != name or held.epoch > seen_epoch:
        return table
    generation = max(table.generation, seen_epoch) + 1
    return replace(table, generation=generation, held={**table.held, facility: replace(held, epoch=generation)})


def settled(table: Table) -> Table:
    """With every facility that somebody can follow given to somebody, evenly by units, moving no more than that asks.

    The same for whoever works it out from the same table; a table that is settled comes back as it is.
    """
    plan = _Plan(table)
    plan.give_what_is_nobodys()
    plan.even_out()
    if plan.held == table.held:
        return table
    return replace(table, generation=plan.generation, held=plan.held)


class _Plan:
    """The next table in the making; `load` counts what each member will have once all moves are done."""

    def __init__(self, table: Table) -> None:
        self.generation = table.generation + 1
        self.held = dict(table.held)
        self._members = table.members
        self._units = {
            facility: max(units, 1) for member in table.members.values() for facility, units in member.units.items()
        }
        self._load = dict.fromkeys(sorted(table.members), 0)
        for facility, held in table.held.items():
            if (later := held.next or held.owner) in self._load:
                self._load[later] += self._units.get(facility, 1)

    def give_what_is_nobodys(self) -> None:
        nobodys = [name for name in self._units if self.held.get(name, Held()).owner not in self._members]
        for facility in sorted(nobodys, key=lambda name: (-self._units[name], name)):
            fit = [name for name in self._load if facility in self._members[name].units]
            least = min(fit, key=lambda name: (self._load[name], name))
            self.held[facility] = Held(least, self.generation)
            self._load[least] += self._units[facility]

    def even_out(self) -> None:
        """Each move makes the sum of the squared loads smaller, so this ends."""
        while (move := self._move()) is not None:
            facility, to = move
            held = self.held[facility]
            self._load[held.owner] -= self._units[facility]
            self._load[to] += self._units[facility]
            self.held[facility] = replace(held, next=to)

    def _move(self) -> tuple[str, str] | None:
        """The largest facility that the most laden member can give to the least laden with a gain, or the next such."""
        by_load = sorted(self._load, key=lambda name: (self._load[name], name))
        for heavy in reversed(by_load):
            mine = sorted(
                (name for name, held in self.held.items() if held.owner == heavy and not held.next),
                key=lambda name: (-self._units.get(name, 1), name),
            )
            for light in by_load:
                spread = self._load[heavy] - self._load[light]
                for facility in mine:
                    if facility in self._members[light].units and self._units.get(facility, 1) < spread:
                        return facility, light
        return None
