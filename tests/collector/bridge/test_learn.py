"""Proposals for unknown devices: each is a good profile, and reads the lines it was made from."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.bridge.bridge_file import BridgeFileError
from collector.bridge.hear import listen
from collector.bridge.learn import propose
from collector.bridge.port import open_line
from collector.bridge.profile import load_profile, parse_profile, shipped_profiles
from collector.bridge.sample import try_sample
from tests.collector.bridge.plugs import Adapter
from tests.collector.bridge.talking import NOW, values


def proposed(lines):
    """The proposal's profile, and what it reads of the lines."""
    profile = parse_profile(propose(lines))
    result = try_sample(profile, b"".join(line + b"\n" for line in lines), NOW)
    return profile, result


@pytest.mark.parametrize(
    ("lines", "kind", "first"),
    [
        ([b"2026-11-25T20:00:00Z;93.4;345", b"2026-11-25T20:00:10Z;93.5;344"], "delimited", {"purity_pct": 93.4}),
        ([b"time,o2 %,flow", b"1790000000,93.4,4.9", b"1790000010,93.5,4.9"], "delimited",
         {"purity_pct": 93.4, "flow_lpm": 4.9}),
        ([b"93,4;4,90;345", b"93,5;4,91;344"], "delimited", {"purity_pct": 93.4}),
        ([b"o2=93.4 flow=4900 p=58.1", b"o2=93.5 flow=4910 p=58.2"], "key-value",
         {"purity_pct": 93.4, "flow_lpm": 4.9, "pressure_kpa": 58.1}),
        ([b"O2: 93.4, Flow: 4.9", b"O2: 93.5, Flow: 4.9"], "key-value", {"purity_pct": 93.4, "flow_lpm": 4.9}),
        ([b'{"gas":{"o2":0.934},"temp":304.3,"n":1}'] * 2, "json", {"purity_pct": 93.4, "temp_c": 31.15}),
        ([b"93.4  4.90  345", b"93.5  4.91  344", b" 9.5  0.01   31"], "fixed-width", {"purity_pct": 93.4}),
        ([b"OXYGEN 93.4 PCT AT FLOW 4.90 OK", b"OXYGEN 93.5 PCT AT FLOW 14.91 OK"], "regex",
         {"purity_pct": 93.4, "flow_lpm": 4.9}),
    ],
)  # fmt: skip
def test_a_shape_is_made_out_and_names_are_understood(lines, kind, first):
    profile, result = proposed(lines)
    assert profile.kind == kind
    assert result.good, [row.refused for row in result.rows]
    assert values(result.rows[0].reading) == pytest.approx(first)


def test_a_checksum_is_noticed_and_checked():
    path = shipped_profiles()["summed-sentence"]
    lines = path.with_suffix(".txt").read_bytes().splitlines()
    profile, result = proposed(lines)
    assert (profile.checksum.kind, profile.checksum.after, profile.checksum.skip) == ("xor", b"*", 1)
    assert [row.refused for row in result.rows] == ["", "", "no measured value in it"]


def test_what_cannot_be_told_is_left_to_people():
    text = propose([b"17 0934 0490", b"17 0935 0490"])
    assert "which one is purity?" in text
    assert "# also on the line:" in text


@pytest.mark.parametrize("lines", [[], [b""], [b"READY", b"READY"], [b"\xff\xfe" * 9] * 3])
def test_what_holds_no_numbers_is_refused(lines):
    with pytest.raises(ValueError, match="no numbers could be made out"):
        propose(lines)


@given(st.lists(st.text("0123456789.;,=:*#ABCo2flow {}[]\"'\\\n", max_size=40).map(str.encode), max_size=6))
def test_whatever_was_heard_the_proposal_is_a_profile_or_refused(lines):
    try:
        text = propose(lines)
    except ValueError:
        return
    try:
        parse_profile(text)
    except BridgeFileError as error:
        raise AssertionError(text) from error


def test_a_line_is_listened_to_until_enough_was_heard(tmp_path):
    adapter = Adapter(tmp_path / "adapter")
    adapter.plug()
    told: list = []

    def speaking(table):
        line = open_line(table)  # it throws away what waited before it was opened
        adapter.says(b"4.9\r\no2=93.4 flow=4.9\r\no2=93.5 flow=4.9\r\no2=")
        return line

    heard = listen(str(adapter.path), (9600,), 5.0, 2, told.append, b"", speaking)
    adapter.pull()
    assert heard.lines == [b"o2=93.4 flow=4.9", b"o2=93.5 flow=4.9"]
    assert [line.strip() for line in told if "o2" in line] == ["o2=93.4 flow=4.9", "o2=93.5 flow=4.9"]


def told(row):
    return row.reading.purity_pct if row.reading else None


def test_shipped_samples_of_text_are_learned_to_something_usable():
    for name in ("key-value-line", "json-line", "semicolon-line"):
        path = shipped_profiles()[name]
        _, result = proposed(path.with_suffix(".txt").read_bytes().splitlines())
        own = try_sample(load_profile(path), path.with_suffix(".txt").read_bytes(), NOW)
        assert [told(row) for row in result.rows] == [told(row) for row in own.rows]


class Speaks:
    """Text at one speed only, noise at the others."""

    def __init__(self, baud):
        self._said = [b"1\nflow=4.9\nflow=4.8\n" if baud == 19200 else b"\xf8\x80" * 40]
        self.asked = b""

    def read(self, size):
        return self._said.pop() if self._said else b""

    def write(self, data):
        self.asked += data

    def close(self):
        pass


def test_speeds_are_tried_until_there_is_text():
    lines: dict = {}
    told: list = []

    def opener(table):
        return lines.setdefault(table.baud, Speaks(table.baud))

    heard = listen("/dev/x", (9600, 19200, 38400), 5.0, 1, told.append, b"?", opener)
    assert (heard.baud, heard.lines) == (19200, [b"flow=4.9", b"flow=4.8"])
    assert [line for line in told if "no text" in line] == ["  no text at this speed"]
    assert list(lines) == [9600, 19200]
    assert lines[19200].asked == b"?"


def test_lines_with_more_columns_than_a_profile_may_have_are_not_proposed_as_columns():
    profile, _ = proposed([b";".join([b"1"] * 321)] * 3)
    assert profile.kind != "delimited"


def test_long_lines_get_room_in_the_framing():
    line = b"o2=93.4 note=" + b"y" * 600
    profile, result = proposed([line, line])
    assert profile.framing.max_bytes >= len(line)
    assert result.good
