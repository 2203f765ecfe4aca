"""SenML against the examples of RFC 8428.

Source: RFC 8428 (August 2018), section 5 and its example files ex1 to ex13; the expected records are those the standard
and its working group's resolved files give. Features: RFC 9100 (August 2021), sections 2 and 4. Secondary units: RFC
8798.
"""

import json

import pytest

from collector.senml import SenmlError, decode_pack, resolve

NOW_MS = 1_600_000_000_000
NOW_S = NOW_MS / 1000


def resolved(pack: object) -> set[tuple[object, ...]]:
    """As a set: the RFC asks for chronological order, its own resolved files keep the source's order."""
    return {(r.name, r.unit, round(r.time_s, 6), r.value) for r in resolve(json.dumps(pack).encode(), NOW_MS)}


def test_ex1_single_record() -> None:
    pack = [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]
    assert resolved(pack) == {("urn:dev:ow:10e2073a01080063", "Cel", NOW_S, 23.1)}


def test_ex2_two_records_of_now() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "voltage", "t": 0, "u": "V", "v": 120.1},
        {"n": "current", "t": 0, "u": "A", "v": 1.2},
    ]
    assert resolved(pack) == {
        ("urn:dev:ow:10e2073a01080063:voltage", "V", NOW_S, 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", NOW_S, 1.2),
    }


def test_ex3_base_time_unit_and_relative_times() -> None:
    first = {"bn": "urn:dev:ow:10e2073a0108006:", "bt": 1.276020076001e9, "bu": "A", "bver": 5}
    values = [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    pack = [first | {"n": "voltage", "u": "V", "v": 120.1}]
    pack += [{"n": "current", "t": t, "v": v} for t, v in zip(range(-5, 1), values, strict=True)]
    del pack[0]["bver"]  # the example says 5, which RFC 9100 no longer allows: see the next test
    expected = {
        ("urn:dev:ow:10e2073a0108006:current", "A", round(1276020071.001 + i, 6), v) for i, v in enumerate(values)
    }
    assert resolved(pack) == expected | {("urn:dev:ow:10e2073a0108006:voltage", "V", 1276020076.001, 120.1)}


@pytest.mark.parametrize("version", [5, 11, 42, 10 | 1 << 5])
def test_a_version_with_features_not_known_here_is_refused(version: int) -> None:
    """RFC 9100 section 2: a version is a set of features; a receiver processes a pack only if it has them all."""
    with pytest.raises(SenmlError, match="version"):
        resolved([{"bver": version, "n": "a", "v": 1}])


def test_ex4_many_times_one_name() -> None:
    values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7, 21.5]
    pack = [{"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e9, "bu": "%RH", "v": values[0]}]
    pack += [{"t": 10 * i, "v": v} for i, v in enumerate(values) if i]
    assert resolved(pack) == {
        ("urn:dev:ow:10e2073a01080063", "%RH", 1320067464.0 + 10 * i, v) for i, v in enumerate(values)
    }


def test_ex6_a_second_base_name_replaces_the_first() -> None:
    pack = [
        {"bn": "2001:db8::2/", "bt": 1.320078429e9, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    assert resolved(pack) == {
        ("2001:db8::2/temperature", "Cel", 1320078429.0, 25.2), ("2001:db8::2/humidity", "%RH", 1320078429.0, 30.0),
        ("2001:db8::1/temperature", "Cel", 1320078429.0, 12.3), ("2001:db8::1/humidity", "%RH", 1320078429.0, 67.0),
    }  # fmt: skip


def test_ex7_mixed_types() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfv-reader", "vd": "aGkgCg"},
    ]
    base = "urn:dev:ow:10e2073a01080063:"
    assert resolved(pack) == {
        (base + "temp", "Cel", NOW_S, 23.1), (base + "label", None, NOW_S, "Machine Room"),
        (base + "open", None, NOW_S, False), (base + "nfv-reader", None, NOW_S, "aGkgCg"),
    }  # fmt: skip


def test_ex8_an_unknown_label_is_ignored_and_one_that_must_be_understood_is_refused() -> None:
    pack = [{"bn": "urn:dev:x/", "bt": 1.320078429e9, "n": "temperature", "u": "Cel", "v": 27.2, "l": "a link"}]
    assert resolved(pack) == {("urn:dev:x/temperature", "Cel", 1320078429.0, 27.2)}
    with pytest.raises(SenmlError, match="must be understood"):
        resolved([{"n": "a", "v": 1, "l_": "a link"}])


def test_ex9_a_record_with_only_a_base_name_carries_no_value() -> None:
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:"},
        {"n": "temp", "u": "Cel", "v": 23.1},
        {"n": "heat", "u": "/", "v": 1},
        {"n": "fan", "u": "/", "v": 0},
    ]
    assert len(resolved(pack)) == 3


@pytest.mark.parametrize(("t", "expected_s"), [(2**28 - 1, NOW_S + 2**28 - 1), (2**28, 2.0**28), (-60, NOW_S - 60)])
def test_times_below_2_to_28_are_relative(t: int, expected_s: float) -> None:
    """RFC 8428 section 4.5.3: values less than 2**28 are relative to now; 2**28 s is 1978-07-04T21:24:16Z."""
    assert resolve(json.dumps([{"n": "a", "v": 1, "t": t}]).encode(), NOW_MS)[0].time_s == expected_s


def test_base_value_and_base_sum_are_added() -> None:
    """RFC 8428 sections 4.1 and 4.6."""
    (record,) = resolve(b'[{"n":"a","bv":20.0,"v":3.5,"bs":100,"s":1.5}]', NOW_MS)
    assert (record.value, record.sum) == (23.5, 101.5)


BN = "urn:dev:ops:sim-x-u1:"


def purity(pack: object) -> float | None:
    (reading,) = decode_pack(json.dumps(pack).encode(), NOW_MS, "sim-x", "u1")
    return reading.purity_pct


@pytest.mark.parametrize("unit", ["/", "%"])
def test_a_percent_sign_is_a_ratio(unit: str) -> None:
    """RFC 8428 section 12.1: both `/` and `%` stand for a ratio, so 93 % oxygen is 0.93."""
    assert purity([{"bn": BN, "n": "purity", "u": unit, "v": 0.934}]) == 93.4


def test_secondary_units_need_the_version_that_allows_them() -> None:
    """RFC 9100 section 4: secondary units are feature 4, so a pack that uses them carries bver 10 + 2**4 = 26."""
    record = {"bn": BN, "n": "purity", "u": "/100", "v": 93.4}
    assert purity([record | {"bver": 26}]) == 93.4
    with pytest.raises(SenmlError, match="secondary"):
        purity([record])


def test_flow_in_cubic_metres_a_second() -> None:
    """RFC 8428 section 12.1 has m3/s; 5 L/min = 8.333e-5 m3/s (arithmetic)."""
    (reading,) = decode_pack(
        json.dumps([{"bn": BN, "n": "flow", "u": "m3/s", "v": 5 / 60_000}]).encode(), NOW_MS, "sim-x", "u1"
    )
    assert reading.flow_lpm == pytest.approx(5.0, abs=1e-6)
