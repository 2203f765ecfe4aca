"""What a model's units need done: the tasks of its site file, or the defaults, each of which says where it is from.

A unit's own manual overrides every default: write its tasks into the site file, and none of these is used.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from collector.site import Site, Task

_TRADE: Final = "common practice, no source"


class Default(NamedTuple):
    """A task for a model whose site file names none, and where its intervals are from."""

    task: Task
    mark: str


DEFAULTS: Final = (
    Default(Task(id="cabinet-filter", name="Wash and dry the cabinet filter", every_days=7, minutes=10,
                 condition=("intake-blocked",), takes_unit_out=False, by="ward"),
            f"weekly, more often in dust: {_TRADE}"),
    Default(Task(id="outside", name="Wipe down; vents, cord and plug", every_days=7, minutes=5, takes_unit_out=False,
                 by="ward"),
            f"daily to weekly: {_TRADE}"),
    Default(Task(id="intake-filter", name="Replace the intake filter", every_h=4400, every_days=365, minutes=20,
                 condition=("intake-blocked",), parts=("intake filter",)),
            "6 to 12 months by dust (a maintenance guide); 4400 h are 6 months of day and night"),
    Default(Task(id="product-filter", name="Replace the bacterial filter", every_days=365, minutes=20,
                 parts=("bacterial filter",)),
            f"every one to two years: {_TRADE}"),
    Default(Task(id="purity-check", name="Check purity at rated flow with a calibrated analyser", every_days=30,
                 minutes=30, condition=("capacity-unproven", "sensor-fault"), proof=True),
            f"monthly, and after every repair or move: {_TRADE}"),
    Default(Task(id="alarm-test", name="Test the unit's alarms", every_days=90, minutes=10),
            f"at every technician's visit: {_TRADE}"),
    Default(Task(id="inside", name="Pressure, cycle, valve noise, fan, hoses", every_days=182, minutes=45,
                 condition=("leak",)),
            f"every 3 to 6 months: {_TRADE}"),
    Default(Task(id="electrical-test", name="Electrical safety test", every_days=365, minutes=30),
            f"yearly and after repair (IEC 62353): {_TRADE}"),
    Default(Task(id="compressor", name="Rebuild the compressor: seals, cups, bearings", every_h=15_000, minutes=180,
                 condition=("compressor-weak",), parts=("compressor kit",)),
            f"10,000 to 20,000 h: {_TRADE}"),
    Default(Task(id="sieve", name="Replace the sieve beds", every_h=20_000, minutes=150,
                 condition=("sieve-worn", "sieve-wet"), parts=("sieve pair",)),
            "about 20,000 h, if air is dry and clean (Duke 2010; WHO 2015; from memory)"),
    Default(Task(id="valves", name="Replace check and solenoid valves", minutes=60, condition=("valve-fault",),
                 parts=("valve set",)),
            "on condition: field records of check valves (Bradley 2015)"),
    Default(Task(id="supply", name="Check socket and supply", minutes=30, condition=("supply-voltage-low",),
                 takes_unit_out=False),
            f"on condition: {_TRADE}"),
    Default(Task(id="find-cause", name="Find out why capacity falls", minutes=60, condition=("capacity-falling",)),
            f"on condition: {_TRADE}"),
    Default(Task(id="run-up", name="Run it for half an hour", idle_days=14, minutes=30, takes_unit_out=False),
            f"every one to two weeks while it stands, since an open sieve takes up moisture: {_TRADE}"),
)  # fmt: skip
_DEFAULT_TASKS: Final = tuple(default.task for default in DEFAULTS)
_MARKS: Final = {id(default.task): default.mark for default in DEFAULTS}


def tasks_of(site: Site, unit: str) -> tuple[Task, ...]:
    """The tasks of a unit of this site: its model's own, or the defaults; KeyError for a unit it does not have."""
    return site.model_of(unit).task or _DEFAULT_TASKS


def task_of(site: Site, unit: str, task: str) -> Task | None:
    """The task of a unit with this id, or None."""
    return next((own for own in tasks_of(site, unit) if own.id == task), None)


def mark_of(task: Task) -> str:
    """Where a default's intervals are from; "" for a task of the site file."""
    return _MARKS.get(id(task), "")
