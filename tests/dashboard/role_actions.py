"""What a screen can write: who may, how the row is made, and where a page offers it."""

from collections.abc import Callable
from typing import NamedTuple

from collector.people.rights import ADMINISTRATOR, ENGINEER, PLANNER, ROLES, WARD
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.service.gate import Gate
from collector.service.proof import Measured
from dashboard import actions, describing, handover_words, lately, noting, placing, queries, way_trial
from dashboard import service_actions as acts
from dashboard.handover import Note, handed_over
from dashboard.service_actions import Done, Findings
from tests.dashboard.hospital import MINUTE
from tests.dashboard.role_house import TITLES, UNITS, Seen, choices, does, has, names

MAINTENANCE, PLANNING, EVERY = {ENGINEER, ADMINISTRATOR}, {PLANNER, ADMINISTRATOR}, set(ROLES)
FOUND = Findings("torn seal", "leak", "seal changed", {}, 40)


class Action(NamedTuple):
    """Who may, how it is made (house, ward, person), and what of it a page shows; `of_ward`: held to the ward."""

    roles: set[str]
    make: Callable[..., JournalEntry]
    offered: Callable[[Seen], tuple[bool, ...]]
    of_ward: bool = True


def alarm_of(house, unit):
    return next(one for one in house.now.alarms if one.unit == unit)


def task_of(house, task):
    return next(one for one in house.site.model("five").task if one.id == task)


def doing(task, outcome="done"):
    def make(house, ward, who):
        done = Done(outcome, note="no spare at hand")
        return acts.do_task(house.site, UNITS[ward]["good"], task_of(house, task), who, house.now_ms, done)

    return make


def visiting(state):
    def make(house, ward, who):
        tasks = [(UNITS[ward]["good"], "intake-filter")]
        return acts.set_visit(house.site, "v1", "2026-12-01", tasks, state, who, house.now_ms, "ward is full")

    return make


def visits_shown(seen, state):
    app = seen.page("visits")
    units = [one.id for one in seen.house.site.units if one.ward == seen.ward]
    listed = any(names(app, "visit-which", unit) for unit in units)
    return (listed and state in choices(app, "visit-state"),)


def returning(override):
    def make(house, ward, who):
        gate = Gate(False, None, "it has not been checked", "Check it.") if override else Gate(True, None)
        return actions.put_back(UNITS[ward]["order"], ward, who, house.now_ms, "no other", gate, override=override)

    return make


def undoing(kind, unit):
    def make(house, ward, who):
        rows = queries.journal(house.written, kinds=lately.KINDS)
        seq = house.made[kind, UNITS[ward][unit]]
        deed = lately.Deed(next(row for row in rows if row.seq == seq), lately.DONE, back=True)
        return lately.undo(deed, who, house.now_ms)

    return make


def undo_shown(kind, unit):
    return lambda seen: (has(seen.page("alarms"), f"undo-{seen.house.made[kind, seen.unit[unit]]}"),)


def described(table, **fields):
    return lambda house, _, who: describing.added(table, {"id": "wren", **fields}, who, house.now_ms)


def first_shown(key):
    return lambda seen: (has(seen.page("first"), key),)


def trial_rows(house, ward, who):
    body = {"wards": [ward], "until_ms": house.now_ms + MINUTE, "say": "TEST"}
    return JournalEntry(at_ms=house.now_ms, kind=entries.TEST_ALARM, who=who.name, role=who.role, body=body)


def trial_shown(seen):
    tried = way_trial.wards_tried(seen.house.site, seen.me.person)
    return (has(seen.page("first"), "send-test") and seen.ward in tried,)


ACTIONS = {
    "acknowledge": Action(
        EVERY,
        lambda h, ward, who: actions.acknowledge(alarm_of(h, UNITS[ward]["loud"]), who, h.now_ms),
        lambda s: (has(s.page("alarms"), f"ack:{s.unit['loud']}"),
                   does(s.page("unit", unit=s.unit["loud"]), s.unit["loud"], "acknowledge")),
    ),
    "put aside": Action(
        EVERY,
        lambda h, ward, who: actions.shelve(alarm_of(h, UNITS[ward]["loud"]), who, h.now_ms, 15, "known"),
        lambda s: (has(s.page("alarms"), f"minutes:{s.unit['loud']}"),
                   does(s.page("unit", unit=s.unit["loud"]), s.unit["loud"], "shelve")),
    ),
    "bring back": Action(
        EVERY,
        lambda h, ward, who: actions.unshelve(alarm_of(h, UNITS[ward]["aside"]), who, h.now_ms),
        lambda s: (has(s.page("alarms"), f"back:{s.unit['aside']}"),),
    ),
    "take back what was put aside": Action(
        EVERY, undoing(entries.SHELVE, "aside"), undo_shown(entries.SHELVE, "aside")),
    "take out of service": Action(
        MAINTENANCE,
        lambda h, ward, who: actions.take_out(UNITS[ward]["good"], ward, who, h.now_ms, "weak"),
        lambda s: (names(s.page("alarms"), "service-unit", s.unit["good"]),
                   does(s.page("unit", unit=s.unit["good"]), s.unit["good"], "take-out")),
    ),
    "take back what was taken out": Action(
        MAINTENANCE, undoing(entries.OUT_OF_SERVICE, "out"), undo_shown(entries.OUT_OF_SERVICE, "out")),
    "return to service": Action(
        MAINTENANCE, returning(override=False),
        lambda s: (names(s.page("alarms"), "service-unit", s.unit["order"]),
                   has(s.work(), f"return-why-{s.unit['order']}")),
    ),
    "return without a check": Action(
        {ADMINISTRATOR}, returning(override=True),
        lambda s: (has(s.work(), f"return-override-{s.unit['order']}"),
                   has(s.page("alarms"), "service-override")
                   and names(s.page("alarms"), "service-unit", s.unit["order"])),
    ),
    "note": Action(
        EVERY,
        lambda h, ward, who: noting.note(UNITS[ward]["good"], ward, who, h.now_ms, h.now_ms, "sounds odd"),
        lambda s: (has(s.page("unit", unit=s.unit["good"]), "note-text"),),
    ),
    "hand over": Action(
        EVERY,
        lambda h, ward, who: handed_over(Note("Night", ()), "all well", ward, h.now_ms - 1, who, h.now_ms),
        lambda s: (handover_words.KEEP in [one.label for one in s.page("handover", choose=s.ward).button],),
    ),
    "do the ward's task": Action(
        {WARD, *MAINTENANCE}, doing("cabinet-filter"),
        lambda s: (has(s.task("cabinet-filter"), f"done-{s.unit['good']}-cabinet-filter"),),
    ),
    "not find the ward's unit": Action(
        EVERY, doing("cabinet-filter", "could-not-locate"), lambda s: s.outcome("cabinet-filter", "unit not found")),
    "put off the ward's task": Action(
        {PLANNER, *MAINTENANCE}, doing("cabinet-filter", "put-off"), lambda s: s.outcome("cabinet-filter", "put off")),
    "do a technician's task": Action(
        MAINTENANCE, doing("intake-filter"),
        lambda s: (has(s.task("intake-filter"), f"done-{s.unit['good']}-intake-filter"),),
    ),
    "not find a technician's unit": Action(
        {PLANNER, *MAINTENANCE}, doing("intake-filter", "could-not-locate"),
        lambda s: s.outcome("intake-filter", "unit not found")),
    "put off a technician's task": Action(
        {PLANNER, *MAINTENANCE}, doing("intake-filter", "put-off"), lambda s: s.outcome("intake-filter", "put off")),
    "open a work order": Action(
        MAINTENANCE,
        lambda h, ward, who: acts.open_work(h.site, UNITS[ward]["good"], who, h.now_ms, "odd noise", taken=()),
        lambda s: (names(s.page("work"), "open-unit", s.unit["good"]),),
    ),
    "close a work order": Action(
        MAINTENANCE,
        lambda h, ward, who: acts.close_work(h.site, h.orders[UNITS[ward]["order"]], who, h.now_ms, FOUND),
        lambda s: (has(s.work(), f"close-{s.house.orders[s.unit['order']].work}-fault"),),
    ),
    "check purity": Action(
        MAINTENANCE,
        lambda h, ward, who: acts.prove(
            h.site, UNITS[ward]["order"], who, h.now_ms, "workshop", Measured(88.0, 93.0, 5.0)),
        lambda s: (has(s.work(), f"check-{s.unit['order']}-analyser"),),
    ),
    "read a gauge": Action(
        {WARD, *MAINTENANCE},
        lambda h, ward, who: acts.read_cylinder(
            h.site, next(one for one in h.site.cylinders if one.ward == ward), who, h.now_ms, 120, "bar"),
        lambda s: (names(s.page("backup"), "gauge-", f"{s.ward}-1"),
                   does(s.page("unit", unit=s.unit["good"]), s.unit["good"], "gauge")),
    ),
    "move parts": Action(
        PLANNING, lambda h, _, who: acts.move_part(h.site, "intake-filter", 5, "received", who, h.now_ms),
        lambda s: (has(s.page("parts"), "move-part"),), of_ward=False),
    "lock a visit": Action(PLANNING, visiting("locked"), lambda s: visits_shown(s, "lock it on its day")),
    "move a visit": Action(PLANNING, visiting("moved"), lambda s: visits_shown(s, "move it")),
    "cancel a visit": Action(PLANNING, visiting("cancelled"), lambda s: visits_shown(s, "cancel it")),
    "finish a visit": Action(PLANNING | MAINTENANCE, visiting("done"), lambda s: visits_shown(s, "it is done")),
    "move to no ward": Action(
        EVERY, lambda h, ward, who: placing.move(h.site, UNITS[ward]["good"], "", who, h.now_ms),
        lambda s: ("no ward" in choices(s.page("unit", unit=s.unit["good"],
                                               state=((f"do-{s.unit['good']}", "move"),)), "do-move-to"),),
    ),
    "swap between the wards": Action(
        EVERY, lambda h, _, who: placing.swap(h.site, "unit-01", "unit-06", who, h.now_ms),
        lambda s: (names(s.page("unit", unit="unit-01", state=(("do-unit-01", "swap"),)), "do-swap-with-unit-01",
                         "unit-06"),),
        of_ward=False,
    ),
    "add a unit": Action(
        MAINTENANCE,
        lambda h, ward, who: describing.added("unit", {"id": "wren", "model": "five", "ward": ward}, who, h.now_ms),
        lambda s: (names(s.page("units"), "new-unit-ward", TITLES[s.ward]),),
    ),
    "name the hospital": Action(
        {ADMINISTRATOR}, lambda h, _, who: describing.described({"name": "Hillside"}, who, h.now_ms),
        first_shown("first-name"), of_ward=False),
    "add a ward": Action(
        {ADMINISTRATOR}, described("ward", name="Wren"), first_shown("first-wards-names"), of_ward=False),
    "add a model": Action(
        {ADMINISTRATOR}, described("model", rated_flow_lpm=5.0), first_shown("first-model"), of_ward=False),
    "add a bridge": Action(
        {ADMINISTRATOR}, described("bridge", units=["unit-01"]), first_shown("first-bridge-name"), of_ward=False),
    "test the alarm's way": Action(MAINTENANCE, trial_rows, trial_shown),
}  # fmt: skip
WHERE = [(name, ward) for name, one in ACTIONS.items() for ward in (UNITS if one.of_ward else ("medical",))]
