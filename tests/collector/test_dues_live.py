"""What is due, told by a running collector: raised at midnight, ended by what another process wrote down."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.broker.process import Broker
from collector.clock import ManualClock
from collector.door import Door
from collector.live import Collector
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.rules.limits import DAY, HOUR
from collector.store import JournalWriter, Store, open_store
from collector.store.history import journal_rows
from tests.collector.service.upkeep import START_MS, site_of, task

SITE = site_of(task("every_days = 30"))


def told(store: Store) -> list[tuple[float, str]]:
    """Days and events, the oldest first."""
    rows = journal_rows(store.conn, kinds=[entries.CONDITION])
    return [
        ((row.at_ms - START_MS) / DAY, row.body["event"]) for row in reversed(rows) if row.condition == "service-due"
    ]


def done(day: float) -> JournalEntry:
    return JournalEntry(at_ms=START_MS + round(day * DAY), kind=entries.TASK_DONE, unit="u1", ward="newborn",
                        body={"task": "filter", "outcome": entries.DONE})  # fmt: skip


@pytest.mark.broker
def test_raised_once_ended_by_the_work_and_not_again_after_a_restart(nats: Broker, tmp_path: Path) -> None:
    clock = ManualClock(START_MS + 10 * HOUR)
    with open_store(tmp_path, "lake", durable=False) as store:
        collector = Collector(SITE, store, Door(nats.host, nats.port), clock)
        JournalWriter(tmp_path).append([done(0.25)])
        for days in (0, 29, 2, 0, 1):
            clock.advance(days * DAY)
            collector.turn()
        assert told(store) == [(31, "raised")]
        collector.close()
        collector = Collector(SITE, store, Door(nats.host, nats.port), clock)
        collector.turn()
        assert [alarm.condition for alarm in collector.followed.board.speaking()] == ["service-due"]
        JournalWriter(tmp_path).append([done(32.25)])
        collector.turn()
        collector.turn()
        assert told(store) == [(31, "raised"), (32.25, "cleared")]
        assert collector.followed.board.speaking() == []
        collector.close()
