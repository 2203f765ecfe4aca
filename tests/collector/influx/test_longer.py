"""A long past from two places: as if nothing had ever been taken away, or as much as there is, and why."""

import msgspec
import numpy as np
import pytest

from collector.influx.longer import long_readings, long_series
from collector.influx.readback import FarError, Readback
from collector.store import history
from tests.collector.influx.conftest import carried, retained
from tests.collector.store.samples import HOUR, MINUTE, START, put, run_of, upkeep
from tests.influx_server import WRITE_TOKEN
from tests.waiting import free_port

SPAN = (START, START + 8 * HOUR)


#: What is kept for no days, by what of the past is to be gone.
GONE = {"raw": {}, "minutes": {"minute_days": 0}, "hours": {"minute_days": 0, "hour_days": 0}}


@pytest.fixture
def whole(store, feed):
    """Eight hours, copied; returns how the chart and the readings were before anything was taken."""
    put(store, run_of(8))
    upkeep(store, START + 8 * HOUR)
    carried(feed)
    return store


def same(one, other):
    """Two series are the same."""
    return (
        (one.source, one.bucket_ms, one.time_ms.tolist(), one.n.tolist())
        == (other.source, other.bucket_ms, other.time_ms.tolist(), other.n.tolist())
        and all(one.bands[q].mean == pytest.approx(other.bands[q].mean, nan_ok=True) for q in one.bands)
        and all(np.array_equal(one.bands[q].min, other.bands[q].min, equal_nan=True) for q in one.bands)
    )  # fmt: skip


@pytest.mark.parametrize(
    ("gone", "points"), [("raw", 5000), ("raw", 600), ("minutes", 100), ("minutes", 30), ("hours", 5)]
)
@pytest.mark.parametrize("hours", [3, 8])
def test_a_chart_over_what_was_taken_is_as_before(whole, target, gone, points, hours):
    before = history.series(whole.conn, "alder", *SPAN, points)
    retained(whole, START + hours * HOUR, **GONE[gone])
    assert not same(history.series(whole.conn, "alder", *SPAN, points), before), "something is missing here"
    found = long_series(whole.conn, Readback(target), "alder", *SPAN, points)
    assert (found.far, found.said) == (True, "")
    assert same(found.series, before)


def test_what_is_still_here_asks_nobody(whole, target):
    nobody = Readback(msgspec.structs.replace(target, url=f"http://127.0.0.1:{free_port()}"))
    found = long_series(whole.conn, nobody, "alder", *SPAN, 600)
    assert (len(found.series) > 0, found.far, found.said) == (True, False, "")


def test_without_an_answer_it_is_what_is_still_here_and_says_why(whole, target):
    retained(whole, START + 8 * HOUR)
    nobody = Readback(msgspec.structs.replace(target, url=f"http://127.0.0.1:{free_port()}"))
    found = long_series(whole.conn, nobody, "alder", *SPAN, 5000)
    assert found.series.source == "minutes"
    assert "does not answer" in found.said


def test_a_token_that_may_not_read_is_named(whole, target, tmp_path):
    (tmp_path / "token").write_text(WRITE_TOKEN)
    retained(whole, START + 8 * HOUR)
    assert "may read" in long_series(whole.conn, Readback(target), "alder", *SPAN, 5000).said


def test_a_copy_that_is_not_whole_is_not_shown_as_if_it_were(whole, server, target):
    retained(whole, START + 8 * HOUR)
    database = target.database[0]
    server.statement(f"DROP DATABASE {database}; CREATE DATABASE {database}; GRANT ALL ON {database} TO both")
    found = long_series(whole.conn, Readback(target), "alder", *SPAN, 5000)
    assert found.series.source == "minutes"
    assert found.said == "the InfluxDB holds 0 of 1440 readings of this span"


def test_readings_go_on_from_afar_to_here(whole, target):
    before = list(history.iter_readings(whole.conn, START + MINUTE, START + 7 * HOUR, ("alder", "cedar")))
    retained(whole, START + 4 * HOUR)
    assert len(list(history.iter_readings(whole.conn, START + MINUTE, START + 7 * HOUR))) < len(before)
    found = long_readings(whole.conn, Readback(target), START + MINUTE, START + 7 * HOUR, ("alder", "cedar"))
    assert list(found) == before


@pytest.mark.parametrize("answer", [b"", b"{", b"[]", b'{"results":[]}', b'{"results":[{"error":"x"}]}', b"<html>"])
def test_an_answer_that_is_none_is_said(target, monkeypatch, answer):
    class Pool:
        def request(self, *_, **__):
            return type("Answer", (), {"status": 200, "data": answer})

    far = Readback(target)
    monkeypatch.setattr(far, "_pool", Pool())
    if answer:
        with pytest.raises(FarError):
            far.sums("alder", *SPAN, "raw", 1000)
    else:
        assert len(far.sums("alder", *SPAN, "raw", 1000).n) == 0
