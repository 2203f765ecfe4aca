"""A replay in shares of wards finds what one process finds, in the same order: made up at random, and as recorded."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from collector.blocks import Block, Past, Whose, blocks
from collector.cli.main import app
from collector.reading import Reading
from collector.recording import open_writer
from collector.replay import Replay
from collector.rules.events import Event
from collector.sharded import Shard, ShardedReplay, shares
from collector.site import Site, load_site, parse_site
from collector.store import open_store
from tests.scenario_files import FOLDER, START_MS, load_scenario

UNITS = [f"u{number}" for number in range(6)]
SITE_TEXT = (
    '[facility]\nid = "sim-shares"\n'
    + "".join(f'[[ward]]\nid = "w{number}"\n' for number in range(3))
    + "".join(f'[[unit]]\nid = "{unit}"\nward = "w{place // 2}"\n' for place, unit in enumerate(UNITS))
    + '[[unit]]\nid = "homeless"\n'
)
SITE = parse_site(SITE_TEXT)
ALL = frozenset(unit.id for unit in SITE.units)

_MOMENT = st.tuples(
    st.sampled_from([*UNITS, "homeless", "stranger"]),
    st.sampled_from([-30, 0, 0, 5, 10, 10, 10, 60, 200, 4_000]),  # seconds since the reading before
    st.sampled_from([None, 20.0, 60.0, 80.0, 84.0, 93.0, 93.1, 97.0]),
    st.sampled_from([None, 0.0, 2.0, 4.0, 8.0]),
    st.sampled_from([None, 0.0, 340.0]),
    st.sampled_from([None, 0.0, 180.0, 230.0]),
)


def made(moments: Iterable[tuple[str, int, float | None, float | None, float | None, float | None]]) -> list[Reading]:
    time_ms, found = START_MS, []
    for unit, step_s, purity, flow, power, volts in moments:
        time_ms += step_s * 1000
        found.append(Reading(unit, time_ms, purity, flow, power, 31.0, volts))
    return found


def fleet(hours: float = 2.0) -> list[Reading]:
    """Six units of three wards; wards lose supply and bridges, units fall, and one is never heard."""
    found = []
    for step in range(round(hours * 360)):
        time_ms = START_MS + step * 10_000
        for place, unit in enumerate(UNITS[:-1]):
            out = place < 2 and 100 < step < 160  # the first ward's supply
            if place in (2, 3) and 200 < step < 300:  # the second ward's bridge
                continue
            purity = 93.0 - max(0, step - 150) / 10 if place == 4 else 93.0 + (step * 7 + place) % 5 / 10
            volts = 0.0 if out else 190.0 if 400 < step < 500 else 230.0
            found.append(Reading(unit, time_ms + place * 7, None if out else max(purity, 25.0), 0.0 if out else 3.0,
                                 0.0 if out else 340.0, 31.0, volts))  # fmt: skip
    return found


def shared_out(site: Site, readings: list[Reading], jobs: int, size: int) -> list[Event]:
    """What shares find, put together by their keys; readings come in blocks of `size`."""
    found = []
    for own in shares(site, jobs):
        shard = Shard(site, own)
        known = frozenset(unit.id for unit in site.units)
        found += [event for block in cut(readings, Whose(known, own), size) for event in shard.take(block)]
    return [event for _, event in sorted(found, key=lambda pair: pair[0])]


def cut(readings: list[Reading], whose: Whose, size: int) -> Iterator[Block]:
    from collector import blocks as module

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_LISTED", size)
        yield from module._listed(iter(readings), Past(), whose)


@settings(max_examples=150, deadline=None)
@given(st.lists(_MOMENT, max_size=80), st.integers(1, 5), st.integers(1, 30))
def test_any_readings_in_any_shares_and_blocks(moments, jobs, size):
    readings = made(moments)
    assert shared_out(SITE, readings, jobs, size) == list(Replay(SITE).events(readings))


def test_a_fleet_in_trouble():
    readings = fleet()
    one = list(Replay(SITE).events(readings))
    assert {"ward-supply-lost", "readings-absent", "purity-red", "supply-poor"} <= {event.condition for event in one}
    assert shared_out(SITE, readings, 3, 100) == one


@pytest.mark.parametrize("name", sorted(path.stem for path in FOLDER.glob("*.toml") if path.stem != "site"))
def test_recorded_scenarios(name):
    scenario = load_scenario(name)
    site = load_site(FOLDER / "site.toml")
    one = list(Replay(site).events(scenario.readings))
    assert shared_out(site, list(scenario.readings), 4, 50) == one


def test_wards_are_never_split():
    for jobs in (1, 2, 3, 9):
        found = shares(SITE, jobs)
        assert len(found) == min(jobs, 4)
        assert sorted(unit for share in found for unit in share) == sorted(ALL)
        assert all({"u0", "u1"} <= share or not {"u0", "u1"} & share for share in found)
    assert shares(parse_site('[facility]\nid = "empty"\n'), 2) == [frozenset()]


def _past(folder: Path, form: str, readings: list[Reading]) -> Past:
    if form == "store":
        with open_store(folder / "data", "sim-shares") as store, store.transaction():
            store.add_readings(readings)
        return Past(data=folder / "data")
    path = folder / f"past.{form}"
    with open_writer(path, "sim-shares") as writer:
        for reading in readings:
            writer.write(reading)
    return Past((path,))


FORMS = ("csv", "parquet", "senml.jsonl", "store")


@pytest.mark.parametrize("form", FORMS)
def test_blocks_hold_what_was_recorded(tmp_path, form):
    readings = [Reading("stranger", START_MS, 93.0), *fleet(0.5)]
    span = {"from_ms": START_MS + 60_000, "to_ms": START_MS + 1_200_000}
    past = _past(tmp_path, form, readings)
    past = Past(past.files, past.data, **span)
    inside = [r for r in readings[1:] if span["from_ms"] <= r.time_ms < span["to_ms"]]
    own = frozenset(UNITS[1:4])
    found = list(blocks(past, Whose(ALL, own), lambda *_: None, "sim-shares"))
    assert [ms for block in found for ms in block.time_ms.tolist()] == [r.time_ms for r in inside]
    assert [r for block in found for r in block.readings] == [r for r in inside if r.unit in own]
    starts = [sum(len(block.time_ms) for block in found[:place]) for place in range(len(found))]
    places = [start + place for start, block in zip(starts, found, strict=True) for place in block.places]
    assert [inside[place] for place in places] == [r for r in inside if r.unit in own]


@pytest.mark.parametrize("form", FORMS)
def test_processes_write_the_same_file(tmp_path, form):
    past = _past(tmp_path, form, [Reading("stranger", START_MS, 93.0), *fleet()])
    (tmp_path / "site.toml").write_text(SITE_TEXT)
    words = ["--data", str(past.data)] if past.data else [str(past.files[0])]
    told = {}
    for jobs in (1, 2):
        out = tmp_path / f"events-{jobs}.jsonl"
        result = CliRunner().invoke(
            app,
            ["replay", *words, "--site", str(tmp_path / "site.toml"), "--jobs", str(jobs), "--out", str(out), "--json"],
        )
        assert result.exit_code == 0, result.output
        told[jobs] = (out.read_bytes(), json.loads(result.stdout))
    assert told[1] == told[2]
    assert told[1][0]


def test_broken_rows_are_told_once(tmp_path):
    path = tmp_path / "past.parquet"
    readings = fleet(0.2)
    readings[5].purity_pct = 400.0
    readings[9].flow_lpm = float("nan")
    with open_writer(path) as writer:
        for reading in readings:
            writer.write(reading)
    told: list[tuple[int, str]] = []
    run = ShardedReplay(SITE, Past((path,)), 2)
    list(run.lines(lambda row, reason: told.append((row, reason)), lambda _: None))
    assert [row for row, _ in told] == [6, 10]
    assert run.summary.readings == len(readings) - 2


def test_a_past_that_cannot_be_read_is_named(tmp_path):
    (tmp_path / "site.toml").write_text(SITE_TEXT)
    missing = tmp_path / "none.parquet"
    words = ["replay", str(missing), "--site", str(tmp_path / "site.toml"), "--jobs", "2"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code != 0
    assert f"{missing}: no such file" in str(result.exception)
