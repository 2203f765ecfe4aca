"""What people do on the dashboard goes into the journal here, and only when session, role and ward allow it.

Rules of this file: the session is looked at in the transaction that writes, so nothing is written after it ended. Who
and in which role is the account's, never what a form says; from where is the connection's.
"""

from __future__ import annotations

from pathlib import Path

import msgspec

from collector.people.book import writing
from collector.people.rights import ROLES, NotAllowed, refuse_unless_may
from collector.people.signin import Lifetimes, signed_in
from collector.rules.entries import JournalEntry, JournalRow

ORIGIN = "dashboard"


def record(
    data_dir: Path, entry: JournalEntry, token: str, address: str, lasts: Lifetimes, now_ms: int | None = None
) -> JournalRow:  # fmt: skip
    """Write down what somebody did; NotAllowed, StoreError, and then nothing is written."""
    with writing(data_dir, now_ms) as book:
        site, entry = book.site(), msgspec.structs.replace(entry, origin=f"{ORIGIN} {address}".strip())
        if book.is_open():
            refuse_unless_may(entry.role if entry.role in ROLES else "", (), entry, site)
            return book.append(entry)
        found = signed_in(book, token, lasts)
        if found is None:
            raise NotAllowed("You are not signed in any more. Sign in and do it once more: it was not written down.")
        account, session = found
        if (entry.who, entry.role) != (account.name, account.role):
            raise NotAllowed("Your account was changed meanwhile. Load the page anew and do it once more.")
        refuse_unless_may(account.role, account.wards, entry, site)
        book.conn.execute("UPDATE session SET seen_ms = ? WHERE id = ?", (book.now_ms, session.id))
        return book.append(entry)
