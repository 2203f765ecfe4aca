"""A folder of keys: made, added to, taken from, its certificate renewed, and nobody else's account changed by it.

ca.crt, ca.key        the authority; its key is needed for a new server certificate only: keep it off the network
register.json         which accounts there are, their hashes
broker/               what the broker needs: server.crt, server.key, nats.conf, mosquitto.conf, accounts, rights
accounts/             an account file for each program, and ca.crt beside them
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import msgspec

from collector.broker.mosquitto import PASSWORDS, PERMISSIONS, mosquitto_settings
from collector.broker.nats import ACCOUNTS, nats_settings
from collector.door import Door
from collector.doors.certificates import Pair, make_authority, make_server
from collector.doors.files import PUBLIC, give_to, make_folder, write_file
from collector.doors.passwords import mosquitto_hash, nats_hash, new_client_id, new_password
from collector.doors.register import REGISTER, Account, KeysError, Register
from collector.doors.rights import Owner, owners, rights
from collector.doors.settings import MADE, mosquitto_passwords, mosquitto_permissions, nats_accounts
from collector.site import Site
from collector.site_lines import nearest

_HOST: Final = re.compile(r"(?!-)[A-Za-z0-9-]{1,63}(\.(?!-)[A-Za-z0-9-]{1,63})*")


class KeyRing:
    """One facility's folder of keys; `now` is when things are made."""

    def __init__(self, folder: Path, site: Site, register: Register, now: datetime | None = None) -> None:
        if register.facility != site.facility.id:
            raise KeysError(
                f"{folder} holds the keys of '{register.facility}', the site file is of '{site.facility.id}': "
                "name another folder"
            )
        if not register.hosts:
            raise KeysError("say under which names or addresses the broker is reached, such as --host 192.0.2.10")
        for host in register.hosts:
            _refuse_bad_host(host)
        self.folder, self.site, self.register = folder, site, register
        self._now = now or datetime.now(UTC)
        self.accounts_folder, self.broker_folder = folder / "accounts", folder / "broker"

    @property
    def door(self) -> str:
        """HOST:PORT as new account files say it."""
        return Door(self.register.hosts[0], self.register.port).where

    def make(self, anew: Sequence[str] = ()) -> list[str]:
        """Make what is missing, and new passwords for the accounts named; returns the names of what was made."""
        for path in (self.folder, self.accounts_folder, self.broker_folder):
            make_folder(path)
        if not (self.folder / "ca.crt").exists():
            self._write_pair(make_authority(self.site.facility.id, self._now), self.folder, "ca")
        if not (self.broker_folder / "server.crt").exists():
            self.renew()
        made = {owner.account: owner for owner in owners(self.site) if self._wants_account(owner.account)}
        made |= {name: self._owner(name) for name in anew}
        for name, owner in made.items():
            self._make_account(owner, name)
        self.save()
        return list(made)

    def another(self, name: str) -> str:
        """A further account with the same rights, for a second screen or program; returns its name.

        Two programs on one account would push each other out: a broker keeps one session an account.
        """
        owner = self._known(name).owner
        number = 2
        while self.register.account(f"{owner.account}.{number}") is not None:
            number += 1
        self._make_account(owner, f"{owner.account}.{number}")
        self.save()
        return f"{owner.account}.{number}"

    def withdraw(self, names: Sequence[str]) -> None:
        """Take accounts away; nobody else's is changed. KeysError when there is no such account."""
        for name in names:
            self._known(name)
            self.register.accounts = [account for account in self.register.accounts if account.name != name]
            self.register.withdrawn = sorted({*self.register.withdrawn, name})
            (self.accounts_folder / f"{name}.toml").unlink(missing_ok=True)
        self.save()

    def renew(self) -> None:
        """A new certificate and key for the broker, by the same authority: no account file changes."""
        try:
            authority = Pair((self.folder / "ca.crt").read_bytes(), (self.folder / "ca.key").read_bytes())
            pair = make_server(authority, self.register.hosts, self._now)
        except FileNotFoundError as error:
            raise KeysError(f"{error.filename} is missing: put it back from where it is kept") from error
        except (OSError, ValueError) as error:
            raise KeysError(f"{self.folder / 'ca.key'}: cannot be used: {error}") from error
        self._write_pair(pair, self.broker_folder, "server")

    def save(self) -> None:
        """Write the register and the broker's files as they follow from it."""
        register, folder = self.register, self.broker_folder
        entries = [(account, rights(self.site, account.owner)) for account in register.accounts]
        write_file(folder / ACCOUNTS, nats_accounts(entries))
        write_file(folder / PASSWORDS, mosquitto_passwords(entries))
        write_file(folder / PERMISSIONS, mosquitto_permissions(entries))
        installed, data = Path(register.installed) / "broker", Path(register.data)
        listen, port, user = register.listen, register.port, register.broker_user
        write_file(folder / "nats.conf", nats_settings(data, listen, port, installed), PUBLIC)
        mosquitto = mosquitto_settings(data, listen, port, keys=installed, run_as=user)
        write_file(folder / "mosquitto.conf", mosquitto, PUBLIC)
        write_file(self.accounts_folder / "ca.crt", (self.folder / "ca.crt").read_bytes(), PUBLIC)
        write_file(self.folder / REGISTER, msgspec.json.format(msgspec.json.encode(register)))
        give_to(user, folder)

    def orphans(self) -> list[str]:
        """Accounts whose bridge or ward is no longer in the site file: they may come in, and may nothing."""
        known = owners(self.site)
        return [account.name for account in self.register.accounts if account.owner not in known]

    def _wants_account(self, name: str) -> bool:
        return self.register.account(name) is None and name not in self.register.withdrawn

    def _known(self, name: str) -> Account:
        account = self.register.account(name)
        if account is None:
            known = [account.name for account in self.register.accounts]
            raise KeysError(f"no account is called '{name}'{nearest(name, known)}")
        return account

    def _owner(self, name: str) -> Owner:
        first = name.partition(".")[0]  # of further accounts; ids have no dots
        owner = next((owner for owner in owners(self.site) if owner.account == first), None)
        return owner or self._known(name).owner

    def _make_account(self, owner: Owner, name: str) -> None:
        password, register = new_password(), self.register
        door = Door(register.hosts[0], register.port, name, password, Path("ca.crt"), new_client_id())
        write_file(self.accounts_folder / f"{name}.toml", account_text(door))
        made = self._now.date().isoformat()
        account = Account(name, owner.kind, owner.of, nats_hash(password), mosquitto_hash(password), made)
        register.accounts = [*(other for other in register.accounts if other.name != name), account]
        register.withdrawn = [other for other in register.withdrawn if other != name]

    def _write_pair(self, pair: Pair, folder: Path, name: str) -> None:
        write_file(folder / f"{name}.key", pair.key)
        write_file(folder / f"{name}.crt", pair.certificate, PUBLIC)


def account_text(door: Door) -> str:
    """An account file's text."""
    fields = {"broker": door.where, "user": door.username, "password": door.password, "client": door.client_id}
    lines = "".join(f'{key} = "{value}"\n' for key, value in fields.items())
    return f'{MADE}# It holds a secret: only the program that uses it may read it.\n{lines}ca = "{door.ca}"\n'


def _refuse_bad_host(host: str) -> None:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        if not _HOST.fullmatch(host):
            raise KeysError(f"'{host}' is no host name or address; write it without a port or '/'") from None
