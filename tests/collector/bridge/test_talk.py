"""Conversations: several units on a line, devices that are asked, analysers' errors taken out."""

import pytest

from collector.bridge.profile import parse_profile
from collector.bridge.values import Maker
from tests.collector.bridge.talking import NOW, said, talk, values

PURITY = '[field.purity_pct]\nfrom = {}\nin = "%"\n'
NAMED = 'kind = "delimited"\n[field.unit]\nfrom = 1\n' + PURITY.format(2)
ASKED = 'kind = "delimited"\n[poll]\nrequest = "{}"\n' + PURITY.format(1)
TWO = {"3": "unit-a", "4": "unit-b"}


def units(heard):
    return [one.told.reading.unit if one.told else one.said for one in heard]


def test_a_line_of_several_units_is_told_apart():
    heard = talk(NAMED, units=TWO).feed(b"3,93.4\n 4,90.1\n5,91.0\n", NOW)
    assert units(heard) == [
        "unit-a", "unit-b", "the line speaks of '5', and the bridge file's `units` do not name it",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("profile", "behind", "why"),
    [
        (NAMED, None, "its lines say which unit speaks"),
        ('kind = "delimited"\n' + PURITY.format(1), TWO, "do not say which unit speaks"),
        (ASKED.format("?"), TWO, "do not say which unit speaks"),
        ("kind = 'modbus'\n[field.purity_pct]\naddress = 0\nin = '%'\n", {"a": "u1"}, "addresses from 1 to 247"),
    ],
)
def test_a_profile_that_does_not_fit_the_units_is_refused(profile, behind, why):
    with pytest.raises(ValueError, match=why):
        talk(profile, units=behind)


def test_each_unit_is_asked_in_turn_and_its_answer_is_its_own():
    line = talk(ASKED.format(r"{unit}?\r"), units=TWO)
    assert line.asks == 2
    assert line.ask(0) == b"3?\r"
    assert not line.answered
    assert units(line.feed(b"93.4\n", NOW)) == ["unit-a"]
    assert line.answered
    assert line.ask(1) == b"4?\r"
    assert units(line.feed(b"90.1\n", NOW)) == ["unit-b"]


def test_an_answer_begun_before_the_request_is_no_part_of_it():
    line = talk(ASKED.format("?"))
    line.ask(0)
    line.feed(b"93", NOW)
    assert [one.said for one in line.give_up(NOW)] == ["no answer within 1 s"]
    line.ask(0)
    assert [values(one.told.reading) for one in line.feed(b"92.0\n", NOW)] == [{"purity_pct": 92.0}]


def test_a_new_line_begins_in_the_middle_of_something():
    line = talk(NAMED, units=TWO, from_middle=True)
    assert line.feed(b"93.4\n3,93.4\n3,9", NOW)[0].told.reading.purity_pct == 93.4
    line.begin()
    assert line.feed(b"3.1\n", NOW) == []
    assert line.dropped_bytes == len(b"93.4\n") + len(b"3,9") + len(b"3.1\n")


GALVANIC = 'kind = "delimited"\n[analyser]\nkind = "galvanic"\npressure_compensated = {}\n' + PURITY.format(1)
SONIC = 'kind = "delimited"\n[analyser]\nkind = "ultrasonic"\nargon_corrected = {}\n' + PURITY.format(1)


@pytest.mark.parametrize(
    ("profile", "place", "shown", "true"),
    [
        (GALVANIC.format("false"), {"altitude_m": 2000, "calibrated_altitude_m": 0}, b"73.0\n", 93.04),
        (GALVANIC.format("false"), {"altitude_m": 2000}, b"93.0\n", 93.0),
        (GALVANIC.format("true"), {"altitude_m": 2000, "calibrated_altitude_m": 0}, b"93.0\n", 93.0),
        (SONIC.format("false"), {}, b"101.7\n", 93.3),
        (SONIC.format("true"), {}, b"93.0\n", 93.0),
    ],
)
def test_an_analysers_known_error_is_taken_out(profile, place, shown, true):
    (found,) = said(profile, shown, **place)
    assert found == {"purity_pct": pytest.approx(true, abs=0.02)}


def test_what_is_corrected_is_said_and_shown():
    (heard,) = talk(SONIC.format("false")).feed(b"101.7\n", NOW)
    assert (heard.told.shown_pct, heard.told.reading.purity_pct) == (101.7, pytest.approx(93.293))


def test_what_is_taken_for_granted_of_an_analyser_is_said():
    profile = parse_profile(GALVANIC.format("false"))
    assert Maker(profile, 2000).corrections == (
        "galvanic: taken as calibrated where it stands; if not, give the port calibrated_altitude_m",
    )
    assert Maker(profile, 2000, 0).corrections == ("purity x 1.2745: galvanic, calibrated at 0 m, stands at 2000 m",)
    assert Maker(parse_profile(GALVANIC.format("true")), 2000).corrections == ()


def test_what_no_analyser_shows_is_not_corrected_into_something_plausible():
    assert said(GALVANIC.format("false"), b"130\n", calibrated_altitude_m=0, altitude_m=-400) == [
        "purity_pct 130.0 is outside -1.0 to 110.0"
    ]


@pytest.mark.parametrize("shown", [-1.0, 0.0, 20.9, 100.0, 110.0])
def test_the_argon_correction_has_an_answer_wherever_an_analyser_may_stand(shown):
    (found,) = said(SONIC.format("false"), f"{shown}\n".encode())
    assert isinstance(found, dict)
