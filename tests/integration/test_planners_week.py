"""A planner's week at the demo's hospital, through the command: what is due, the plan, the work, and what follows."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.simulate import make_fleet
from collector.past import take_in
from collector.rules.entries import JournalEntry
from collector.rules.limits import DAY, HOUR
from collector.service.proof import Measured
from collector.service.tasks import task_of
from collector.site import Site, load_site
from collector.store import JournalWriter, open_store
from dashboard import service_actions
from dashboard.actions import Person
from simulator import HOSPITAL
from simulator.history import backfill
from simulator.service_past import service_past

STORY_MS = round(datetime(2026, 10, 14, 6, 0, tzinfo=UTC).timestamp() * 1000)  # a Wednesday morning
ENGINEER = Person("Biomedical engineer", "engineer")
PLANNER = Person("Maintenance planner", "planner")
NURSE = Person("Nurse in charge", "ward")


@pytest.fixture(scope="module")
def site() -> Site:
    return load_site(HOSPITAL)


@pytest.fixture
def data(tmp_path: Path, site: Site) -> Path:
    """The hospital as the demo begins, with six hours of readings, its clock standing still."""
    fleet = make_fleet(HOSPITAL, "night", 1, STORY_MS, past_days=0.25)
    with open_store(tmp_path, site.facility.id, durable=False) as store:
        JournalWriter(tmp_path).append(service_past(site, STORY_MS, 1, fleet.start_ms))
        take_in(site, store, backfill(fleet, fleet.start_ms, STORY_MS), STORY_MS)
        with store.transaction():
            store.set_status("site", {"path": str(HOSPITAL), "text": HOSPITAL.read_text(encoding="utf-8")})
            store.set_status("clock", {"wall_ms": 0, "at_ms": STORY_MS, "speed": 0.0})
    return tmp_path


def told(data: Path, *words: str) -> Any:
    result = CliRunner().invoke(app, [*words, "--data", str(data), "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def due(data: Path, days: int = 14) -> dict[tuple[str, str], dict[str, Any]]:
    return {(one["unit"], one["task"]): one for one in told(data, "due", "--days", str(days))["due"]}


def stock(data: Path) -> dict[str, int]:
    return {need["part"]: need["have"] for need in told(data, "parts")["needs"]}


def do(site: Site, unit: str, task_id: str, at_ms: int) -> JournalEntry:
    """The task as people record it: a check of purity with the workshop's analyser, the rest as done."""
    task = task_of(site, unit, task_id)
    assert task is not None
    if task.proof:
        measured = Measured(93.0, 93.4, site.model_of(unit).rated_flow_lpm)
        return service_actions.prove(site, unit, ENGINEER, at_ms, "analyser-workshop", measured)
    parts = {part.id: 1 for name in task.parts if (part := site.part(name)) is not None}
    done = service_actions.Done(minutes=task.minutes, parts=parts)
    return service_actions.do_task(site, unit, task, NURSE if task.by == "ward" else ENGINEER, at_ms, done)


def test_what_was_done_is_due_again_a_whole_interval_later(data: Path, site: Site) -> None:
    before = due(data)
    late = [key for key, one in before.items() if one["overdue"]]
    assert ("hornbill", "alarm-test") in late
    assert before["hornbill", "alarm-test"]["put_off"] == 1
    JournalWriter(data).append([do(site, unit, task, STORY_MS) for unit, task in late])
    after = due(data, days=400)
    for unit, task_id in late:
        task, again = task_of(site, unit, task_id), after.get((unit, task_id))
        assert task is not None
        assert again is None or not again["overdue"]
        if task.every_days and again is not None and again["why"] == "calendar":
            due_ms = datetime.fromisoformat(again["due"]).timestamp() * 1000
            assert due_ms == pytest.approx(STORY_MS + task.every_days * DAY, abs=1000)
            assert (again["put_off"], again["could_not_locate"]) == (0, 0)


def test_a_part_that_was_used_is_gone_from_the_shelf(data: Path, site: Site) -> None:
    before = stock(data)
    JournalWriter(data).append([do(site, "quail", "sieve", STORY_MS), do(site, "wren", "intake-filter", STORY_MS)])
    after = stock(data)
    assert before["sieve-pair"] - after["sieve-pair"] == 1
    assert before["intake-filter"] - after["intake-filter"] == 1
    assert {part: have for part, have in before.items() if after[part] == have}.keys() == before.keys() - {
        "sieve-pair", "intake-filter",
    }  # fmt: skip
    # Both were opened up: a check is due at once, and making it ends that.
    assert {unit for unit in ("quail", "wren") if due(data)[unit, "purity-check"]["overdue"]} == {"quail", "wren"}
    JournalWriter(data).append([do(site, unit, "purity-check", STORY_MS + HOUR) for unit in ("quail", "wren")])
    assert not any(due(data, 60)[unit, "purity-check"]["overdue"] for unit in ("quail", "wren"))


def test_a_unit_that_was_not_found_stays_due_and_is_counted(data: Path, site: Site) -> None:
    task = task_of(site, "kite", "cabinet-filter")
    assert task is not None
    lost = service_actions.Done(outcome="could-not-locate", note="not in its ward")
    before = due(data)["kite", "cabinet-filter"]
    JournalWriter(data).append([service_actions.do_task(site, "kite", task, NURSE, STORY_MS, lost)])
    after = due(data)["kite", "cabinet-filter"]
    assert (after["due"], after["overdue"]) == (before["due"], before["overdue"])
    assert after["could_not_locate"] == before["could_not_locate"] + 1


def plan(data: Path, *words: str) -> dict[str, Any]:
    found = told(data, "plan", "--weeks", "2", "--seconds", "2", *words)
    assert isinstance(found, dict)
    return found


def tasks_of(found: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    """Each task that has a visit, with its visit; a task that comes twice stands with its first."""
    pairs = [((visit["unit"], task["task"]), visit) for visit in found["visits"] for task in visit["tasks"]]
    return dict(reversed(pairs))


def test_the_week_s_plan_holds_what_is_due_and_keeps_its_bounds(data: Path, site: Site) -> None:
    found = plan(data)
    planned = tasks_of(found)
    engineers = {key for key, one in due(data, 12).items() if one["by"] == "engineer"}
    left_out = {(one["unit"], one["task"]) for one in found["deferred"] if one["day"] is None}
    assert len(engineers) > 5
    assert engineers <= planned.keys() | left_out
    assert all(one["said"] for one in found["deferred"])
    minutes: dict[str, int] = {}
    for visit in found["visits"]:
        minutes[visit["day"]] = minutes.get(visit["day"], 0) + visit["minutes"]
        quiet = site.ward(visit["ward"]).quiet_min
        assert quiet is not None
        assert quiet[1] <= visit["start_min"] <= visit["start_min"] + visit["minutes"] <= quiet[0]
    assert max(minutes.values()) <= site.facility.technician_h_per_day * 60
    assert found["score"]["missed"] <= found["by_due_date"]["missed"]
    assert found["score"]["visits"] <= found["by_due_date"]["visits"]


def test_one_unit_of_a_ward_is_out_at_a_time(data: Path) -> None:
    out = [visit for visit in plan(data)["visits"] if visit["out_min"]]
    assert len(out) >= 2
    for one in out:
        for other in out:
            if one is not other and (one["ward"], one["day"]) == (other["ward"], other["day"]):
                first, second = sorted((one, other), key=lambda visit: visit["start_min"])
                assert first["start_min"] + first["minutes"] <= second["start_min"]


def test_a_visit_that_was_locked_stands_when_the_plan_is_made_anew(data: Path, site: Site) -> None:
    visit = next(one for one in plan(data)["visits"] if one["unit"] == "quail")
    other_day = "2026-10-20"
    assert visit["day"] != other_day
    tasks = [(visit["unit"], task["task"]) for task in visit["tasks"]]
    moved = service_actions.set_visit(site, visit["visit"], other_day, tasks, "moved", PLANNER, STORY_MS, "ward asked")
    JournalWriter(data).append([moved])
    again = next(one for one in plan(data)["visits"] if one["visit"] == visit["visit"])
    assert (again["day"], again["state"], again["why"]) == (other_day, "moved", "ward asked")
    assert {task["task"] for task in again["tasks"]} >= {task for _, task in tasks}


def test_a_day_of_the_plan_that_was_done_is_not_planned_again(data: Path, site: Site) -> None:
    found = plan(data)
    day = found["visits"][0]["day"]
    todays = [(visit["unit"], task["task"]) for visit in found["visits"] if visit["day"] == day
              for task in visit["tasks"]]  # fmt: skip
    at_ms = round(datetime.fromisoformat(f"{day}T09:00+00:00").timestamp() * 1000)
    # Checks last: whatever opened a unit up asks for one after it.
    ordered = sorted(todays, key=lambda pair: pair[1] == "purity-check")
    JournalWriter(data).append([do(site, unit, task, at_ms + place * 60_000) for place, (unit, task) in
                                enumerate(ordered)])  # fmt: skip
    with open_store(data, site.facility.id, durable=False) as store, store.transaction():
        store.set_status("clock", {"wall_ms": 0, "at_ms": at_ms + 8 * HOUR, "speed": 0.0})
    assert not any(one["overdue"] and one["by"] == "engineer" for one in due(data).values())
    again = plan(data)
    opened = {unit for unit, task in todays if task in ("sieve", "intake-filter")}
    still = {pair for pair in todays if pair in tasks_of(again)}
    assert still <= {(unit, "purity-check") for unit in opened}
    assert again["first"] > day


def test_the_plan_goes_into_a_calendar_and_lists_to_hang_up(data: Path, tmp_path: Path) -> None:
    ics, lists, table = tmp_path / "visits.ics", tmp_path / "weeks.html", tmp_path / "visits.csv"
    found = plan(data, "--ics", str(ics), "--print", str(lists), "--csv", str(table))
    assert ics.read_text(encoding="utf-8").count("BEGIN:VEVENT") == len(found["visits"])
    words = lists.read_text(encoding="utf-8")
    assert all(visit["unit"] in words for visit in found["visits"])
    assert len(table.read_text(encoding="utf-8").splitlines()) > len(found["visits"])
