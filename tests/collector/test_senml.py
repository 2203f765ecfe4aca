"""Packs of units: what is read, what is refused and why, and that writing and reading agree."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.reading import LAMPS, LIMITS, QUANTITIES, Reading
from collector.senml import SenmlError, base_name, decode_pack, encode_pack

NOW_MS = 1_790_000_000_500
BN = base_name("lake", "u1")


def read(records: object) -> list[Reading]:
    return decode_pack(json.dumps(records).encode(), NOW_MS, "lake", "u1")


def kind_of(payload: bytes) -> str:
    with pytest.raises(SenmlError) as caught:
        decode_pack(payload, NOW_MS, "lake", "u1")
    return caught.value.kind


def test_one_moment() -> None:
    pack = [
        {"bn": BN, "bt": 1790000000.25, "n": "purity", "u": "/", "v": 0.934},
        {"n": "flow", "u": "l/min", "v": 5},
        {"n": "power", "u": "W", "v": 340},
        {"n": "temp", "u": "K", "v": 300},
        {"n": "pressure", "u": "Pa", "v": 60000},
        {"n": "hours", "u": "s", "v": 7200},
        {"n": "lamp", "vs": "green"},
        {"n": "humidity", "u": "%RH", "v": 60},
    ]
    assert read(pack) == [
        Reading("u1", 1_790_000_000_250, 93.4, 5.0, 340.0, 26.85, None, 60.0, 2.0, "green"),
    ]


def test_a_backlog_is_many_moments_in_one_pack() -> None:
    pack = [{"bn": BN, "bt": 1790000000, "n": "purity", "u": "/", "v": 0.93}]
    pack += [{"n": "purity", "u": "/", "v": 0.92, "t": -10 * i} for i in range(1, 4)]
    assert [r.time_ms for r in read(pack)] == [1_790_000_000_000 - 10_000 * i for i in range(4)]


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "not-json"),
        (b"\xff\xfe", "not-json"),
        (b"[", "not-json"),
        (b'{"n":"a"}', "not-senml"),
        (b"[1]", "not-senml"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"purity","u":"/","v":"0.9"}]', "not-senml"),
        (b'[{"bn":"urn:dev:ops:lake-u2:","n":"purity","u":"/","v":0.9}]', "other-unit"),
        (b'[{"n":"purity","u":"/","v":0.9}]', "other-unit"),
        (b'[{"v":0.9}]', "no-name"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"purity","u":"bar","v":0.9}]', "unit"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"purity","vs":"high"}]', "unit"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"flow","u":"l/min","vb":true}]', "value"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"lamp","v":1}]', "value"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"colour","vs":"blue"}]', "nothing-known"),
        (b"[]", "nothing-known"),
        (b'[{"bn":"urn:dev:ops:lake-u1:","n":"purity","u":"/","v":NaN}]', "not-json"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_kind(payload: bytes, kind: str) -> None:
    assert kind_of(payload) == kind


@given(st.binary(max_size=200))
def test_garbage_is_refused_and_never_anything_else(payload: bytes) -> None:
    with pytest.raises(SenmlError):
        decode_pack(payload, NOW_MS, "lake", "u1")


moments = st.lists(
    st.builds(
        Reading,
        st.just("u1"),
        st.integers(1_500_000_000_000, 1_900_000_000_000),
        lamp=st.none() | st.sampled_from(LAMPS),
        **{n: st.none() | st.floats(*LIMITS[n], allow_nan=False).map(lambda v: round(v, 2)) for n in QUANTITIES},
    ).filter(lambda r: any(getattr(r, n) is not None for n in (*QUANTITIES, "lamp"))),
    min_size=1, max_size=5, unique_by=lambda r: r.time_ms,
)  # fmt: skip


@given(moments)
def test_what_is_written_is_read_back(readings: list[Reading]) -> None:
    back = decode_pack(encode_pack("lake", "u1", readings), NOW_MS, "lake", "u1")
    assert [(r.time_ms, r.lamp) for r in back] == [(r.time_ms, r.lamp) for r in readings]
    for one, two in zip(back, readings, strict=True):
        for name in QUANTITIES:
            assert getattr(one, name) == pytest.approx(getattr(two, name), abs=1e-5)


@given(moments, st.sampled_from([None, {"bver": 10}, {"bu": "W"}, {"x": 1}]))
def test_the_quick_way_reads_as_the_general_one(readings: list[Reading], extra: dict[str, object] | None) -> None:
    payload = encode_pack("lake", "u1", readings[:1])
    general = json.loads(payload)
    general[-1].update(extra or {"bver": 10})  # a field that sends a pack the general way and changes nothing here
    expected = decode_pack(json.dumps(general).encode(), NOW_MS, "lake", "u1")
    assert decode_pack(payload, NOW_MS, "lake", "u1") == expected


def test_an_empty_pack_is_not_written() -> None:
    with pytest.raises(ValueError, match="at least one"):
        encode_pack("lake", "u1", [Reading("u1", NOW_MS)])
