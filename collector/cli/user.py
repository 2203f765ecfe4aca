"""`sieveward user`: who may sign in; also the wall screens' links.

Rules of this file: a password is never an argument, since arguments stand in the list of processes and in the shell's
history: it is asked for, read from standard input, or set by its person with a one-time code.
"""

from __future__ import annotations

import getpass
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.people import codes, manage
from collector.people.accounts import Account, accounts
from collector.people.book import Book, By, reading, writing
from collector.people.codes import AccountRefused
from collector.people.passwords import PasswordRefused
from collector.store import StoreError

app = typer.Typer(help="Accounts of people and links of wall screens.", no_args_is_help=True, rich_markup_mode=None)

Data = Annotated[Path, typer.Option("--data", metavar="DIR", help="The collector's data directory.")]
Login = Annotated[str, typer.Argument(metavar="LOGIN", help="What the person signs in with.")]
Role = Annotated[str, typer.Option(help="ward, engineer, planner or administrator.")]
Wards = Annotated[list[str] | None, typer.Option("--ward", metavar="WARD", help="Acts in this ward only; repeatable.")]
Sso = Annotated[str | None, typer.Option(metavar="NAME", help="What the single sign-on calls them.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")]
_CODE = "open the dashboard, choose “Set a password” and type this code once, within 3 days:"


def operator() -> By:
    """Whoever runs the command: the machine's name for them."""
    return By(getpass.getuser(), "", "command line")


@contextmanager
def changing(data: Path) -> Iterator[Book]:
    """A write transaction; what cannot be done is said and nothing of it is stored."""
    with refusing(), writing(data) as book:
        yield book


@contextmanager
def refusing() -> Iterator[None]:
    """Let errors of accounts and of the store end the command in words."""
    try:
        yield
    except (AccountRefused, PasswordRefused) as error:
        raise Refused(str(error), EXIT_FAILED) from error
    except StoreError as error:
        raise Refused(str(error)) from error


@app.command()
def first(data: Data = Path("data")) -> None:
    """Make the one-time code with which the first administrator signs up on the dashboard.

    Example: sieveward user first --data data
    """
    with refusing():
        code = codes.first_code(data, operator())
    say_error("Open the dashboard and type this code within 24 hours; a new one makes it void:")
    say(code)


@app.command()
def add(
    login: Login,
    name: Annotated[str, typer.Option(help="The name that stands in the record.")],
    role: Role,
    ward: Wards = None,
    sso: Sso = None,
    data: Data = Path("data"),
) -> None:
    """Add an account and print the one-time code with which its person sets a password.

    Example: sieveward user add night-nurse --name "Night nurse" --role ward --ward medical
    """
    with changing(data) as book:
        _, code = manage.add_account(book, operator(), login, name, role, ward or (), sso or "")
    say_error(_CODE)
    say(code)


@app.command()
def change(
    login: Login,
    name: Annotated[str | None, typer.Option(help="The name that stands in the record.")] = None,
    role: Annotated[str | None, typer.Option(help="ward, engineer, planner or administrator.")] = None,
    ward: Wards = None,
    all_wards: Annotated[bool, typer.Option("--all-wards", help="Acts in every ward.")] = False,
    sso: Sso = None,
    data: Data = Path("data"),
) -> None:
    """Change an account's name, role or wards.

    Example: sieveward user change night-nurse --ward medical --ward surgical
    """
    if ward and all_wards:
        raise Refused("--ward and --all-wards exclude each other; give one of them")
    wards = () if all_wards else (ward or None)
    with changing(data) as book:
        manage.change_account(book, operator(), login, name=name, role=role, wards=wards, sso=sso)
    say(f"{login}: changed")


@app.command("list")
def list_accounts(data: Data = Path("data"), as_json: Json = False) -> None:
    """Every account, its role, its wards and whether it can be used.

    Example: sieveward user list --data data
    """
    with refusing(), reading(data) as book:
        found = accounts(book.conn)
    if as_json:
        say_json({"accounts": [_fields(one) for one in found]})
        return
    for one in found:
        say(f"{one.login}  {one.name}  {one.role}  {', '.join(one.wards) or 'all wards'}  {_state(one)}")
    if not found:
        say("no account yet; 'sieveward user first' makes the code for the first administrator")


def _state(one: Account) -> str:
    if one.disabled:
        return "disabled"
    return "good" if one.password or one.sso else "waits for its password to be set"


def _fields(one: Account) -> dict[str, object]:
    made = datetime.fromtimestamp(one.made_ms / 1000, UTC).isoformat(timespec="seconds")
    return {"login": one.login, "name": one.name, "role": one.role, "wards": one.wards, "state": _state(one),
            "sso": one.sso, "made": made}  # fmt: skip


@app.command()
def disable(login: Login, data: Data = Path("data")) -> None:
    """Let nobody in with this account any more, and end its sessions.

    Example: sieveward user disable night-nurse
    """
    with changing(data) as book:
        manage.disable_account(book, operator(), login)
    say(f"{login}: disabled, and signed out everywhere")


@app.command()
def enable(login: Login, data: Data = Path("data")) -> None:
    """Let a disabled account be used again.

    Example: sieveward user enable night-nurse
    """
    with changing(data) as book:
        manage.enable_account(book, operator(), login)
    say(f"{login}: enabled")


@app.command()
def unlock(login: Login, data: Data = Path("data")) -> None:
    """Forget tries in vain, so that nobody waits any more.

    Example: sieveward user unlock night-nurse
    """
    with changing(data) as book:
        manage.unlock_account(book, operator(), login)
    say(f"{login}: may try again at once")


@app.command()
def password(
    login: Login,
    stdin: Annotated[bool, typer.Option("--stdin", help="Read the password from standard input, one line.")] = False,
    ask: Annotated[bool, typer.Option("--ask", help="Ask for it here, without showing it.")] = False,
    data: Data = Path("data"),
) -> None:
    """Print a one-time code for a new password, or set one here with --ask or --stdin.

    Example: sieveward user password night-nurse
    """
    if not (stdin or ask):
        with changing(data) as book:
            code = manage.password_code(book, operator(), login)
        say_error(_CODE)
        say(code)
        return
    typed = sys.stdin.readline().rstrip("\n") if stdin else typer.prompt(
        "New password", hide_input=True, confirmation_prompt=True, err=True
    )  # fmt: skip
    with refusing():
        manage.set_password(data, operator(), login, typed)
    say(f"{login}: password set, and signed out everywhere")
