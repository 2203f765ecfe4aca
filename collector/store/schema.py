"""The store's tables, as ordered migrations.

Rules of this file: a migration that has been released is never edited; a change is a new function at the end. Each
runs in a transaction of its own, together with the record that it ran. A store that knows more of them is refused.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from collector.store.connect import immediate
from collector.store.errors import StoreError, store_errors

if TYPE_CHECKING:
    from sqlite_utils import Database

MIGRATION_SET: Final = "sieveward-store"
_TABLE: Final = "_sqlite_migrations"  # the library's, which is imported only when there is something to do
_APPLIED: Final = f"SELECT name FROM {_TABLE} WHERE migration_set = ?"  # noqa: S608
MIGRATIONS: list[Callable[[Database], None]] = []


def _migration(step: Callable[[Database], None]) -> Callable[[Database], None]:
    MIGRATIONS.append(step)
    return step


#: Quantities that the rollups carry; each has four columns: _n, _sum, _min, _max.
ROLLED: Final = ("purity_pct", "flow_lpm", "power_w", "temp_c", "volts")


def _rollup_table(name: str) -> str:
    columns = ", ".join(f"{q}_n INTEGER NOT NULL, {q}_sum REAL, {q}_min REAL, {q}_max REAL" for q in ROLLED)
    return f"""CREATE TABLE {name} (unit_no INTEGER NOT NULL, at_ms INTEGER NOT NULL, n INTEGER NOT NULL, {columns},
        PRIMARY KEY (unit_no, at_ms)) WITHOUT ROWID"""


_READINGS = (
    "CREATE TABLE unit_no (unit_no INTEGER PRIMARY KEY, unit TEXT NOT NULL UNIQUE)",
    # Clustered by time, since that is how readings arrive: with 1,000 units five times as fast to write as clustered by
    # unit. Reading one unit back is what reading_hour is for. lamp: 0 not reported, else 1 + its place in LAMPS.
    """CREATE TABLE reading (time_ms INTEGER NOT NULL, unit_no INTEGER NOT NULL,
        purity_pct REAL, flow_lpm REAL, power_w REAL, temp_c REAL, volts REAL, pressure_kpa REAL, hours_h REAL,
        lamp INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (time_ms, unit_no)) WITHOUT ROWID""",
    # With rowid: the blobs are far larger than what SQLite advises for WITHOUT ROWID (a twentieth of a page).
    """CREATE TABLE reading_hour (hour_ms INTEGER NOT NULL, unit_no INTEGER NOT NULL, n INTEGER NOT NULL,
        blob BLOB NOT NULL, PRIMARY KEY (unit_no, hour_ms))""",
    "CREATE INDEX reading_hour_by_hour ON reading_hour (hour_ms, unit_no)",
    _rollup_table("rollup_1m"),
    _rollup_table("rollup_1h"),
    # Minutes that must be rolled up again because a reading came late.
    """CREATE TABLE rollup_due (minute_ms INTEGER NOT NULL, unit_no INTEGER NOT NULL,
        PRIMARY KEY (minute_ms, unit_no)) WITHOUT ROWID""",
    # How far upkeep has come: rolled_until, packed_until, raw_from, minutes_from.
    "CREATE TABLE upkeep (key TEXT PRIMARY KEY, ms INTEGER NOT NULL) WITHOUT ROWID",
)

_NOW = (
    "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
    # MessagePack with field names: 25 % faster to write than 18 columns, and a new field needs no migration.
    "CREATE TABLE unit_now (unit_no INTEGER PRIMARY KEY, body BLOB NOT NULL)",
    """CREATE TABLE alarm (unit TEXT NOT NULL, ward TEXT NOT NULL, condition TEXT NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (unit, ward, condition)) WITHOUT ROWID""",
    "CREATE TABLE status (key TEXT PRIMARY KEY, body TEXT NOT NULL)",
    """CREATE TABLE quarantine (id INTEGER PRIMARY KEY, received_ms INTEGER NOT NULL, topic TEXT NOT NULL,
        payload BLOB NOT NULL, size INTEGER NOT NULL, reason_kind TEXT NOT NULL, reason TEXT NOT NULL)""",
    "CREATE TABLE quarantine_count (reason_kind TEXT PRIMARY KEY, n INTEGER NOT NULL) WITHOUT ROWID",
)

_JOURNAL = (
    """CREATE TABLE journal (seq INTEGER PRIMARY KEY, recorded_ms INTEGER NOT NULL, at_ms INTEGER NOT NULL,
        kind TEXT NOT NULL, unit TEXT NOT NULL, ward TEXT NOT NULL, condition TEXT NOT NULL, who TEXT NOT NULL,
        role TEXT NOT NULL, origin TEXT NOT NULL, body TEXT NOT NULL, prev_hash TEXT NOT NULL, hash TEXT NOT NULL)""",
    "CREATE INDEX journal_by_unit ON journal (unit, at_ms)",
    "CREATE INDEX journal_by_time ON journal (at_ms)",
    # The last row's number and hash once more: without it a cut tail would leave a chain that is whole.
    "CREATE TABLE journal_head (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL, hash TEXT NOT NULL)",
    "INSERT INTO journal_head VALUES (1, 0, '')",
    """CREATE TRIGGER journal_chain BEFORE INSERT ON journal
        WHEN NOT EXISTS (SELECT 1 FROM journal_head WHERE seq = NEW.seq - 1 AND hash = NEW.prev_hash)
        BEGIN SELECT RAISE(ABORT, 'a journal row must follow the last one'); END""",
    """CREATE TRIGGER journal_advance AFTER INSERT ON journal
        BEGIN UPDATE journal_head SET seq = NEW.seq, hash = NEW.hash; END""",
    """CREATE TRIGGER journal_no_update BEFORE UPDATE ON journal
        BEGIN SELECT RAISE(ABORT, 'journal rows cannot be changed'); END""",
    """CREATE TRIGGER journal_no_delete BEFORE DELETE ON journal
        BEGIN SELECT RAISE(ABORT, 'journal rows cannot be deleted'); END""",
    """CREATE TRIGGER journal_head_forward BEFORE UPDATE ON journal_head WHEN NEW.seq <> OLD.seq + 1
        BEGIN SELECT RAISE(ABORT, 'the journal head only moves forward, a row at a time'); END""",
    """CREATE TRIGGER journal_head_stays BEFORE DELETE ON journal_head
        BEGIN SELECT RAISE(ABORT, 'the journal head cannot be deleted'); END""",
)

#: Guards that must stand on a journal that is to be trusted.
JOURNAL_GUARDS: Final = ("journal_chain", "journal_advance", "journal_no_update", "journal_no_delete",
                         "journal_head_forward", "journal_head_stays")  # fmt: skip


@_migration
def first_layout(db: Database) -> None:
    """Readings, rollups, what is known now, quarantine and the journal."""
    for statement in (*_READINGS, *_NOW, *_JOURNAL):
        db.conn.execute(statement)


@_migration
def capacity(db: Database) -> None:
    """Capacity by the hour, and the estimator's memory of each unit."""
    db.conn.execute("""CREATE TABLE capacity_hour (unit_no INTEGER NOT NULL, hour_ms INTEGER NOT NULL,
        p05_lpm REAL NOT NULL, p50_lpm REAL NOT NULL, p95_lpm REAL NOT NULL, seen INTEGER NOT NULL, proven_lpm REAL,
        PRIMARY KEY (unit_no, hour_ms)) WITHOUT ROWID""")
    # With rowid, as unit_now and for the reason of reading_hour: a blob may have some kilobytes.
    db.conn.execute("CREATE TABLE estimate (unit_no INTEGER PRIMARY KEY, body BLOB NOT NULL)")


@_migration
def people(db: Database) -> None:
    """Accounts, sessions, one-time codes, wall links, and what was tried in vain; secrets are kept as hashes only."""
    for statement in (
        # password: Argon2id in its encoded form, "" until the person has set one. sso: what the provider calls them.
        """CREATE TABLE account (id INTEGER PRIMARY KEY, login TEXT NOT NULL UNIQUE, name TEXT NOT NULL,
            role TEXT NOT NULL, wards TEXT NOT NULL, password TEXT NOT NULL, sso TEXT NOT NULL,
            disabled INTEGER NOT NULL, made_ms INTEGER NOT NULL)""",
        """CREATE TABLE session (id INTEGER PRIMARY KEY, token_hash TEXT NOT NULL UNIQUE, account_id INTEGER NOT NULL,
            made_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL, address TEXT NOT NULL, how TEXT NOT NULL,
            ended_ms INTEGER)""",
        "CREATE INDEX session_by_account ON session (account_id, made_ms)",
        # account_id is NULL for the code that makes the first administrator.
        """CREATE TABLE one_time_code (code_hash TEXT PRIMARY KEY, purpose TEXT NOT NULL, account_id INTEGER,
            until_ms INTEGER NOT NULL) WITHOUT ROWID""",
        """CREATE TABLE wall_link (id INTEGER PRIMARY KEY, token_hash TEXT NOT NULL UNIQUE, ward TEXT NOT NULL,
            place TEXT NOT NULL, made_ms INTEGER NOT NULL, made_by TEXT NOT NULL, withdrawn_ms INTEGER)""",
        """CREATE TABLE vain_try (key TEXT PRIMARY KEY, tries INTEGER NOT NULL, last_ms INTEGER NOT NULL)
            WITHOUT ROWID""",
    ):
        db.conn.execute(statement)


@_migration
def late_minutes(db: Database) -> None:
    """Minutes that readings came for after they were rolled up: whoever copies what is rolled up copies them again."""
    # AUTOINCREMENT: a number is never given twice, so "after the last one seen" holds when rows are taken away.
    db.conn.execute("""CREATE TABLE late_minute (seq INTEGER PRIMARY KEY AUTOINCREMENT, minute_ms INTEGER NOT NULL,
        unit_no INTEGER NOT NULL, UNIQUE (minute_ms, unit_no))""")


def migrate(conn: sqlite3.Connection, path: Path) -> None:
    """Bring the store up to date; StoreError when it is newer than this program or not a store."""
    with store_errors(path):
        if not _known() - _refuse_newer(conn, path):
            return
        try:
            _apply(conn)
        except sqlite3.OperationalError as error:
            if "already exists" not in str(error):
                raise
            raise StoreError(
                "locked", f"{path} is being set up by another program at this moment. Try again."
            ) from error


def _apply(conn: sqlite3.Connection) -> None:
    from sqlite_utils import Database  # brings pandas along, tens of megabytes: not for every start
    from sqlite_utils.migrations import Migrations

    steps = Migrations(MIGRATION_SET)
    for step in MIGRATIONS:
        steps()(step)
    steps.apply(Database(conn, execute_plugins=False))


def check_schema(conn: sqlite3.Connection, path: Path) -> None:
    """Refuse a store that is newer, older or not yet set up, without changing it."""
    with store_errors(path):
        applied = _refuse_newer(conn, path)
    if not applied:
        raise StoreError("missing", f"{path} is not set up yet. Start the collector with this data directory first.")
    if _known() - applied:
        raise StoreError("older-schema", f"{path} was written by an older version. Start this version's collector "
                         "once: it brings the store up to date.")  # fmt: skip


def claim(conn: sqlite3.Connection, path: Path, facility_id: str) -> None:
    """Write the facility's name into a new store."""
    with immediate(conn, path):
        conn.execute("INSERT OR IGNORE INTO meta VALUES ('facility', ?)", (facility_id,))
    check_facility(conn, path, facility_id)


def check_facility(conn: sqlite3.Connection, path: Path, facility_id: str) -> None:
    """Refuse a store that holds another facility's readings: two facilities never share one."""
    with store_errors(path):
        row = conn.execute("SELECT value FROM meta WHERE key = 'facility'").fetchone()
    if row is None or row[0] != facility_id:
        owner = "no facility" if row is None else f"facility '{row[0]}'"
        raise StoreError("other-facility", f"{path} belongs to {owner}, not to '{facility_id}'. Name another data "
                         "directory, or the site file that goes with this one.")  # fmt: skip


def applied_migrations(conn: sqlite3.Connection) -> tuple[str, ...]:
    """The migrations that a store has seen, by name."""
    return tuple(sorted(name for (name,) in conn.execute(_APPLIED, (MIGRATION_SET,))))


def unknown_migrations(names: Iterable[str]) -> list[str]:
    """Those of some migrations that this program does not know: their store is a newer version's."""
    return sorted(set(names) - _known())


def _refuse_newer(conn: sqlite3.Connection, path: Path) -> set[str]:
    tables = {name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if _TABLE not in tables:
        if tables:
            raise StoreError("other-facility", f"{path} is a database that this program did not make. Name another "
                             "data directory.")  # fmt: skip
        return set()
    rows = conn.execute(_APPLIED, (MIGRATION_SET,))
    applied = {name for (name,) in rows}
    if strange := applied - _known():
        raise StoreError("newer-schema", f"{path} was written by a newer version ({', '.join(sorted(strange))}). "
                         "Use that version, or restore the backup made before the update.")  # fmt: skip
    return applied


@cache
def _known() -> frozenset[str]:
    return frozenset(step.__name__ for step in MIGRATIONS)
