"""Figures about the collector, its bridges and its store; pure."""

from __future__ import annotations

from typing import Any

from collector.tongue import said
from dashboard.figures import size_text
from dashboard.freshness import heartbeat_age_ms
from dashboard.queries import Health, Now
from dashboard.times import age_text, moment_text
from dashboard.words import NOT_MEASURED, name_of

Figures = list[tuple[str, str]]


def collector_figures(now: Now, now_ms: int, wall_ms: int) -> Figures:
    """How the collector says it is, and when it said so."""
    status, age_ms = now.collector, heartbeat_age_ms(now, wall_ms)
    if status is None or age_ms is None:
        return [("Heard", said("never"))]
    return [
        ("Heard", f"{age_text(age_ms)} ago"), ("Since", moment_text(status.started_ms, now_ms, now.zone)),
        (f"Broker {status.broker}", name_of(status.broker_state) or NOT_MEASURED),
        ("Store", name_of(status.store_state)), ("Messages a second", f"{status.rate_per_s:.1f}"),
        ("Readings stored", f"{status.readings:,}"), ("Could not be read", f"{status.quarantined:,}"),
        ("Came twice", f"{status.duplicates:,}"), ("Came late", f"{status.late:,}"),
        ("Left out of floods", f"{status.flooded:,}"), ("Largest batch", f"{status.batch:,}"),
    ]  # fmt: skip


def store_figures(health: Health, now: Now, now_ms: int) -> Figures:
    """How much there is and what room is left."""
    extent = health.extent
    return [
        ("Units heard of", f"{extent.units:,}"), ("Oldest reading", moment_text(extent.oldest_ms, now_ms, now.zone)),
        ("Newest reading", moment_text(extent.newest_ms, now_ms, now.zone)),
        ("Journal rows", f"{extent.journal_rows:,}"), ("Store", size_text(extent.file_bytes)),
        ("Write-ahead log", size_text(health.wal_bytes)), ("Free on the disk", size_text(health.disk_free_bytes)),
    ]  # fmt: skip


def bridge_rows(now: Now, now_ms: int) -> list[dict[str, str]]:
    """Each bridge's link, and what it said of itself last."""
    return [
        {"Bridge": name, "Link": name_of(str(body.get("state", ""))),
         "Since": moment_text(body.get("at_ms"), now_ms, now.zone), **_word_cells(body.get("word") or {})}
        for name, body in now.bridges.items()
    ]  # fmt: skip


def _word_cells(word: dict[str, Any]) -> dict[str, str]:
    if not word:
        return {"Waiting": NOT_MEASURED, "Dropped": NOT_MEASURED, "Says": ""}
    ports = [
        f"{port['path']}: {port['said'] or 'not open'}" for port in word["ports"] if port["said"] or not port["open"]
    ]
    says = "; ".join(said for said in (word["said"], word["clock"], *ports) if said)
    return {"Waiting": f"{word['waiting']:,}", "Dropped": f"{word['dropped']:,}", "Says": says}
