"""Where a bridge gets readings from, and what is known of each of its ports."""

from __future__ import annotations

from typing import Protocol

import msgspec

from collector.reading import Reading


class PortState(msgspec.Struct, frozen=True, kw_only=True):
    """One port as it is now, for the bridge's state document and the log.

    `said` is why it is not open, or what it last refused; "" where nothing is wrong. `stale` means open or not, nothing
    good has been read for longer than the port's stale_s. Counts are since the bridge started: `readings` given on,
    `refused` frames that could not be used, `dropped_bytes` that were part of no frame, left_out what the port's
    at_most_every_s thinned. heard_ms is when the last
    good reading came, by the clock that `turn` was given; None before the first.
    """

    path: str
    profile: str
    open: bool
    stale: bool
    said: str = ""
    heard_ms: int | None = None
    readings: int = 0
    refused: int = 0
    timeouts: int = 0
    dropped_bytes: int = 0
    left_out: int = 0
    units: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    corrections: tuple[str, ...] = ()


class Source(Protocol):
    """Gives readings when asked, and never waits.

    `turn(now_ms)` reads what is there. A reading whose device has no clock carries exactly now_ms, the bridge's own
    time; a device's own time is in UTC and may differ from it. `filenos` are to be waited on for reading; they change
    when a port is unplugged or opened, so ask before each wait. `wait_s` is how long may be waited at most before the
    next turn is due (a poll, a time-out, a port to be opened again).
    """

    def turn(self, now_ms: int) -> list[Reading]: ...

    def filenos(self) -> list[int]: ...

    def wait_s(self) -> float: ...

    def state(self) -> list[PortState]: ...

    def close(self) -> None: ...
