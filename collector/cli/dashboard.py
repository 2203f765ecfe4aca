"""`sieveward dashboard`: the screens alone, on a data directory."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.doors import door_or_refuse
from collector.cli.says import Refused, say_error
from dashboard import launch
from dashboard.sso import SsoError, read_sso


def dashboard(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    port: Annotated[int, typer.Option(help="Where the dashboard listens.")] = 8501,
    address: Annotated[str, typer.Option(help="The address it listens on.")] = "127.0.0.1",
    proxy: Annotated[str, typer.Option(metavar="ADDRESS", help="A proxy that is believed about addresses.")] = "",
    idle_min: Annotated[float, typer.Option(min=1, help="Minutes until an unused session ends.")] = 60.0,
    session_h: Annotated[float, typer.Option(min=0.1, help="Hours until any session ends.")] = 12.0,
    sso: Annotated[Path | None, typer.Option(metavar="SSO.toml", help="Single sign-on by OpenID Connect.")] = None,
    account: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The broker's account 'check', to hear a test alarm with.")
    ] = None,
) -> None:
    """Serve the dashboard of a data directory.

    Example: sieveward dashboard --data data --port 8501
    """
    if sso is not None:
        try:
            read_sso(sso)
        except SsoError as error:
            raise Refused(str(error)) from error
    if account is not None:
        door_or_refuse(None, account)
    argv, env = launch.command(data, port, address, launch.Serving(proxy, idle_min, session_h, sso, account))
    say_error(f"dashboard at http://{address}:{port}/ (Ctrl-C ends it)")
    os.execvpe(argv[0], argv, os.environ | env)  # noqa: S606 - our own Python, no shell
