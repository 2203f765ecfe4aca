"""Which messages are readings: nothing is dropped without a trace, and nothing that anybody sends is an exception."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.intake.admit import AHEAD_MS, OLDEST_MS, PAYLOAD_MAX, Admission, Admitted
from collector.reading import EARLIEST_MS, QUANTITIES, Reading, fault_in
from collector.senml import encode_pack
from collector.site import parse_site
from collector.topics import gauge_topic, link_topic, readings_topic

FACILITY = "sim-a"
SITE = parse_site(f'[facility]\nid="{FACILITY}"\n[[unit]]\nid="u1"\n[[unit]]\nid="u2"\n')
NOW_MS = 1_790_000_000_000
TOPIC = readings_topic(FACILITY, "u1")


def admit(topic: str, payload: bytes, speed: float = 1.0) -> Admitted:
    out = Admitted()
    Admission(SITE, speed).admit(topic, payload, NOW_MS, out)
    return out


def pack(*readings: Reading, unit: str = "u1", facility: str = FACILITY) -> bytes:
    return encode_pack(facility, unit, list(readings))


def good(time_ms: int = NOW_MS, purity_pct: float = 93.0) -> Reading:
    return Reading("u1", time_ms, purity_pct, 4.0)


def kinds(out: Admitted) -> list[str]:
    return [item.reason_kind for item in out.quarantined]


def test_a_good_pack_gives_its_readings():
    sent = [good(NOW_MS - 20_000), good(NOW_MS - 10_000)]
    out = admit(TOPIC, pack(*sent))
    assert out.readings == sent
    assert out.quarantined == []


@pytest.mark.parametrize(
    ("topic", "kind"),
    [
        ("oxygen/v1/sim-a/unit/u1", "topic"),
        ("oxygen/v2/sim-a/unit/u1/readings", "topic"),
        ("oxygen/v1/sim-a/unit/u1/link", "topic"),
        ("", "topic"),
        ("(a topic that is not UTF-8)", "topic"),
        ("oxygen/v1/sim-b/unit/u1/readings", "other-facility"),
        ("oxygen/v1/sim-b/bridge/b/link", "other-facility"),
        ("oxygen/v1/sim-a/unit/u9/readings", "unknown-unit"),
        ("oxygen/v1/sim-a/unit//readings", "unknown-unit"),
    ],
)
def test_a_message_from_elsewhere_is_set_aside_whole(topic, kind):
    payload = pack(good())
    out = admit(topic, payload)
    assert kinds(out) == [kind]
    assert out.readings == []
    assert (out.quarantined[0].topic, out.quarantined[0].payload) == (topic, payload)
    assert out.quarantined[0].received_ms == NOW_MS
    assert out.quarantined[0].reason


CYLINDERS = parse_site(f'[facility]\nid="{FACILITY}"\n[[cylinder]]\nid="c1"\nfull_kpa=13700\n')


def gauge(kpa: float | None, time_ms: int = NOW_MS, cylinder: str = "c1", speaks_for: str = "c1") -> Admitted:
    out, reading = Admitted(), Reading(speaks_for, time_ms, purity_pct=None if kpa else 93.0, pressure_kpa=kpa)
    payload = encode_pack(FACILITY, speaks_for, [reading])
    Admission(CYLINDERS).admit(gauge_topic(FACILITY, cylinder), payload, NOW_MS, out)
    return out


def test_a_cylinder_s_sensor_is_heard_up_to_what_the_cylinder_can_hold():
    out = gauge(9800.0)
    assert (out.gauges, out.readings, out.quarantined) == ([("c1", 9800.0, NOW_MS)], [], [])


@pytest.mark.parametrize(
    ("sent", "kind"),
    [
        ({"kpa": 20_000.0}, "implausible"),
        ({"kpa": -5.0}, "implausible"),
        ({"kpa": None}, "implausible"),
        ({"kpa": 9800.0, "time_ms": NOW_MS + AHEAD_MS + 1000}, "clock-ahead"),
        ({"kpa": 9800.0, "time_ms": NOW_MS - OLDEST_MS - 1000}, "too-old"),
        ({"kpa": 9800.0, "cylinder": "c9"}, "unknown-cylinder"),
        ({"kpa": 9800.0, "speaks_for": "c2"}, "other-unit"),
    ],
)
def test_what_a_cylinder_s_sensor_cannot_say_is_set_aside(sent, kind):
    out = gauge(**sent)
    assert (out.gauges, out.ahead, kinds(out)) == ([], [], [kind])


def test_a_pack_that_speaks_for_another_unit_than_its_topic_is_set_aside():
    out = admit(TOPIC, encode_pack(FACILITY, "u2", [Reading("u2", NOW_MS, 93.0)]))
    assert out.readings == []
    assert len(out.quarantined) == 1


def test_a_pack_of_another_facility_on_our_topic_is_set_aside():
    out = admit(TOPIC, pack(good(), facility="sim-b"))
    assert out.readings == []
    assert len(out.quarantined) == 1


def test_one_bad_moment_does_not_take_the_good_ones_with_it():
    moments = [good(NOW_MS - 20_000), good(NOW_MS - 10_000, purity_pct=400.0), good(NOW_MS)]
    out = admit(TOPIC, pack(*moments))
    assert out.readings == [moments[0], moments[2]]
    assert kinds(out) == ["implausible"]
    assert "purity_pct 400.0" in out.quarantined[0].reason


@pytest.mark.parametrize(("speed", "limit_ms"), [(1.0, AHEAD_MS), (60.0, 60 * AHEAD_MS), (0.5, AHEAD_MS)])
def test_a_time_ahead_of_now_is_set_aside_and_names_the_unit(speed, limit_ms):
    assert admit(TOPIC, pack(good(NOW_MS + limit_ms)), speed).quarantined == []
    out = admit(TOPIC, pack(good(NOW_MS + limit_ms + 1_000)), speed)
    assert kinds(out) == ["clock-ahead"]
    assert [(news.unit, news.ahead_s) for news in out.ahead] == [("u1", limit_ms / 1000 + 1)]


@pytest.mark.parametrize("time_ms", [NOW_MS - OLDEST_MS - 1_000, EARLIEST_MS - 1_000])
def test_a_time_too_long_ago_is_set_aside(time_ms):
    out = admit(TOPIC, pack(good(time_ms)))
    assert kinds(out) == ["too-old"]
    assert out.ahead == []


def test_a_time_as_old_as_allowed_is_taken():
    assert len(admit(TOPIC, pack(good(NOW_MS - OLDEST_MS))).readings) == 1


def test_a_payload_beyond_the_limit_is_not_even_parsed():
    assert kinds(admit(TOPIC, b" " * (PAYLOAD_MAX + 1))) == ["too-large"]
    padded = pack(good())
    assert len(admit(TOPIC, padded + b" " * (PAYLOAD_MAX - len(padded))).readings) == 1


BASE = f'"bn":"urn:dev:ops:{FACILITY}-u1:","n":"flow","u":"l/min","v":4'.encode()


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"null", b"{}", b"[[]]", b"\xff\xfe", b"[" * 100_000, b"1e999", b'[{"n":1}]', b'[{"x":1,"v":Infinity}]',
        b'[{"x":1,\xff', b'[{"x":' + b"[" * 200_000, b"[{" + BASE + b',"bt":1e308}]',
        b"[{" + BASE + b',"bt":1e300,"x":1}]',
        b"[{" + BASE + b',"bt":-1e308,"t":-1e308,"x":1}]', b"[{" + BASE + b',"bt":1e15}]',
    ],
)  # fmt: skip
def test_what_is_no_pack_is_set_aside(payload):
    out = admit(TOPIC, payload)
    assert out.readings == []
    assert len(out.quarantined) == 1


@pytest.mark.parametrize(("payload", "online"), [(b"online", True), (b"offline", False)])
def test_a_bridges_link_is_news(payload, online):
    out = admit(link_topic(FACILITY, "b1"), payload)
    assert out.links == [("b1", online)]
    assert out.quarantined == []


def test_any_other_word_on_a_link_is_set_aside():
    out = admit(link_topic(FACILITY, "b1"), b"Online")
    assert (out.links, kinds(out)) == ([], ["link"])


def test_strangers_topics_do_not_fill_the_memory():
    admission, out = Admission(SITE), Admitted()
    for n in range(1_000):
        admission.admit(readings_topic(FACILITY, f"stranger{n}"), b"x", NOW_MS, out)
    admission.admit(TOPIC, pack(good()), NOW_MS, out)
    assert len(admission._routes) == 1
    assert kinds(out) == ["unknown-unit"] * 1_000


def accounted(payload: bytes) -> None:
    """Whatever it is, it comes out as readings that are fit, or as what was set aside."""
    out = admit(TOPIC, payload)
    assert out.readings or out.quarantined or payload.strip() == b"[]"
    for reading in out.readings:
        assert reading.unit == "u1"
        assert fault_in(reading) is None
        assert EARLIEST_MS <= reading.time_ms <= NOW_MS + AHEAD_MS


@given(st.binary(max_size=300))
def test_any_bytes_are_accounted_for(payload):
    accounted(payload)


numbers = st.one_of(st.floats(), st.integers(), st.floats(-100, 100), st.just(1.79e9), st.floats(1.78e9, 1.80e9))
names = st.sampled_from(
    [
        "purity",
        "flow",
        "power",
        "temp",
        "volts",
        "pressure",
        "hours",
        "lamp",
        "",
        "x",
        f"urn:dev:ops:{FACILITY}-u1:flow",
    ]
)
units = st.sampled_from(["/", "%", "m3/s", "l/min", "W", "Cel", "V", "Pa", "h", "s", "furlong", ""])
labels = {
    "bn": st.sampled_from([f"urn:dev:ops:{FACILITY}-u1:", "urn:dev:ops:sim-b-u1:", ""]),
    "n": names, "u": units, "bu": units, "vb": st.booleans(), "vd": st.text(max_size=3), "bver": st.integers(-1, 30),
    "vs": st.sampled_from(["green", "off", "blue", ""]), "x_": st.just(1), "y": st.none(),
} | dict.fromkeys(["v", "bv", "t", "bt", "s", "bs", "ut"], numbers)  # fmt: skip
records = st.fixed_dictionaries({}, optional=labels)


@settings(max_examples=500)
@given(st.lists(records, min_size=1, max_size=6))
def test_any_records_are_accounted_for(pack_records):
    accounted(json.dumps(pack_records).encode())


@given(st.fixed_dictionaries({name: st.one_of(st.none(), st.floats(-1e4, 1e6)) for name in QUANTITIES}))
def test_the_limits_are_those_of_a_reading(values):
    reading = Reading("u1", NOW_MS, **values)
    if all(value is None for value in values.values()):
        return
    out = admit(TOPIC, pack(reading))
    assert len(out.readings) + len(out.quarantined) == 1
    for taken in out.readings:
        for name, value in values.items():
            assert getattr(taken, name) == (None if value is None else pytest.approx(value, rel=1e-6, abs=1e-6))
