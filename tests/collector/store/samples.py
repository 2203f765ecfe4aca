"""Readings and a store to try things on. Invented values: they show that the store keeps what it is given."""

import random

from collector.reading import LAMPS, QUANTITIES, Reading
from collector.rules.entries import NOTE, JournalEntry

MINUTE = 60_000
HOUR = 3_600_000
START = 1_780_000_000_000 // HOUR * HOUR
UNITS = ("alder", "birch", "cedar")


def reading(unit="alder", at_ms=START, **values):
    """A reading with a purity unless it is told otherwise."""
    return Reading(unit, at_ms, **{"purity_pct": 93.5, **values})


def run_of(hours, units=UNITS, every_ms=20_000, start=START, seed=1):
    """Readings of several units over hours, in order of time, with instrument-like and missing values."""
    rng = random.Random(seed)  # noqa: S311 - invented values, no secret
    found = []
    for at_ms in range(start, start + int(hours * HOUR), every_ms):
        for place, unit in enumerate(units):
            values = {name: round(rng.uniform(0, 90), 1) for name in QUANTITIES if rng.random() < 0.8}
            found.append(Reading(unit, at_ms + place * 7, **values, lamp=rng.choice((None, *LAMPS))))
    return found


def put(store, readings, batch=500):
    """Store readings, a transaction for each batch; returns how many were new."""
    new = 0
    for first in range(0, len(readings), batch):
        with store.transaction():
            new += store.add_readings(readings[first : first + batch])
    return new


def upkeep(store, until_ms):
    """Roll up and pack everything that is complete by then."""
    for work in (store.roll_up, store.pack):
        for _ in range(10_000):
            if not work(until_ms):
                break
        else:
            raise AssertionError("upkeep never ends")


def note(text, at_ms=START, **fields):
    """A journal entry."""
    return JournalEntry(at_ms=at_ms, kind=NOTE, origin="test", body={"text": text}, **fields)


def count(store, table):
    """How many rows a table has."""
    return store.conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608
