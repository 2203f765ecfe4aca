"""A site's backup in step with its store: judged once a minute, told to the ward, the same after a restart."""

from pathlib import Path

from collector.followed import Followed
from collector.notify.signal import told, ward_signal
from collector.reading import Reading
from collector.rules import entries
from collector.rules.entries import JournalEntry, entry_of
from collector.store import Store, open_store
from tests.collector.backup.stories import HOUR, MINUTE, SITE, T0

START_MS = T0 - T0 % MINUTE


class Night:
    """A store that turns as the collector does."""

    def __init__(self, store: Store) -> None:
        self.store, self.followed = store, Followed(SITE, store)
        self.told: list[tuple[int, str, str]] = []

    def turn(self, at_ms: int, *news: JournalEntry) -> None:
        """One turn: judge the backup, write, fold."""
        found = [*news, *self.followed.judge_backup(at_ms)]
        with self.store.transaction():
            self.followed.save_units()
            rows = self.followed.write(found, 0)
        self.told += [
            ((row.at_ms - START_MS) // MINUTE, row.body["event"], row.body["evidence"]["why"])
            for row in rows if row.condition == "backup-low"
        ]  # fmt: skip

    def run(self, unit: str, flow_lpm: float, from_min: int, to_min: int, purity_pct: float = 94.0) -> None:
        """Readings every 30 s, a turn with each."""
        for at_ms in range(START_MS + from_min * MINUTE, START_MS + to_min * MINUTE, 30_000):
            events = self.followed.engine.read(Reading(unit, at_ms, purity_pct, flow_lpm, 340.0), at_ms)
            self.turn(at_ms, *map(entry_of, events))

    def signal(self, at_ms: int, ward: str = "w"):
        """What the ward is told."""
        board, rows = self.followed.board, self.followed.ward_rows(ward)
        cards = self.followed.backup.cards(ward, board, at_ms)
        return ward_signal(SITE, SITE.ward(ward), board, rows, at_ms, 1, cards)


def gauge(cylinder: str, kpa: float, minute: float) -> JournalEntry:
    body = {"cylinder": cylinder, "kpa": kpa, "entered": f"{kpa:g} kPa"}
    return JournalEntry(
        at_ms=START_MS + int(minute * MINUTE), kind=entries.CYLINDER_READ, who="A", role="ward", body=body
    )


def test_short_is_told_and_a_new_cylinder_ends_it_at_once(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS, gauge("big", 3000, 0), gauge("small", 900, 0))
        night.run("u1", 5.0, 1, 20)
        assert night.told == [(4, "raised", "short")]
        night.turn(START_MS + 20 * MINUTE + 1, gauge("small", 13_700, 20))
        night.turn(START_MS + 20 * MINUTE + 300)
        assert night.told[1:] == [(20, "cleared", "short")]


def test_nothing_is_judged_between_minutes_unless_something_was_entered(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS)
        judged = night.followed.backup.of("w")
        night.turn(START_MS + 59_999)
        assert night.followed.backup.of("w") is judged
        night.turn(START_MS + 59_999, gauge("big", 9000, 0.9))
        night.turn(START_MS + 59_999)
        found = night.followed.backup.of("w")
        assert found is not None
        assert [c.state for c in found.cylinders] == ["good", "unread"]


def test_a_restart_goes_on_as_if_there_had_been_none(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS, gauge("big", 3000, 0), gauge("small", 900, 0))
        night.run("u1", 5.0, 1, 4)
        again = Night(store)
        assert again.followed.backup.known == night.followed.backup.known
        again.run("u1", 5.0, 4, 20)
        assert again.told == [(4, "raised", "short")]
        last = Night(store)
        last.run("u1", 5.0, 20, 40)
        assert last.told == []


def test_a_sensor_is_written_down_now_and_then_and_at_once_when_the_cylinder_is_to_be_changed(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night, written = Night(store), []
        for minute in range(60):
            kpa = 2000.0 - minute * 24.2 if minute < 50 else 790.0
            rows = night.followed.backup.gauges([("small", kpa + 1, START_MS + minute * MINUTE - 1),
                                                 ("small", kpa, START_MS + minute * MINUTE)])  # fmt: skip
            written += [(minute, row.body["kpa"], row.origin) for row in rows]
            night.turn(START_MS + minute * MINUTE, *rows)
        assert [minute for minute, _, _ in written] == [0, 15, 30, 45, 50]
        assert written[-1] == (50, 790.0, "sensor")
        assert night.told == [(51, "raised", "change")]  # the turn after the one that wrote it down
        assert night.followed.backup.gauges([("small", 500.0, START_MS + 50 * MINUTE)]) == []


def test_a_document_that_does_not_fit_is_left_and_no_gauge_counts_as_read(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        with store.transaction():
            store.set_status("backup", {"read": {"big": "full"}})
        night = Night(store)
        night.turn(START_MS)
        found = night.followed.backup.of("w")
        assert found is not None
        assert {c.state for c in found.cylinders} == {"unread"}


def test_an_alert_about_output_carries_its_card_and_no_other_does(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS, gauge("big", 13_700, 0), gauge("small", 13_700, 0))
        night.run("u1", 5.0, 1, 12)
        assert all("changeover" not in alert for alert in night.signal(START_MS + 12 * MINUTE)["alerts"])
        night.run("u1", 5.0, 12, 20, purity_pct=80.0)
        alerts = {alert["condition"]: alert for alert in night.signal(START_MS + 20 * MINUTE)["alerts"]}
        card = alerts["purity-red"]["changeover"]
        assert card["say"].startswith("Change over to cylinder big (by the door): lasts about 3 h at 5.0 L/min.")
        assert card["cylinders"] == ("big",)
        assert card["lasts_min"] == 180
        assert card["read"] is not None
        assert any("fire" in caution for caution in card["cautions"])


def test_a_card_says_the_same_from_minute_to_minute_and_not_when_the_reading_has_grown_old(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS, gauge("big", 13_700, 0))
        night.run("u1", 5.0, 1, 30, purity_pct=80.0)
        one, two = (night.signal(START_MS + minute * MINUTE) for minute in (30, 31))
        assert told(one) == told(two)
        later = night.signal(START_MS + 25 * HOUR)
        assert all(alert["changeover"]["cylinders"] == () for alert in later["alerts"] if "changeover" in alert)


def test_a_ward_whose_cylinders_left_the_site_file_is_told_no_more(tmp_path: Path):
    with open_store(tmp_path, "sim-b") as store:
        night = Night(store)
        night.turn(START_MS, gauge("big", 100, 0), gauge("small", 100, 0))
        night.turn(START_MS + MINUTE)
        assert night.told == [(1, "raised", "change")]
        bare = SITE.model_copy(update={"cylinders": ()})
        night.followed = Followed(bare, store)
        for minute in range(2, 15):
            night.turn(START_MS + minute * MINUTE)
        assert night.told[-1][1:] == ("cleared", "change")
