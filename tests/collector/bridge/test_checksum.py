"""Checksums: where they stand, how they are written, what they count."""

import pytest

from collector.bridge.checksum import SUMS, Checksum, crc_16_modbus


def split(body, tail=b"", start=b"", end=b"", **keys):
    return Checksum(**keys).split(body, tail, start, end)


@pytest.mark.parametrize(("kind", "right"), [("xor", 0x31), ("sum-8", 0xDD), ("sum-16", 0x01DD), ("lrc", 0x23)])
def test_sums_of_the_nine_digits(kind, right):
    assert SUMS[kind][0](b"123456789") == right


def test_behind_a_mark_in_hex():
    assert split(b"OX,93.4*%02X" % SUMS["xor"][0](b"OX,93.4"), kind="xor", after="*") == (b"OX,93.4", "")
    payload, wrong = split(b"OX,93.5*%02x" % SUMS["xor"][0](b"OX,93.4"), kind="xor", after="*")
    assert payload == b"OX,93.5"
    assert "damaged on the way" in wrong


def test_in_the_last_digits_without_a_mark():
    assert split(b"ABC%04X" % crc_16_modbus(b"ABC"), kind="crc-16-modbus") == (b"ABC", "")


def test_decimal_behind_a_mark():
    assert split(b"ABC!198", kind="sum-16", written="decimal", after="!") == (b"ABC", "")


def test_binary_behind_the_end_mark_counting_the_marks():
    crc = crc_16_modbus(b"\x02ABC\x03").to_bytes(2, "little")
    found = split(b"ABC", crc, b"\x02", b"\x03", kind="crc-16-modbus", written="binary", order="low-first",
                  counts_start=True, counts_end=True)  # fmt: skip
    assert found == (b"ABC", "")


def test_bytes_in_front_may_not_count():
    assert split(b"$AB*03", kind="xor", after="*", skip=1) == (b"$AB", "")


@pytest.mark.parametrize("body", [b"", b"ABC", b"ABC*", b"ABC*Z1", b"ABC*+1", b"ABC* 1", b"ABC*123"])
def test_what_is_no_checksum_is_refused(body):
    assert "no hex checksum" in split(body, kind="xor", after="*")[1]


def test_a_decimal_sum_needs_a_mark():
    with pytest.raises(ValueError, match="no fixed width"):
        Checksum(kind="sum-8", written="decimal")
