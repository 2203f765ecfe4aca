"""`sieveward dashboard`: the screens alone, on a data directory."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.says import say_error
from dashboard import launch


def dashboard(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    port: Annotated[int, typer.Option(help="Where the dashboard listens.")] = 8501,
    address: Annotated[str, typer.Option(help="The address it listens on.")] = "127.0.0.1",
) -> None:
    """Serve the dashboard of a data directory.

    Example: sieveward dashboard --data data --port 8501
    """
    argv, env = launch.command(data, port, address)
    say_error(f"dashboard at http://{address}:{port}/ (Ctrl-C ends it)")
    os.execvpe(argv[0], argv, os.environ | env)  # noqa: S606 - our own Python, no shell
