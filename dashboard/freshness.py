"""Whether what is shown is live, and the words over every screen when it is not; pure.

Rules of this file: doubt is never good news. A heartbeat from the future is as bad as an old one, since then nobody can
say how old anything is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple

from collector.rules.limits import LIMITS
from collector.rules.unitrow import SILENT, UNSEEN, UnitRow
from dashboard import words
from dashboard.carriers import messages_fault
from dashboard.queries import Now
from dashboard.times import age_text

HEARTBEAT_MS: Final = 15_000  # of wall time
#: Of wall time: how much later than the silence limit a screen calls a unit silent by itself. The collector says it
#: first (it waits two seconds for late readings); this is for when it does not.
SLACK_MS: Final = 5_000


class Banner(NamedTuple):
    """Words over a screen; `lost` when what is below is not live."""

    lost: bool
    text: str


def heartbeat_age_ms(now: Now, wall_ms: int) -> int | None:
    """Wall time since the collector was heard, negative when its clock is ahead; None when it never was."""
    if now.collector is None:
        return None
    if now.collector.wall_ms is not None:
        return wall_ms - now.collector.wall_ms
    return int((now.clock.now_ms() - now.collector.at_ms) / now.clock.speed)


def collector_lives(now: Now, wall_ms: int) -> bool:
    """Whether the collector was heard lately."""
    age_ms = heartbeat_age_ms(now, wall_ms)
    return age_ms is not None and abs(age_ms) <= HEARTBEAT_MS


def is_stale(row: UnitRow | None, now: Now, now_ms: int, lives: bool) -> bool:
    """Whether a unit's values are too old to say anything: as the collector says, or by their age alone."""
    if row is None or row.last_ms is None or row.phase in (SILENT, UNSEEN) or not lives:
        return True
    return now_ms - row.last_ms > LIMITS.absent_ms + SLACK_MS * now.clock.speed


def banners(now: Now, wall_ms: int) -> list[Banner]:
    """What has to be said over every screen, the worst first."""
    found = []
    age_ms, status = heartbeat_age_ms(now, wall_ms), now.collector
    if age_ms is None or status is None:
        found.append(Banner(True, words.COLLECTOR_NEVER))
    elif age_ms > HEARTBEAT_MS:
        found.append(Banner(True, words.collector_lost(age_text(age_ms))))
    elif age_ms < -HEARTBEAT_MS:
        found.append(Banner(True, words.COLLECTOR_CLOCK))
    elif status.broker_state != "connected":
        found.append(Banner(True, words.no_broker(status.broker, status.broker_state, status.broker_said)))
    elif status.store_state != "good":
        found.append(Banner(True, words.store_fault(status.store_said or status.store_state)))
    elif not status.caught_up:
        found.append(Banner(False, words.CATCHING_UP))
    return found + [Banner(False, said) for said in _beside(now, wall_ms)]


def _beside(now: Now, wall_ms: int) -> Iterator[str]:
    """What else has to be said, whether or not what is shown is live."""
    if now.collector is not None:
        yield from now.collector.troubles
        if now.collector.flooding:
            yield words.FLOODING.format(_names(now.collector.flooding))
    if fault := messages_fault(now.carried, now.site, wall_ms):
        yield fault
    if now.site is not None and now.site.units and not any(row.last_ms for row in now.units.values()):
        yield words.WAITING
    if now.site is None:
        yield words.NO_SITE


def _names(flooding: Iterable[dict[str, Any]]) -> str:
    return ", ".join(f"{who['kind']} {who['id']}" for who in flooding)
