"""A store of a facility that is not simulated, with a clock that a test moves, and a quick way to make accounts."""

from collector.people import manage
from collector.people.accounts import Account, insert_account
from collector.people.book import By, writing
from collector.people.passwords import hash_password
from collector.people.signin import Lifetimes, sign_in
from collector.store import open_store
from collector.store.history import journal_rows, open_reader

NOW = 1_790_000_000_000
MINUTE = 60_000
ME = By("test", "", "test")
LASTS = Lifetimes()
PASSWORD = "three grey herons wait"  # noqa: S105 - of an invented person
SITE_TEXT = """
[facility]
id = "{facility}"

[[ward]]
id = "east"

[[ward]]
id = "west"

[[model]]
id = "five"

[[unit]]
id = "u1"
model = "five"
ward = "east"

[[unit]]
id = "u2"
model = "five"
ward = "west"
"""


class House:
    """A data directory and the moment at which things are done in it."""

    def __init__(self, data_dir, facility="lakeside"):
        self.data_dir, self.now_ms, self._hash = data_dir, NOW, None
        with open_store(data_dir, facility, durable=False) as store, store.transaction():
            store.set_status("site", {"path": "site.toml", "text": SITE_TEXT.format(facility=facility)})

    def add(self, login="boss", role="administrator", wards=(), password=PASSWORD, sso=""):
        """An account that can sign in; one hash serves all tests of a house, since each costs time."""
        self._hash = self._hash or hash_password(PASSWORD)
        encoded = self._hash if password == PASSWORD else hash_password(password)
        with writing(self.data_dir, self.now_ms) as book:
            return insert_account(
                book.conn, Account(0, login, f"{login.title()} Example", role, tuple(wards), encoded, sso, False, NOW)
            )

    def sign_in(self, login="boss", password=PASSWORD, address="10.0.0.7"):
        """Sign in at this moment; the session's token."""
        return sign_in(self.data_dir, login, password, address, self.now_ms)

    def book(self):
        """A write transaction at this moment."""
        return writing(self.data_dir, self.now_ms)

    def rows(self, *kinds):
        """Journal rows of these kinds, in the order of writing."""
        conn = open_reader(self.data_dir)
        found = journal_rows(conn, kinds=kinds or None)
        conn.close()
        return sorted(found, key=lambda row: row.seq)

    def disable(self, login):
        with self.book() as book:
            manage.disable_account(book, ME, login)
