"""What the analysis pages ask of the store; no Streamlit.

Rules of this file: as in queries.py: every question opens its own connection and has an end; StoreError says in plain
words what is wrong.
"""

from __future__ import annotations

from pathlib import Path

from collector.rules.entries import CONDITION
from collector.service.alarm_load import raised_of
from collector.service.alarm_review import KINDS, Review, acks_of, review, shift_at
from collector.service.power_quality import WardPower, limits_of, losses_of, ward_power
from collector.service.spans import Span
from collector.site import Site
from collector.store import heard
from collector.store.fleet import kept_rows
from collector.store.supply_minutes import supply_minutes
from dashboard.queries import Now, reader
from dashboard.times import DAY, local


def alarm_review(data_dir: Path, now: Now, window: Span, audience: str) -> Review:
    """The alarm analysis over a window; the whole record is read, since alarms are a fold over it."""
    with reader(data_dir) as conn:
        rows = kept_rows(conn, KINDS, window[1])
    return review(raised_of(rows, audience), acks_of(rows), window, lambda ms: shift_at(local(ms, now.zone).hour))


def minutes_heard(data_dir: Path, now_ms: int) -> tuple[int, dict[str, int]]:
    """Minutes on record in the last day, and in how many of them each unit was heard."""
    with reader(data_dir) as conn:
        return heard.minutes_heard(conn, now_ms - DAY, now_ms)


def power_quality(data_dir: Path, now: Now, site: Site, window: Span) -> list[WardPower]:
    """Every ward's supply over a window."""
    nominal = {unit.id: site.model_of(unit.id).nominal_volts for unit in site.units}
    with reader(data_dir) as conn:
        found = supply_minutes(conn, {unit: limits_of(volts) for unit, volts in nominal.items()}, *window)
        lost = losses_of(kept_rows(conn, (CONDITION,), window[1]), window)
    return [
        ward_power(ward.id, {unit.id: found[unit.id] for unit in site.units_of(ward.id) if unit.id in found}, nominal,
                   lost.get(ward.id, []), lambda ms: local(ms, now.zone).hour)
        for ward in site.places()
    ]  # fmt: skip
