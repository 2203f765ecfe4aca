"""Who was told of an alarm by message, as one sentence."""

from zoneinfo import ZoneInfo

import pytest

from collector.rules.alarms import Alarm
from collector.rules.entries import ACKNOWLEDGE, MESSAGE_FAILED, MESSAGE_SENT, JournalRow
from collector.rules.limits import MINUTE
from dashboard.told import tellings, told_text

NOON_MS = 1_790_078_400_000
BANJUL = ZoneInfo("Africa/Banjul")
ALARM = Alarm(unit="u01", ward="newborn", condition="purity-red", heard_seq=7)


def row(seq, kind, way, person, minute, about="alarm-7", said=""):
    body = {"way": way, "person": person, "said": said, "alarms": [{"about": about}]}
    return JournalRow(seq=seq, recorded_ms=0, at_ms=NOON_MS + minute * MINUTE, kind=kind, body=body)


def said(*rows):
    return told_text(ALARM, tellings(reversed(rows)), NOON_MS, BANJUL)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ((), ""),
        ((row(8, MESSAGE_SENT, "a", "Night nurse", 0),), "Told: Night nurse 12:00."),
        (
            (row(8, MESSAGE_SENT, "a", "Night nurse", 0), row(9, MESSAGE_SENT, "b", "Engineer", 3)),
            "Told: Night nurse 12:00, Engineer 12:03.",
        ),
        (
            (row(8, MESSAGE_FAILED, "a", "Night nurse", 0, said="no answer"), row(9, MESSAGE_SENT, "b", "Engineer", 3)),
            "Told: Engineer 12:03. Not reached: Night nurse (no answer).",
        ),
        (
            (
                row(8, MESSAGE_FAILED, "a", "Night nurse", 0, said="no answer"),
                row(9, MESSAGE_SENT, "a", "Night nurse", 1),
            ),
            "Told: Night nurse 12:01.",
        ),
        (
            (
                row(8, MESSAGE_SENT, "a", "Night nurse", 0),
                row(9, MESSAGE_FAILED, "a", "Night nurse", 1, said="no answer"),
            ),
            "Told: Night nurse 12:00.",
        ),
        ((row(8, MESSAGE_SENT, "a", "Night nurse", 0, about="alarm-70"),), ""),
        ((row(8, MESSAGE_SENT, "a", "Night nurse", 5, about="alarm-7-1"),), "Told: Night nurse 12:05."),
        ((row(8, ACKNOWLEDGE, "a", "Night nurse", 0),), ""),
    ],
)
def test_who_was_told_when_and_whom_no_message_reached(rows, expected):
    assert said(*rows) == expected
