"""Requests made from a profile, and answers found among noise; bounded whatever comes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.bridge.checksum import crc_16_modbus
from collector.bridge.modbus import Answer, Ask, asks_of
from collector.bridge.profile import parse_profile
from tests.collector.bridge.talking import NOW, talk, values

PROFILE = 'kind = "modbus"\n[field.purity_pct]\naddress = 0\nin = "%"\nscale = 0.1\n'
TWO_ASKS = PROFILE + '[field.volts]\naddress = 40\nin = "V"\n'
ASK = Ask(device=17, function=3, address=0, count=2, places=())


def framed(*octets):
    body = bytes(octets)
    return body + crc_16_modbus(body).to_bytes(2, "little")


GOOD = framed(17, 3, 4, 3, 0xA6, 0, 50)


def spans(profile):
    return [(ask.function, ask.address, ask.count) for ask in asks_of(parse_profile(profile), 17)]


@pytest.mark.parametrize(
    ("fields", "asked"),
    [
        ("[field.volts]\naddress = 1\nin = 'V'\n", [(3, 0, 2)]),
        ("[field.volts]\naddress = 2\nin = 'V'\n", [(3, 0, 1), (3, 2, 1)]),
        ("[field.volts]\naddress = 1\ntype = 'float64'\nin = 'V'\n", [(3, 0, 5)]),
        ("[field.volts]\naddress = 0\nfunction = 4\nin = 'V'\n", [(3, 0, 1), (4, 0, 1)]),
        ("[field.volts]\naddress = 0\ntype = 'uint32'\nin = 'V'\n", [(3, 0, 2)]),
    ],
)
def test_only_registers_that_follow_each_other_share_a_request(fields, asked):
    assert spans(PROFILE + fields) == asked


@given(before=st.binary(max_size=300), cut=st.integers(0, 300))
def test_an_answer_is_found_behind_noise_wherever_the_bytes_are_cut(before, cut):
    answer, stream = Answer(ASK), before + GOOD
    found = answer.feed(stream[:cut])
    found = answer.feed(stream[cut:]) if found is None else found
    assert found == [934, 50]


@given(st.lists(st.binary(max_size=500), max_size=30))
def test_noise_alone_is_no_answer_and_takes_no_room(pieces):
    answer = Answer(ASK)
    assert [answer.feed(piece) for piece in pieces] == [None] * len(pieces)
    assert len(answer._kept) <= 256
    assert answer.dropped_bytes + len(answer._kept) == sum(map(len, pieces))


@pytest.mark.parametrize(
    "wrong", [GOOD[:-1] + b"\x00", framed(18, 3, 4, 3, 0xA6, 0, 50), framed(17, 4, 4, 3, 0xA6, 0, 50)]
)
def test_a_damaged_or_foreign_answer_is_none(wrong):
    assert Answer(ASK).feed(wrong) is None


def test_a_devices_requests_make_one_reading():
    line = talk(TWO_ASKS, units={"17": "u1"})
    line.ask(0)
    assert line.feed(framed(17, 3, 2, 3, 0xA6), NOW) == []
    assert line.answered
    line.ask(1)
    (heard,) = line.feed(framed(17, 3, 2, 0, 230), NOW)
    assert values(heard.told.reading) == {"purity_pct": 93.4, "volts": 230.0}


def test_what_is_not_answered_is_left_out_and_nothing_old_is_put_in_its_place():
    line = talk(TWO_ASKS, units={"17": "u1", "18": "u2"})
    line.ask(0)
    line.feed(framed(17, 3, 2, 3, 0xA6), NOW)
    line.ask(1)
    refused, told = line.give_up(NOW)
    assert refused.said == "device 17: no answer within 1 s"
    assert values(told.told.reading) == {"purity_pct": 93.4}
    line.ask(2)
    assert [one.said for one in line.give_up(NOW)] == ["device 18: no answer within 1 s"]
    line.ask(3)
    (heard,) = line.feed(framed(18, 3, 2, 0, 231), NOW)
    assert (heard.told.reading.unit, values(heard.told.reading)) == ("u2", {"volts": 231.0})


def test_what_comes_unasked_is_dropped():
    line = talk(PROFILE, units={"17": "u1"})
    assert line.feed(framed(17, 3, 2, 3, 0xA6), NOW) == []
    assert line.dropped_bytes == 7


def test_a_number_that_is_none_is_refused():
    line = talk(PROFILE.replace("scale = 0.1", 'type = "float32"'), units={"17": "u1"})
    line.ask(0)
    (heard,) = line.feed(framed(17, 3, 4, 0x7F, 0xC0, 0, 0), NOW)
    assert heard.said == "purity_pct: nan is no value"
