"""One mad sender is thinned, counted and told; a backlog, however fast it comes, is none and passes whole."""

import pytest

from collector.intake.admit import Admission, Admitted
from collector.intake.bounds import BURST
from collector.intake.flood import PER_SECOND, SECONDS_KNOWN, SOON, WINDOW_S, Flood
from collector.intake.flooded import AGAIN_S, ENDED_S
from collector.reading import Reading
from collector.senml import encode_pack
from collector.site import parse_site
from collector.topics import gauge_topic, link_topic, readings_topic

FACILITY = "sim-a"
SITE = parse_site(
    f'[facility]\nid="{FACILITY}"\n[[unit]]\nid="mad"\n[[unit]]\nid="calm"\n[[cylinder]]\nid="c1"\nfull_kpa=13700\n'
)
NOW_MS = 1_790_000_000_000


class Rig:
    """A flood watch with a clock of its own."""

    def __init__(self, speed: float = 1.0) -> None:
        self.now_s, self.connection = 100.0, 1
        self.flood = Flood(Admission(SITE, speed), speed, lambda: self.now_s)

    def admit(self, *messages: tuple[str, bytes]) -> Admitted:
        batch = [(topic, payload, n + 1, self.connection) for n, (topic, payload) in enumerate(messages)]
        return self.flood.admit(batch, NOW_MS)

    def states(self) -> list[tuple[str, str, int]]:
        return [(n.unit or n.body["id"], n.body["state"], n.body["left_out"]) for n in self.flood.notes(NOW_MS)]

    def suspected(self) -> None:
        """Let `mad` be looked at, by a rush of readings that lie seconds apart."""
        self.admit(*backlog("mad", 1))
        self.admit(*backlog("mad", SOON))
        assert readings_topic(FACILITY, "mad") in self.flood.suspects


def message(unit: str, time_ms: int) -> tuple[str, bytes]:
    return readings_topic(FACILITY, unit), encode_pack(FACILITY, unit, [Reading(unit, time_ms, 93.0, 4.0)])


def backlog(unit: str, n: int, step_ms: int = 1_000) -> list[tuple[str, bytes]]:
    return [message(unit, NOW_MS - (n - i) * step_ms) for i in range(n)]


def test_a_backlog_is_no_flood_however_fast_it_comes():
    rig = Rig()
    got = [reading for _ in range(5) for reading in rig.admit(*backlog("mad", SOON)).readings]
    later = rig.admit(*[message("mad", NOW_MS - 86_400_000 + i * 10_000) for i in range(8_000)])
    assert len(got) == 5 * SOON
    assert len(later.readings) == 8_000
    assert (rig.states(), rig.flood.status()) == ([], [])


def test_a_backlog_beside_the_present_passes_whole():
    rig = Rig()
    rig.suspected()
    mixed = [m for i in range(2_000) for m in (message("mad", NOW_MS - 80_000_000 + i * 1_000), message("mad", NOW_MS))]
    out = rig.admit(*mixed)
    assert len([r for r in out.readings if r.time_ms < NOW_MS]) == 2_000


def test_a_thousand_moments_of_one_second_are_thinned_and_others_unharmed():
    rig = Rig()
    rig.suspected()
    rush = [message("mad", NOW_MS + 5_000 + i) for i in range(900)]
    out = rig.admit(*rush[:450], message("calm", NOW_MS), *rush[450:])
    assert [r.unit for r in out.readings].count("mad") == PER_SECOND
    assert [r.unit for r in out.readings].count("calm") == 1
    assert out.flooded == 900 - PER_SECOND
    assert rig.states() == [("mad", "began", 890)]
    assert [(s["id"], s["left_out"]) for s in rig.flood.status()] == [("mad", 890)]


def test_a_flood_is_written_down_once_and_its_end_too():
    rig = Rig()
    rig.suspected()
    told = []
    for _ in range(20):
        rig.now_s += 1.0
        rig.admit(*[message("mad", NOW_MS + i) for i in range(200)])
        told += rig.states()
    assert [state for _, state, _ in told] == ["began"]
    rig.now_s += ENDED_S
    assert rig.states() == [("mad", "ended", 20 * 200 - PER_SECOND)]
    rig.admit(*[message("mad", NOW_MS + 2_000 + i) for i in range(SOON)])
    assert rig.states() == []  # on and off: not before AGAIN_S
    rig.now_s += AGAIN_S
    rig.admit(*[message("mad", NOW_MS + 9_000 + i) for i in range(SOON)])
    rig.admit(*[message("mad", NOW_MS + 9_000 + i) for i in range(SOON)])
    assert [state for _, state, _ in rig.states()] == ["began"]


def test_what_a_broken_connection_brings_again_is_not_taken_for_a_flood():
    rig = Rig()
    rig.suspected()
    once = [message("mad", NOW_MS + i * 1_000) for i in range(100)]
    assert len(rig.admit(*once).readings) == 100
    for _ in range(PER_SECOND):  # the store failed each time
        rig.connection += 1
        assert len(rig.admit(*once).readings) == 100


def test_one_that_calms_down_is_looked_at_no_more():
    rig = Rig()
    rig.suspected()
    for _ in range(2):
        rig.now_s += WINDOW_S
        rig.admit(message("mad", NOW_MS))
    assert rig.flood.suspects == {}


def test_what_is_known_of_a_suspect_is_bounded():
    rig = Rig()
    rig.suspected()
    rig.admit(*backlog("mad", 5_000))
    assert len(rig.flood.suspects[readings_topic(FACILITY, "mad")].seconds) <= SECONDS_KNOWN


def test_a_cylinder_s_sensor_is_thinned_too():
    rig = Rig()
    topic = gauge_topic(FACILITY, "c1")
    payload = encode_pack(FACILITY, "c1", [Reading("c1", NOW_MS, pressure_kpa=9_000.0)])
    rig.admit(*[(topic, payload)] * SOON)
    rig.admit(*[(topic, payload)] * SOON)
    out = rig.admit(*[(topic, payload)] * 100)
    assert out.gauges == []
    assert rig.states()[0][:2] == ("c1", "began")


def test_of_a_bridge_that_comes_and_goes_only_the_newest_word_is_taken_once_a_window():
    rig = Rig()
    topic = link_topic(FACILITY, "b1")
    flicker = [(topic, word) for _ in range(SOON // 2) for word in (b"online", b"offline")]
    rig.admit(*flicker)
    rig.admit(*flicker)
    rig.admit()  # released, for the first time
    assert rig.admit(*flicker[:-1]).links == []
    rig.now_s += WINDOW_S
    assert rig.admit().links == [("b1", True)]
    assert rig.states()[0][:2] == ("b1", "began")


@pytest.mark.parametrize("topic", [readings_topic(FACILITY, "mad"), readings_topic(FACILITY, "stranger")])
def test_of_very_much_that_cannot_be_read_some_is_kept_and_all_is_counted(topic):
    rig = Rig()
    out = rig.admit(*[(topic, b"x")] * 5_000)
    assert len(out.quarantined) == BURST
    (kind,) = {item.reason_kind for item in out.quarantined}
    assert out.unkept == {kind: 5_000 - BURST}
    other = rig.admit(*[(topic, b"x")] * 10, (link_topic(FACILITY, "b1"), b"huh"))
    assert [item.reason_kind for item in other.quarantined] == [
        kind,
        "link",
    ]  # a rare kind is not hidden by a common one


def test_strangers_topics_leave_nothing_behind():
    rig = Rig()
    for n in range(SOON * 3):
        rig.admit((readings_topic(FACILITY, f"stranger{n}"), b"x"))
    assert (len(rig.flood._counts), rig.flood.suspects) == (0, {})


def test_a_pack_s_many_bad_moments_are_one_row_of_evidence():
    rig = Rig()
    moments = [Reading("mad", NOW_MS - i * 1_000, 400.0) for i in range(500)]
    out = rig.admit((readings_topic(FACILITY, "mad"), encode_pack(FACILITY, "mad", moments)))
    assert len(out.quarantined) == 1
    assert out.unkept == {"implausible": 499}


def test_a_scaled_clock_is_no_flood():
    rig = Rig(speed=60.0)
    for _ in range(10):
        rig.now_s += 1.0
        rig.admit(*backlog("mad", 60))
    assert rig.flood.suspects == {}
