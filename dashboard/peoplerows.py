"""Accounts, sessions, links and what happened at the door, as rows of tables; pure but for one question."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final, NamedTuple

from collector.people.accounts import Account, Session, WallLink, accounts, sessions, wall_links
from collector.people.book import reading
from collector.people.signin import holds, lifetimes
from collector.rules import entries
from collector.rules.entries import JournalRow
from dashboard import access_words as words
from dashboard.queries import Now
from dashboard.times import moment_text

DOOR_KINDS: Final = (entries.SIGN_IN, entries.SIGN_OUT, entries.SIGN_IN_REFUSED, entries.SIGN_IN_LOCKED,
                     entries.ACCOUNT, entries.WALL_LINK)  # fmt: skip


class People(NamedTuple):
    """All that is known of people, of one moment; sessions are those that hold; wall_ms is the machine's clock."""

    accounts: list[Account]
    sessions: list[Session]
    links: list[WallLink]
    wall_ms: int

    def name_of(self, account_id: int) -> str:
        """An account's name."""
        return next((one.name for one in self.accounts if one.id == account_id), "?")


def people(data_dir: Path) -> People:
    """All that is known of people; StoreError."""
    lasts = lifetimes()
    with reading(data_dir) as book:
        held = [one for one in sessions(book.conn) if holds(one, lasts, book.now_ms)]
        return People(accounts(book.conn), held, wall_links(book.conn), book.now_ms)


def account_rows(known: People) -> list[dict[str, str]]:
    """One row an account."""
    return [
        {words.LOGIN: one.login, words.NAME_IN_RECORD: one.name, words.ROLE: one.role,
         words.ACTS_IN: ", ".join(one.wards) or words.ALL_WARDS, words.STATE: state_text(one)}
        for one in known.accounts
    ]  # fmt: skip


def state_text(one: Account) -> str:
    """Whether an account can be used."""
    if one.disabled:
        return words.DISABLED
    return words.GOOD if one.password or one.sso else words.NO_PASSWORD_YET


def session_text(known: People, one: Session, now: Now) -> str:
    """One session in a line."""
    made, seen = (moment_text(at_ms, known.wall_ms, now.zone) for at_ms in (one.made_ms, one.seen_ms))
    return words.session(known.name_of(one.account_id), one.address, one.how, made, seen)


def link_text(known: People, one: WallLink, now: Now) -> str:
    """One link in a line."""
    made = moment_text(one.made_ms, known.wall_ms, now.zone)
    gone = moment_text(one.withdrawn_ms, known.wall_ms, now.zone) if one.withdrawn_ms else ""
    return words.link(one.id, one.ward, one.place, made, one.made_by, gone)


def door_rows(rows: Iterable[JournalRow], now: Now) -> list[dict[str, str]]:
    """What happened at the door, in the order of the rows."""
    return [
        {words.WHEN: moment_text(row.recorded_ms, row.recorded_ms, now.zone), words.WHAT: row.kind.replace("-", " "),
         words.WHO: row.who or "?", words.FROM: row.origin, words.SAID_OF: _said(row)}
        for row in rows
    ]  # fmt: skip


def _said(row: JournalRow) -> str:
    told = {name: ", ".join(value) if isinstance(value, list) else value for name, value in row.body.items()}
    return "; ".join(f"{name}: {value}" for name, value in told.items() if value not in ("", False, None))
