"""A collector of the group: beats, reads the table, mends it, and follows what the table gives it.

Rules of this file: the table decides, never this process; what it gives may be followed, what it takes is let go. Only
the store's fence makes this safe, so a cluster out of reach is no reason to stop: the facilities are followed on as
long as their readings come.
"""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections.abc import Callable
from typing import Final

import msgspec

from collector import log
from collector.clock import Clock
from collector.group import table as tables
from collector.group.board import Board, Unreached
from collector.group.group_file import GroupFile
from collector.group.pulse import BEAT_S, Pulse
from collector.group.shard import Shard
from collector.group.table import Table
from collector.watchdog import Watchdog

AGAIN_S: Final = 15.0  # before a facility whose store failed is opened again
LEAVE_S: Final = 15.0  # how long its facilities may take to end when a member leaves


class Replaced(Exception):
    """Another process has taken this member's name."""


class Member:
    """One process of the group; `shards` are the facilities that it follows or is about to let go."""

    def __init__(
        self, name: str, told: GroupFile, board: Board, clock: Clock, *,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.name, self._told, self._board, self._clock = name, told, board, clock
        self.shards: dict[str, Shard] = {}
        self._monotonic_s = monotonic_s
        self._incarnation, self._beats, self._pulse = "", 0, Pulse()
        self._joined, self._said = False, ""
        self._again_s: dict[str, float] = {}

    async def run(self, stop: asyncio.Event) -> None:
        """Take part until `stop` is set, then leave; Replaced when the name is taken by another."""
        watchdog = Watchdog()
        watchdog.ready()
        try:
            while not stop.is_set():
                await self.round()
                if not any(shard.stuck for shard in self.shards.values()):
                    watchdog.beat()
                await _pause(stop, BEAT_S)
        finally:
            watchdog.stopping()
            await self._leave()

    async def round(self) -> None:
        """One round; a cluster that does not answer is said once, and tried again in the next."""
        try:
            await self._round()
        except Unreached as error:
            self._say("unreached", str(error))
        else:
            self._say("reached", "")

    async def _round(self) -> None:
        if not self._joined:
            await self._join()
        await self._beat()
        table, revision = await self._board.table()
        if not self._is_in(table):
            return
        self._pulse.look(await self._board.beats(table.members), self._monotonic_s())
        mended = self._mended(table)
        if mended != table:
            if not await self._board.swap(mended, revision):
                return  # another was quicker: the next round sees what it made
            self._log_change(table, mended)
            table = mended
        self._follow(table)

    # -- the table -------------------------------------------------------------------------------------------------

    async def _join(self) -> None:
        self._incarnation, self._pulse = uuid.uuid4().hex, Pulse()
        units = {name: len(facility.site.units) for name, facility in self._told.facilities.items()}
        me = tables.Member(self._incarnation, units)
        await self._beat()
        while not self._joined:
            table, revision = await self._board.table()
            self._joined = await self._board.swap(tables.settled(tables.joined(table, self.name, me)), revision)
        log.say("group-joined", member=self.name, facilities=len(units))

    async def _beat(self) -> None:
        self._beats += 1
        await self._board.beat(self.name, f"{self._incarnation} {self._beats}".encode())

    def _is_in(self, table: Table) -> bool:
        """Whether the table still knows this process; if it was given up as dead, it lets go and joins anew."""
        mine = table.members.get(self.name)
        if mine is not None and mine.incarnation == self._incarnation:
            return True
        for shard in self.shards.values():
            shard.stop()
        if mine is not None:
            raise Replaced(f"another collector of the group calls itself '{self.name}': give each a name of its own")
        self._clear_ended()
        if not self.shards:
            log.say("group-given-up", level=logging.WARNING, member=self.name)
            self._joined = False
        return False

    def _mended(self, table: Table) -> Table:
        dead = [name for name in self._pulse.dead(table.members) if name != self.name]
        table = tables.without(table, dead)
        for facility in list(table.owned_by(self.name)):
            shard = self.shards.get(facility)
            if shard is not None and shard.ended and shard.fenced_by:
                table = tables.raised(table, facility, self.name, shard.fenced_by)
            if shard is None or shard.ended:
                table = tables.let_go(table, facility, self.name)
        return tables.settled(table)

    # -- what it gives ---------------------------------------------------------------------------------------------

    def _follow(self, table: Table) -> None:
        mine = table.owned_by(self.name)
        for facility, shard in self.shards.items():
            held = mine.get(facility)
            if held is None or held.next or held.epoch != shard.epoch:
                shard.stop()
        self._clear_ended()
        now_s = self._monotonic_s()
        for facility, held in mine.items():
            told = self._told.facilities.get(facility)
            if told and not held.next and facility not in self.shards and self._again_s.get(facility, 0.0) <= now_s:
                self.shards[facility] = Shard(
                    told, held.epoch, self._told.doors, self._clock, many_machines=self._told.many_machines
                )

    def _clear_ended(self) -> None:
        for facility, shard in list(self.shards.items()):
            if shard.ended:
                if shard.said and not shard.fenced_by:
                    self._again_s[facility] = self._monotonic_s() + AGAIN_S
                del self.shards[facility]

    async def _leave(self) -> None:
        """Let everything go at once, so that the others need not wait until this one counts as dead."""
        for shard in self.shards.values():
            shard.stop()
        end_s = time.monotonic() + LEAVE_S
        while not all(shard.ended for shard in self.shards.values()) and time.monotonic() < end_s:
            await asyncio.sleep(0.02)
        try:
            table, revision = await self._board.table()
            mine = table.members.get(self.name)
            while mine is not None and mine.incarnation == self._incarnation:
                if await self._board.swap(tables.settled(tables.without(table, [self.name])), revision):
                    break
                table, revision = await self._board.table()
                mine = table.members.get(self.name)
        except Unreached as error:
            self._say("unreached", str(error))

    # -- what is said ----------------------------------------------------------------------------------------------

    def _say(self, state: str, said: str) -> None:
        if state != self._said:
            self._said = state
            log.say("group", member=self.name, state=state, said=said)

    def _log_change(self, before: Table, after: Table) -> None:
        for name in before.members.keys() - after.members.keys():
            log.say("group-member-dead", level=logging.WARNING, member=name)
        moved = {facility: held.next or held.owner for facility, held in after.held.items()
                 if held != before.held.get(facility)}  # fmt: skip
        log.say("group-table", generation=after.generation, to=msgspec.json.encode(moved).decode())


async def _pause(stop: asyncio.Event, for_s: float) -> None:
    try:
        await asyncio.wait_for(stop.wait(), for_s)
    except TimeoutError:
        return
