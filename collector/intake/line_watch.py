"""How the collector's line to the broker stands, for the log and the status: told when it changes, and told again."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Final

from collector import log
from collector.door import CERTIFICATE_WARN_DAYS
from collector.intake.subscriber import CONNECTED, Subscriber

REPEAT_S: Final = 600.0  # of wall time: a broker that is away or refuses is said again
_DAY_S: Final = 86_400.0


class LineWatch:
    """Looks at a subscriber after each turn; since_ms is since when its state is as it is."""

    def __init__(
        self, line: Subscriber, started_ms: int, monotonic_s: Callable[[], float] = time.monotonic,
        wall_s: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        self._line, self._monotonic_s, self._wall_s = line, monotonic_s, wall_s
        self.since_ms = started_ms
        self._told, self._told_s = (line.state, line.said), monotonic_s()
        self._warned_s = float("-inf")

    def look(self, now_ms: int) -> None:
        """Say what has changed; what goes on being wrong is said every ten minutes, an end that is near once a day."""
        line, now_s = self._line, self._monotonic_s()
        if line.state != self._told[0]:
            self.since_ms = now_ms
        news = (line.state, line.said)
        changed = news[0] != self._told[0] or (line.settled and news != self._told)
        if changed or (line.state != CONNECTED and now_s - self._told_s >= REPEAT_S):
            self._told, self._told_s = news, now_s
            level = logging.INFO if line.state == CONNECTED else logging.WARNING
            log.say("broker", level=level, state=line.state, said=line.said)
        if now_s - self._warned_s >= _DAY_S and (said := self.said):
            self._warned_s = now_s
            log.say("certificate", level=logging.WARNING, said=said[0])

    @property
    def said(self) -> list[str]:
        """What is to be done before the broker's certificate ends; empty while that is far off."""
        until_s = self._line.certificate_until_s
        if until_s is None or (days := (until_s - self._wall_s()) / _DAY_S) >= CERTIFICATE_WARN_DAYS:
            return []
        day = time.strftime("%Y-%m-%d", time.gmtime(until_s))
        return [
            f"the certificate of the broker {self._line.door.where} ends on {day}, in {max(days, 0):.0f} days: then "
            "nobody comes in any more. Make it anew with 'sieveward site keys --renew' and reload the broker"
        ]
