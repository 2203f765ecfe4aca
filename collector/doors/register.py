"""Which accounts there are: the register of a folder of keys, without any password."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec

from collector.doors.rights import Kind, Owner

REGISTER: Final = "register.json"


class KeysError(Exception):
    """A folder of keys cannot be made or used; the text says why and the way out."""


class Account(msgspec.Struct, frozen=True):
    """One account: its name, whose it is, its hashes for both brokers, and the day it was made."""

    name: str
    kind: Kind
    of: str
    nats: str
    mosquitto: str
    made: str

    @property
    def owner(self) -> Owner:
        """Whose it is."""
        return Owner(self.kind, self.of)


class Register(msgspec.Struct, kw_only=True):
    """A folder's accounts and what the broker's configuration is made of; `installed` is where the folder will lie."""

    facility: str
    hosts: list[str]
    port: int
    listen: str
    installed: str
    data: str
    broker_user: str = ""
    accounts: list[Account] = []
    withdrawn: list[str] = []  # names that get no new account by themselves

    def account(self, name: str) -> Account | None:
        """The account of this name, or None."""
        return next((account for account in self.accounts if account.name == name), None)


def read_register(folder: Path) -> Register | None:
    """The register of a folder of keys; None when there is none yet."""
    path = folder / REGISTER
    try:
        return msgspec.json.decode(path.read_bytes(), type=Register)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise KeysError(f"{path}: cannot be read: {error.strerror}") from error
    except msgspec.DecodeError as error:
        raise KeysError(f"{path}: is damaged ({error}); restore it, or make all keys anew in another folder") from error
