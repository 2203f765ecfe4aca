"""`sieveward user wall`: links that show one ward's board on a screen on the wall, and nothing else."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.says import say, say_error, say_json
from collector.cli.user import Data, Json, changing, operator, refusing
from collector.people import manage
from collector.people.accounts import WallLink, wall_links
from collector.people.book import reading

app = typer.Typer(
    help="Links of wall screens: one ward's board, read-only. Example: sieveward user wall list",
    no_args_is_help=True, rich_markup_mode=None,
)  # fmt: skip


@app.command()
def add(
    ward: Annotated[str, typer.Argument(metavar="WARD", help="The ward whose board it shows.")],
    place: Annotated[str, typer.Option(help="Which screen it is for.")] = "",
    base: Annotated[str, typer.Option(metavar="URL", help="The dashboard's address.")] = "http://127.0.0.1:8501",
    data: Data = Path("data"),
) -> None:
    """Make a link and print it; it is shown this once.

    Example: sieveward user wall add medical --place "above the desk" --base http://ward-server:8501
    """
    with changing(data) as book:
        link, token = manage.add_wall_link(book, operator(), ward, place)
    say_error(
        f"link {link.id}: whoever has it sees this ward's board; 'sieveward user wall withdraw {link.id}' ends it"
    )
    say(f"{base.rstrip('/')}/?wall={token}")


@app.command("list")
def list_links(data: Data = Path("data"), as_json: Json = False) -> None:
    """Every link, where it hangs and whether it still shows something; not the links themselves.

    Example: sieveward user wall list
    """
    with refusing(), reading(data) as book:
        found = wall_links(book.conn)
    if as_json:
        say_json({"links": [_fields(one) for one in found]})
        return
    for one in found:
        said = _fields(one)
        state = f"withdrawn {said['withdrawn']}" if said["withdrawn"] else "in use"
        say(f"{one.id}  {one.ward}  {one.place or '-'}  made {said['made']} by {one.made_by}  {state}")
    if not found:
        say("no link yet; 'sieveward user wall add WARD' makes one")


@app.command()
def withdraw(
    link: Annotated[int, typer.Argument(metavar="LINK", help="A link's number, as list shows it.")],
    data: Data = Path("data"),
) -> None:
    """End a link: its screen says so within seconds.

    Example: sieveward user wall withdraw 3
    """
    with changing(data) as book:
        manage.withdraw_wall_link(book, operator(), link)
    say(f"link {link}: withdrawn")


def _fields(one: WallLink) -> dict[str, object]:
    return {"link": one.id, "ward": one.ward, "place": one.place, "made_by": one.made_by, "made": _time(one.made_ms),
            "withdrawn": _time(one.withdrawn_ms)}  # fmt: skip


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else datetime.fromtimestamp(at_ms / 1000, UTC).isoformat(timespec="seconds")
