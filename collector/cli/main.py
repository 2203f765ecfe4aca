"""The command's parts, joined; each command is a module of this package."""

from __future__ import annotations

import sys

import typer

from collector.cli import (
    alive,
    bench,
    bridge,
    collect,
    dashboard,
    deliver,
    demo,
    due,
    export,
    fleet,
    group,
    inventory,
    journal,
    keep,
    parts,
    plan,
    replay,
    report,
    simulate,
    site,
    user,
    wall,
    work,
)
from collector.cli.says import EXIT_WRONG, Refused, say_error

CAUTION = (
    "It watches machines, not patients, and controls nothing: the unit's own alarms, pulse oximetry and the ward's "
    "protocol stay primary."
)

app = typer.Typer(
    name="sieveward",
    help=f"Keeps bedside oxygen concentrators giving oxygen of therapeutic purity. {CAUTION}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("demo")(demo.demo)
app.command("collect")(collect.collect)
app.command("deliver")(deliver.deliver)
app.command("bridge")(bridge.bridge)
app.command("simulate")(simulate.simulate)
app.command("replay")(replay.replay)
app.command("export")(export.export)
app.command("inventory")(inventory.inventory_command)
app.command("report")(report.report)
app.command("due")(due.due_command)
app.command("plan")(plan.plan_command)
app.command("parts")(parts.parts_command)
app.command("fleet")(fleet.fleet_command)
app.command("dashboard")(dashboard.dashboard)
app.command("check")(alive.check)
app.command("restore")(keep.restore)
user.app.add_typer(wall.app, name="wall")
app.add_typer(user.app, name="user")
app.add_typer(work.app, name="work")
app.add_typer(journal.app, name="journal")
app.add_typer(keep.app, name="keep")
app.add_typer(site.app, name="site")
app.add_typer(group.app, name="group")
app.add_typer(bench.app, name="bench")


def main() -> None:
    """Run the command; exit status 0, 1 when the work failed, 2 for wrong usage or a wrong file."""
    try:
        app()
    except Refused as refused:
        say_error(str(refused))
        sys.exit(refused.status)
    except KeyboardInterrupt:
        say_error("stopped")
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(EXIT_WRONG)
