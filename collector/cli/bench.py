"""`sieveward bench`: the warnings tried on simulated falls with known truth, and figures of speed, memory and disk."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from collector.cli.says import EXIT_FAILED, Refused, progress, say_error, say_json
from simulator.trial.story import BENIGN, BENIGN_KINDS, FAULT_KINDS, FAULTS

if TYPE_CHECKING:
    from simulator.trial.trial import TrialResult

_WIDTH = 140  # of tables that go into a file

app = typer.Typer(help="Measure what the rules are worth, and how fast all of it is.", no_args_is_help=True)


@app.command("warnings")
def warnings(
    seed: Annotated[int, typer.Option(help="Another seed is another set of stories.")] = 1,
    faults: Annotated[int, typer.Option(min=0, help="Stories with a fault, its kinds in turn.")] = FAULTS,
    benign: Annotated[int, typer.Option(min=0, help="Stories in which nothing fails.")] = BENIGN,
    stories: Annotated[
        int | None, typer.Option(min=1, help="So many stories in all, instead of the two above.")
    ] = None,
    only: Annotated[list[str] | None, typer.Option(metavar="KIND", help="Only this kind; may be repeated.")] = None,
    jobs: Annotated[int, typer.Option(min=1, help="Processes; the result does not depend on it.")] = 2,
    out: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Write JSON, CSV and plots there.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The targets and figures as one JSON object.")] = False,
) -> None:
    """Try the warnings on simulated units whose truth is known, side by side with the unit's lamp and a straight line.

    A measurement: the exit status is 0 whatever it finds.
    Example: sieveward bench warnings --seed 7 --out trial
    """
    from simulator.trial import report, trial  # seconds to import: only for those who use it

    kinds = _kinds(only or [])
    if stories is not None:
        faults, benign = _shares(stories, kinds)
    work = trial.tasks(seed, faults, benign, kinds)
    if not work:
        raise Refused("no stories: ask for more of them")
    with progress("stories", len(work)) as shown:
        result = trial.run_trial(seed, faults, benign, jobs=jobs, only=kinds, done=shown)
    if out is not None:
        _write(result, out)
    if as_json:
        say_json({"seed": result.seed, "targets": result.targets, "figures": result.figures})
    else:
        console = Console(highlight=False, markup=False)
        report.show(result, console if console.is_terminal else Console(width=_WIDTH, highlight=False, markup=False))


@app.command("figures")
def figures(
    full: Annotated[bool, typer.Option("--full", help="Larger and longer: some ten minutes instead of two.")] = False,
) -> None:
    """Measure speed, memory and disk on this machine, in one table with the limits and what is compared with.

    It needs the source tree, since the measurements lie beside the tests. Leave the machine alone meanwhile.
    Example: sieveward bench figures --full
    """
    root = Path(__file__).parents[2]
    if not (root / "tests" / "bench" / "figures.py").exists():
        raise Refused(f"{root} holds no tests/bench: run this from the source tree")
    argv = [sys.executable, "-m", "tests.bench.figures", *(["--full"] if full else [])]
    if subprocess.run(argv, cwd=root, check=False).returncode:
        raise Refused("the measurements did not end well; see above", EXIT_FAILED)


def _kinds(only: list[str]) -> list[str]:
    for kind in only:
        if kind not in FAULT_KINDS + BENIGN_KINDS:
            raise Refused(f"no kind of story '{kind}'; there are {', '.join(FAULT_KINDS + BENIGN_KINDS)}")
    return only


def _shares(stories: int, kinds: list[str]) -> tuple[int, int]:
    """How many fault and benign stories give so many in all; with --only, so many of each kind asked for."""
    if kinds:
        per_kind = -(-stories // len(kinds))
        return per_kind * len(FAULT_KINDS), per_kind * len(BENIGN_KINDS)
    faults = round(stories * FAULTS / (FAULTS + BENIGN))
    return faults, stories - faults


def _write(result: TrialResult, out: Path) -> None:
    from simulator.trial import plots, report

    try:
        written = report.write(result, out) + plots.draw(result, out)
    except OSError as error:
        raise Refused(f"{out}: cannot be written: {error}", EXIT_FAILED) from error
    say_error(f"{len(written)} files written to {out}")
