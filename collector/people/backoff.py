"""How long somebody waits after trying in vain: by account, by account at a place it is known at, and by address.

Rules of this file: a try counts before the password is looked at, so that many at once gain nothing; one made while
waiting does not count, so nobody can be kept out for ever: the wait is a quarter of an hour at most. Where an account
has signed in before, tries from elsewhere do not lock it. How long is a choice of ours (OWASP's cheat sheet on
authentication names the method, from memory); NIST SP 800-63B-4, 3.2.2, asks for a limit of 100 tries in a row.
"""

from __future__ import annotations

import ipaddress
import sqlite3
from typing import Final, NamedTuple

MINUTE_MS: Final = 60_000
DAY_MS: Final = 24 * 60 * MINUTE_MS
FREE_ACCOUNT: Final = 5
FREE_ADDRESS: Final = 20
FIRST_MS: Final = MINUTE_MS // 2
MOST_MS: Final = 15 * MINUTE_MS
#: After a day without a try an address or account begins anew; an address at which it signed in is known so long.
FORGET_MS: Final = DAY_MS
KNOWN_MS: Final = 30 * DAY_MS


class Key(NamedTuple):
    """What is counted: name in the table, and how many tries are free."""

    name: str
    free: int

    @property
    def what(self) -> str:
        """For the record: "account" or "address"."""
        return self.name.partition(":")[0]


def keys_of(conn: sqlite3.Connection, login: str, address: str, now_ms: int) -> tuple[Key, Key]:
    """The two keys that a try counts for, account first; `login` need not be anybody's."""
    known = conn.execute(
        "SELECT 1 FROM session JOIN account ON account.id = account_id WHERE login = ? AND address = ? "
        "AND session.made_ms > ?", (login, address, now_ms - KNOWN_MS),
    ).fetchone()  # fmt: skip
    place = f"@{address}" if known else ""
    return Key(f"account:{login}{place}", FREE_ACCOUNT), Key(f"address:{network_of(address)}", FREE_ADDRESS)


def network_of(address: str) -> str:
    """An address as it is counted: of IPv6 its /64, which is what one device may choose from."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    return str(ipaddress.ip_network((found, 64), strict=False)) if found.version == 6 else address


def wait_after(tries: int, free: int) -> int:
    """How long to wait after so many tries, in milliseconds."""
    return 0 if tries < free else min(FIRST_MS << min(tries - free, 20), MOST_MS)


def waits_ms(conn: sqlite3.Connection, key: Key, now_ms: int) -> int:
    """How long this key still waits."""
    row = conn.execute("SELECT tries, last_ms FROM vain_try WHERE key = ?", (key.name,)).fetchone()
    if row is None or now_ms - row[1] > FORGET_MS:
        return 0
    whole = wait_after(row[0], key.free)
    left = min(int(row[1]) + whole - now_ms, whole)  # never longer than the wait itself, should the clock go back
    return max(0, left)


def count(conn: sqlite3.Connection, key: Key, now_ms: int) -> int:
    """Count a try; returns how many there have been in a row."""
    conn.execute("DELETE FROM vain_try WHERE last_ms < ?", (now_ms - FORGET_MS,))
    row = conn.execute(
        "INSERT INTO vain_try VALUES (?, 1, ?) ON CONFLICT (key) DO UPDATE SET tries = tries + 1, "
        "last_ms = excluded.last_ms RETURNING tries", (key.name, now_ms),
    ).fetchone()  # fmt: skip
    return int(row[0])


def take_back(conn: sqlite3.Connection, key: Key) -> None:
    """A counted try was no vain one."""
    conn.execute("UPDATE vain_try SET tries = max(tries - 1, 0) WHERE key = ?", (key.name,))


def forget(conn: sqlite3.Connection, login: str) -> None:
    """Begin anew for this account, wherever it was tried."""
    conn.execute("DELETE FROM vain_try WHERE key = ? OR substr(key, 1, ?) = ?",
                 (f"account:{login}", len(login) + 9, f"account:{login}@"))  # fmt: skip
