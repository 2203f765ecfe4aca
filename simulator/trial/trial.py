"""The trial: many stories, each told to the product and to the baselines in one run, and the figures of it.

    result = run_trial(seed=1, faults=45, benign=40, jobs=2)

A story depends on (seed, number, kind) only and figures are put together in the order of numbers, so the result does
not depend on how many processes share the work.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import NamedTuple

import msgspec

from simulator.trial.judge import Judged, judge
from simulator.trial.measures import Figures, figures_of
from simulator.trial.stories import plan, story
from simulator.trial.story import BENIGN, FAULTS
from simulator.trial.targets import Target, targets_of

Done = Callable[[int], None]


class Task(NamedTuple):
    """One story to be told: it is made anew from these wherever it is needed."""

    seed: int
    number: int
    kind: str


class TrialResult(msgspec.Struct, frozen=True):
    """A whole trial: its targets, its figures, and each story's own."""

    seed: int
    targets: list[Target]
    figures: Figures
    stories: list[Judged]


def tasks(seed: int, faults: int = FAULTS, benign: int = BENIGN, only: Sequence[str] = ()) -> list[Task]:
    """The stories of a trial; `only` keeps the stories of these kinds as they are."""
    return [Task(seed, number, kind) for number, kind in plan(faults, benign) if not only or kind in only]


def run_task(task: Task) -> Judged:
    """Make one story, judge it and forget it."""
    return judge(story(task.seed, task.number, task.kind), task.number)


def run_trial(
    seed: int = 1, faults: int = FAULTS, benign: int = BENIGN, *, jobs: int = 1, only: Sequence[str] = (),
    done: Done | None = None,
) -> TrialResult:  # fmt: skip
    """Run a trial; `done` hears after each story how many are judged. An error in any story ends the trial."""
    judged: list[Judged] = []
    for figures in _judged(tasks(seed, faults, benign, only), jobs):
        judged.append(figures)
        if done is not None:
            done(len(judged))
    judged.sort(key=lambda story: story.number)
    figures_of_all = figures_of(judged, seed)
    return TrialResult(seed, targets_of(figures_of_all), figures_of_all, judged)


def _judged(work: Sequence[Task], jobs: int) -> Iterator[Judged]:
    if jobs <= 1:
        yield from map(run_task, work)
        return
    # An executor, not a pool: a worker that cannot start ends the trial with an error; a pool replaces it for ever.
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        told = [pool.submit(run_task, task) for task in work]
        try:
            yield from (future.result() for future in as_completed(told))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
