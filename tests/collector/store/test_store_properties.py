"""Whatever the order of readings, late ones, duplicates and upkeep: the store holds exactly the distinct readings."""

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import Reading
from collector.store import history, open_store
from collector.store.schema import ROLLED
from tests.collector.store.samples import HOUR, MINUTE, START, UNITS

HOURS = 4
END = START + HOURS * HOUR
maybe = st.none() | st.integers(-100, 1_000).map(lambda i: i / 10) | st.floats(-1e6, 1e6)
reading = st.builds(
    Reading,
    unit=st.sampled_from(UNITS),
    # A coarse grid, so that duplicates are common, and moments just beside the borders of minutes and hours.
    time_ms=st.builds(lambda fives, off: START + fives * 5 * MINUTE + off, st.integers(0, HOURS * 12 - 1),
                      st.sampled_from((0, 1, 30_000, 59_999))),
    purity_pct=maybe, volts=maybe, hours_h=maybe, lamp=st.sampled_from((None, "red", "off")),
)  # fmt: skip
until = st.integers(0, HOURS * 60 + 5).map(lambda minute: START + minute * MINUTE)
step = st.one_of(
    st.tuples(st.just("add"), st.lists(reading, max_size=25)),
    st.tuples(st.just("roll_up"), until),
    st.tuples(st.just("pack"), until),
    st.tuples(st.just("reopen"), st.none()),
)


def play(data_dir, steps):
    """Do the steps on a real store; returns it and the readings that it should hold."""
    store = open_store(data_dir, "sim-test", durable=False)
    kept: dict[tuple[str, int], Reading] = {}
    for name, what in steps:
        if name == "add":
            fresh = {(r.unit, r.time_ms): r for r in reversed(what) if (r.unit, r.time_ms) not in kept}
            with store.transaction():
                assert store.add_readings(what) == len(fresh)
            kept |= fresh
        elif name == "reopen":
            store.close()
            store = open_store(data_dir, "sim-test", durable=False)
        else:
            getattr(store, name)(what)
    return store, sorted(kept.values(), key=lambda r: (r.time_ms, r.unit))


def stored_rollups(store, table):
    """A rollup table as a frame with the unit's name."""
    frame = pd.read_sql_query(f"SELECT * FROM {table} JOIN unit_no USING (unit_no)", store.conn)  # noqa: S608
    return frame.set_index(["unit", "at_ms"]).drop(columns="unit_no").sort_index()


def recomputed(readings, width):
    """The same from the readings."""
    frame = pd.DataFrame([{f: getattr(r, f) for f in ("unit", "time_ms", *ROLLED)} for r in readings])
    frame = frame.astype(dict.fromkeys(ROLLED, float))
    frame["at_ms"] = frame.time_ms // width * width
    groups = frame.groupby(["unit", "at_ms"])
    columns = {"n": groups.size()}
    for q in ROLLED:
        columns |= {f"{q}_n": groups[q].count(), f"{q}_sum": groups[q].sum(min_count=1),
                    f"{q}_min": groups[q].min(), f"{q}_max": groups[q].max()}  # fmt: skip
    return pd.DataFrame(columns).sort_index()


@settings(max_examples=60, deadline=None)
@given(st.lists(step, max_size=14))
def test_any_order_of_work_keeps_exactly_the_distinct_readings(steps):
    with tempfile.TemporaryDirectory() as folder:
        store, kept = play(Path(folder), steps)
        with store:
            assert list(history.iter_readings(store.conn)) == kept
            for unit in UNITS:
                assert history.readings(store.conn, unit, START, END).readings(unit) == [
                    r for r in kept if r.unit == unit
                ]


@settings(max_examples=60, deadline=None)
@given(st.lists(step, max_size=14).filter(lambda steps: any(name == "add" and what for name, what in steps)))
def test_rollups_equal_a_recomputation(steps):
    with tempfile.TemporaryDirectory() as folder:
        store, kept = play(Path(folder), steps)
        with store:
            while store.roll_up(END):
                pass
            for table, width in (("rollup_1m", MINUTE), ("rollup_1h", HOUR)):
                found, expected = stored_rollups(store, table), recomputed(kept, width)
                pd.testing.assert_index_equal(found.index, expected.index)
                np.testing.assert_allclose(
                    found[expected.columns].astype(float), expected.astype(float), rtol=1e-9, atol=1e-6
                )
