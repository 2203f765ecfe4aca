"""What counts as arrived, and what is said of what did not."""

import json

import pytest

from collector.alarmway.trail import ARRIVED, DEAD, SCREENS, Trail
from collector.rules.entries import JournalRow
from collector.site import parse_site

SITE = parse_site('[facility]\nid="lakeside"\n[[ward]]\nid="newborn"\n[[ward]]\nid="men"\n')
SIGNAL = "oxygen/v1/lakeside/ward/newborn/signal"


@pytest.fixture
def trail():
    return Trail(SITE, 9, ["newborn", "men"], ["duty-phone"])


def payload(seq):
    return json.dumps({"v": 1, "calm": True, "alerts": [], "test": {"seq": seq}}).encode()


def message(kind, about="test-9", **body):
    body = {"way": "duty-phone", "person": "duty", "alarms": [{"about": about}], **body}
    return JournalRow(seq=11, recorded_ms=0, at_ms=0, kind=kind, body=body)


def states(found):
    return {one.way: one.state for one in found}


def test_each_way_is_there_only_by_its_own_sign(trail) -> None:
    trail.hear(SIGNAL, payload(9), 0.4)
    trail.see({"seq": 9}, 0.5)
    trail.read(message("message-sent"), 2.0)
    found = trail.close({}, 90)
    assert states(found) == {
        "signal to newborn": ARRIVED, SCREENS: ARRIVED, "message by duty-phone": ARRIVED, "signal to men": DEAD,
    }  # fmt: skip
    assert found[-1].said == "nothing came within 90 s"
    assert found[0].took_s == 0.4


@pytest.mark.parametrize(
    "said", [b"", b"\xff", b"[]", b"7", b'{"test": 9}', b'{"test": {"seq": "9"}}', payload(8), b'{"alerts": []}']
)
def test_an_earlier_test_or_rubbish_is_no_sign(trail, said) -> None:
    trail.hear(SIGNAL, said, 0.1)
    trail.hear("oxygen/v1/lakeside/ward/other/signal", payload(9), 0.1)
    trail.see({"seq": 8}, 0.1)
    trail.see(None, 0.1)
    trail.read(message("message-sent", about="test-8"), 0.1)
    trail.read(message("message-sent", alarms=[7]), 0.1)
    assert trail.found == []
    assert len(trail.open) == 4


def test_why_a_gateway_did_not_take_it_is_said(trail) -> None:
    trail.read(message("message-failed", said="the gateway says 403"), 1.0)
    assert trail.close({"message by duty-phone": "other"}, 90)[-1].said == "the gateway says 403"


def test_a_second_attempt_that_succeeds_has_arrived(trail) -> None:
    trail.read(message("message-failed", said="busy"), 1.0)
    trail.read(message("message-sent"), 31.0)
    assert states(trail.close({}, 90))["message by duty-phone"] == ARRIVED
