"""Frames out of a stream: whole, byte by byte, and among garbage; bounded whatever comes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.bridge.framing import Framer, Framing

LINES = Framing(max_bytes=64)
MARKS = Framing(start="\x02", end="\x03", tail_bytes=1, max_bytes=64)
FIXED = Framing(start="\xaa", end="", length=5)
ALL = [LINES, MARKS, FIXED]


def bodies(frames):
    return [frame.body for frame in frames]


def by_one(framer, data):
    return [frame for at in range(len(data)) for frame in framer.feed(data[at : at + 1])]


@pytest.mark.parametrize(
    ("framing", "stream", "found"),
    [
        (LINES, b"one\ntwo\r\nthr", [b"one", b"two\r"]),
        (LINES, b"\n\n", [b"", b""]),
        (Framing(end="\r\n"), b"a\rb\r\nc\r\n", [b"a\rb", b"c"]),
        (MARKS, b"x\x02one\x03Az\x02two\x03B", [b"one", b"two"]),
        (MARKS, b"\x02cut\x02whole\x03A", [b"whole"]),
        (FIXED, b"..\xaa1234\xaa5678\xaa9", [b"1234", b"5678"]),
    ],
)
def test_frames_are_found_whole_and_byte_by_byte(framing, stream, found):
    assert bodies(Framer(framing).feed(stream)) == found
    assert bodies(by_one(Framer(framing), stream)) == found


def test_the_tail_belongs_to_its_frame():
    (frame,) = Framer(MARKS).feed(b"\x02one\x03A")
    assert (frame.raw, frame.tail) == (b"\x02one\x03A", b"A")
    assert Framer(MARKS).feed(b"\x02one\x03") == []


def test_a_line_begun_before_listening_is_left_out():
    framer = Framer(LINES, from_middle=True)
    assert bodies(framer.feed(b"3.4;4.9\n93.4;4.9\n")) == [b"93.4;4.9"]
    assert framer.dropped_bytes == 8


def test_a_line_that_never_ends_is_dropped_and_the_next_one_read():
    framer = Framer(LINES)
    assert framer.feed(b"x" * 1000) == []
    assert framer.kept_bytes <= 64
    assert bodies(framer.feed(b"x\ngood\n")) == [b"good"]
    assert framer.dropped_bytes == 1002


def test_by_length_a_refused_candidate_is_looked_for_one_byte_on():
    framer = Framer(Framing(end="", length=3), lambda frame: frame.raw[2] == (frame.raw[0] + frame.raw[1]) & 0xFF)
    assert bodies(framer.feed(b"\x09\x01\x02\x03\x04\x05\x09")) == [b"\x01\x02\x03", b"\x04\x05\x09"]
    assert framer.dropped_bytes == 1


@pytest.mark.parametrize("framing", ALL)
@given(pieces=st.lists(st.binary(max_size=300), max_size=20))
def test_whatever_comes_memory_is_bounded_and_every_byte_accounted_for(framing, pieces):
    framer, used = Framer(framing), 0
    for piece in pieces:
        for frame in framer.feed(piece):
            used += len(frame.raw)
            assert len(frame.raw) <= framing.max_bytes
        assert framer.kept_bytes <= 2 * framing.max_bytes
    assert used + framer.dropped_bytes + framer.kept_bytes == sum(map(len, pieces))


@pytest.mark.parametrize("framing", ALL)
@given(stream=st.binary(max_size=400))
def test_where_the_bytes_are_cut_changes_nothing(framing, stream):
    whole, single = Framer(framing), Framer(framing)
    assert whole.feed(stream) == by_one(single, stream)


@given(
    garbage=st.lists(st.binary(max_size=40).filter(lambda b: b"\n" not in b), max_size=6),
    lines=st.lists(st.binary(max_size=20).filter(lambda b: b"\n" not in b), max_size=6),
)
def test_garbage_that_ends_costs_no_line_behind_it(garbage, lines):
    stream = b"".join(b"\xff" * 100 + junk + b"\n" + line + b"\n" for junk, line in zip(garbage, lines, strict=False))
    expected = [line for _, line in zip(garbage, lines, strict=False)]
    assert bodies(Framer(LINES).feed(stream)) == expected


@pytest.mark.parametrize(
    ("keys", "said"), [({"end": ""}, "where a frame ends"), ({"length": 2, "start": "ab", "end": ""}, "no room")]
)
def test_framing_that_tells_nothing_apart_is_refused(keys, said):
    with pytest.raises(ValueError, match=said):
        Framing(**keys)
