"""`sieveward site keys`: the certificates, accounts and rights with which a broker lets in whom it should."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.check import site_or_refuse
from collector.cli.says import EXIT_FAILED, Refused, say, say_error
from collector.door import CERTIFICATE_WARN_DAYS, TLS_PORT
from collector.doors.certificates import ends, hosts_of
from collector.doors.keyring import KeyRing
from collector.doors.register import KeysError, Register, read_register
from collector.doors.rights import rights

app = typer.Typer(help="What belongs to a site: its keys.", no_args_is_help=True)


@app.callback()
def _site() -> None:
    """What belongs to a site: its keys."""


@app.command("keys")
def keys(
    site_file: Annotated[Path, typer.Option("--site", metavar="SITE.toml", help="The site file.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="The folder of keys.")] = Path("keys"),
    host: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="A name or address of the broker; the first is used.")
    ] = None,
    port: Annotated[int | None, typer.Option(min=1, max=65_535, help="Its TLS port; 8883 at first.")] = None,
    listen: Annotated[str | None, typer.Option(metavar="ADDRESS", help="Where it listens; 0.0.0.0 at first.")] = None,
    installed: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where the folder lies on the broker's machine, if elsewhere.")
    ] = None,
    data: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where the broker keeps messages; /var/lib/sieveward/broker.")
    ] = None,
    broker_user: Annotated[
        str | None, typer.Option(metavar="USER", help="Whom the broker runs as; its files become that user's.")
    ] = None,
    anew: Annotated[list[str] | None, typer.Option(metavar="ACCOUNT", help="Give it a new password.")] = None,
    another: Annotated[list[str] | None, typer.Option(metavar="ACCOUNT", help="One more with its rights.")] = None,
    withdraw: Annotated[list[str] | None, typer.Option(metavar="ACCOUNT", help="Take it away.")] = None,
    renew: Annotated[bool, typer.Option("--renew", help="Make the broker's certificate anew.")] = False,
    show: Annotated[bool, typer.Option("--show", help="Show accounts and expiry, and change nothing.")] = False,
) -> None:
    """Make what a broker needs to let in whom it should: authority, certificate, accounts, rights, configuration.

    Run again, it adds what the site file has come to need (a bridge, a ward) and leaves every other account alone.
    Exit status 1 with --show when a certificate has ended or soon ends.
    Example: sieveward site keys --site site.toml --out keys --host 192.0.2.10 --host broker.lan
    """
    site = site_or_refuse(site_file)
    try:
        register = read_register(out)
        if show:
            _show(KeyRing(out, site, _there(register, out)))
            return
        fresh = register or Register(
            facility=site.facility.id, hosts=[], port=TLS_PORT, listen="0.0.0.0",  # noqa: S104 - bridges come from outside
            installed=str(out.resolve()), data="/var/lib/sieveward/broker",
        )  # fmt: skip
        changes = {"port": port, "listen": listen, "installed": installed, "data": data, "broker_user": broker_user}
        moved = _change(fresh, {"hosts": host, **changes}) & {"hosts", "port"}
        ring = KeyRing(out, site, fresh)
        _do(ring, anew or [], another or [], withdraw or [], renew or bool(register and host))
        if register and moved:
            say_error(f'account files made before name the old address: write broker = "{ring.door}" into them')
    except KeysError as error:
        raise Refused(str(error)) from error


def _there(register: Register | None, out: Path) -> Register:
    if register is None:
        raise KeysError(f"{out} holds no keys yet; make them with --host")
    return register


def _change(register: Register, changes: dict[str, object]) -> set[str]:
    """Put in what is said, and return what is other than before."""
    said = {name: str(value) if isinstance(value, Path) else value for name, value in changes.items() if value}
    other = {name for name, value in said.items() if getattr(register, name) != value}
    for name in other:
        setattr(register, name, said[name])
    return other


def _do(ring: KeyRing, anew: list[str], another: list[str], withdraw: list[str], renew: bool) -> None:
    if withdraw:
        ring.withdraw(withdraw)
        say("\n".join(f"withdrawn: {name}" for name in withdraw))
    if renew:
        ring.renew()
        say(f"the broker's certificate is new; it is for {', '.join(ring.register.hosts)}")
    made = [*ring.make(anew), *(ring.another(name) for name in another)]
    for name in made:
        say(f"made: {ring.accounts_folder / f'{name}.toml'}")
    for name in ring.orphans():
        say_error(f"{name} is in the site file no more: it may nothing now; --withdraw {name} takes it away")
    _tell_what_now(ring, made)


def _tell_what_now(ring: KeyRing, made: list[str]) -> None:
    say_error(f"""\
{ring.broker_folder} goes to the broker's machine, as {ring.register.installed}/broker; then one of
  nats-server -c {ring.register.installed}/broker/nats.conf
  mosquitto -c {ring.register.installed}/broker/mosquitto.conf
A broker that runs reads accounts, rights and certificate again on SIGHUP (systemctl reload).""")
    if made:
        say_error(f"""\
Each account file goes, with {ring.accounts_folder / "ca.crt"} beside it, to the one program that uses it, and is then
deleted here: bridge-... to that bridge, ward-... to that ward's screen, collector to the collector.
Keep {ring.folder / "ca.key"} off the network, on a stick in a safe: it is needed only for --renew.""")


def _show(ring: KeyRing) -> None:
    for account in ring.register.accounts:
        allowed = rights(ring.site, account.owner)
        say(f"{account.name} (made {account.made})")
        say(f"  may publish {' '.join(allowed.publish) or 'nothing'}")
        say(f"  may read    {' '.join(allowed.read) or 'nothing'}")
    for name in ring.register.withdrawn:
        say(f"{name}: withdrawn; --anew {name} lets it in again, with a new password")
    faults = [fault for path in (ring.folder / "ca.crt", ring.broker_folder / "server.crt") if (fault := _expiry(path))]
    if faults:
        raise Refused("\n".join(faults), EXIT_FAILED)


def _expiry(path: Path) -> str:
    """Say when a certificate ends; what to do when that is soon, else ""."""
    certificate = path.read_bytes()
    until = ends(certificate)
    days = (until - datetime.now(UTC)).days
    authority = path.name == "ca.crt"
    whose = "the authority's" if authority else f"the broker's, for {', '.join(hosts_of(certificate))}"
    say(f"{path}: {whose}; ends {until:%Y-%m-%d}, {f'in {days} days' if days >= 0 else 'which is past'}")
    if days >= CERTIFICATE_WARN_DAYS:
        return ""
    way_out = "make all keys anew in another folder" if authority else "run again with --renew, then reload the broker"
    return f"{path} {'ends soon' if days >= 0 else 'has ended'}: {way_out}"
