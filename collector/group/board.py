"""The group's table and its members' beats in a JetStream key-value bucket; nothing of nats-py leaks out.

Rules of this file: the table is only ever replaced by comparing its revision, and read from the bucket's leader, so
that whoever replaces it has seen the newest. A server that does not answer is an Unreached, for the caller to bear.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import msgspec
import nats
from nats.aio.client import Client
from nats.errors import Error as NatsError
from nats.js.api import KeyValueConfig
from nats.js.errors import BucketNotFoundError, KeyNotFoundError, KeyWrongLastSequenceError
from nats.js.errors import Error as JetStreamError
from nats.js.kv import KeyValue

from collector.group.table import VERSION, Table

ANSWER_S: Final = 2.0
CONNECT_S: Final = 2
ALL_S: Final = 8.0  # for the first connection to any of the servers
AGAIN_S: Final = 0.2  # between attempts to reach the next server
PING_S: Final = 2  # a server that went away without a word is noticed after two of them
TABLE: Final = "table"


class Unreached(Exception):
    """The cluster does not answer now; nothing is known to have changed, though it may have."""


class OtherVersion(Exception):
    """The table was written by another version of this program."""


class Board:
    """One connection to the cluster; use as an asynchronous context manager."""

    def __init__(
        self, group: str, servers: Sequence[str], replicas: int, *, user: str = "", password: str = "",
        ca: Path | None = None,
    ) -> None:  # fmt: skip
        self._bucket, self._servers, self._replicas = f"sieveward-{group}", list(servers), replicas
        self._who = {"user": user, "password": password} if user else {}
        self._tls = ssl.create_default_context(cafile=str(ca)) if ca else None
        self._client: Client | None = None
        self._kv: KeyValue | None = None

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._client is not None:
            await self._client.close()

    async def table(self) -> tuple[Table, int]:
        """The newest table and its revision; an empty one at revision 0 where there is none yet."""
        try:
            entry = await (await self._reached()).get(TABLE)
        except KeyNotFoundError:
            return Table(), 0
        except (NatsError, JetStreamError, OSError) as error:
            raise Unreached(_said(error)) from error
        table = msgspec.json.decode(entry.value or b"{}", type=Table)
        if table.v != VERSION:
            raise OtherVersion(f"the group's table has version {table.v}, this program knows {VERSION}: upgrade it")
        return table, entry.revision or 0

    async def swap(self, table: Table, revision: int) -> bool:
        """Put a table in the place of the one at that revision; False when another was quicker."""
        try:
            await (await self._reached()).update(TABLE, msgspec.json.encode(table), revision)
        except KeyWrongLastSequenceError:
            return False
        except (NatsError, JetStreamError, OSError) as error:
            raise Unreached(_said(error)) from error
        return True

    async def beat(self, name: str, beat: bytes) -> None:
        """Show that a member lives."""
        try:
            await (await self._reached()).put(f"beat.{name}", beat)
        except (NatsError, JetStreamError, OSError) as error:
            raise Unreached(_said(error)) from error

    async def beats(self, names: Iterable[str]) -> dict[str, bytes | None]:
        """The last beat of each member, None for one that has none."""
        found: dict[str, bytes | None] = {}
        for name in names:
            try:
                found[name] = (await (await self._reached()).get(f"beat.{name}")).value
            except KeyNotFoundError:
                found[name] = None
            except (NatsError, JetStreamError, OSError) as error:
                raise Unreached(_said(error)) from error
        return found

    async def _reached(self) -> KeyValue:
        """The bucket, made if there is none; connects once, after that nats-py keeps the connection up by itself."""
        if self._kv is not None:
            return self._kv
        if self._client is None:
            connecting = nats.connect(
                self._servers, connect_timeout=CONNECT_S, reconnect_time_wait=AGAIN_S, max_reconnect_attempts=-1,
                ping_interval=PING_S, error_cb=_unheard, tls=self._tls, **self._who,
            )  # fmt: skip
            self._client = await asyncio.wait_for(connecting, ALL_S)
        stream = self._client.jetstream(timeout=ANSWER_S)
        try:
            self._kv = await stream.key_value(self._bucket)
        except BucketNotFoundError:
            config = KeyValueConfig(bucket=self._bucket, replicas=self._replicas, history=1)
            self._kv = await stream.create_key_value(config)
        return self._kv


async def _unheard(_error: Exception) -> None:
    """What goes wrong shows in the call that it goes wrong in."""


def _said(error: Exception) -> str:
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
