"""Invented work to be planned, small or large."""

import random

from collector.service.workload import Job, Shelf, Workload


def workdays(weeks):
    """Monday to Friday of so many weeks, as day numbers."""
    return tuple(day for day in range(7 * weeks) if day % 7 < 5)


def job(unit="wren", due=4, days=range(5), **fields):
    """A job of half an hour."""
    return Job(**{"unit": unit, "ward": "newborn", "task": "intake-filter", "due": due, "days": tuple(days),
                  "minutes": 30, **fields})  # fmt: skip


def load(jobs, weeks=1, minutes=360, **fields):
    """A workload of so many weeks."""
    return Workload(jobs=tuple(jobs), last=7 * weeks - 1, days=workdays(weeks), minutes=minutes, **fields)


TASKS = (("purity-check", 30, 30, ()), ("inspection", 90, 45, ()), ("intake-filter", 180, 20, (("felt", 1),)),
         ("safety", 365, 40, ()), ("product-filter", 540, 15, (("fine", 1),)))  # fmt: skip


def hospital(units, weeks, seed=1, minutes=None, per_ward=20):
    """A fleet of so many units with the usual intervals, each at its own point of them."""
    rng = random.Random(seed)  # noqa: S311 - invented values, no secret
    last, days, jobs = 7 * weeks - 1, workdays(weeks), []
    for number in range(units):
        for task, every, need, parts in TASKS:
            due = rng.randrange(-3, every)
            while due <= last:
                first = due - round(every / 3)
                shut = min(last, due + round(every * 2 / 3) - 1)
                able = tuple(day for day in days if first <= day <= shut)
                jobs.append(job(f"u{number}", due, able, ward=f"w{number // per_ward}", task=task, minutes=need,
                                parts=parts, early_cost=20 / every))  # fmt: skip
                due += every
    shelves = {"felt": Shelf(units // 4, 28), "fine": Shelf(units // 20, 42)}
    return load(jobs, weeks, minutes or max(240, round(units * 4.5)), shelves=shelves)
