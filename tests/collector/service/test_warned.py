"""What became of warnings, and how soon alarms were answered."""

import pytest

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.service.warned import (
    ACTED,
    ACTED_SHUT_OFF,
    ENDED,
    SHUT_OFF,
    SHUT_OFF_FIRST,
    STANDS,
    WARNING,
    alarms_raised,
    warnings,
)  # fmt: skip

MIN = 60_000
ALL = (0, 10_000 * MIN)


def rows(*found):
    """Rows from (minute, kind or event, condition, …) in the order written; events name their condition."""
    made = []
    for seq, (minute, what, condition, *more) in enumerate(found, 1):
        unit = more[0] if more else "u1"
        event = what in ("raised", "updated", "cleared")
        body = (
            {"event": what, "priority": more[1] if len(more) > 1 else "medium", "audience": ["ward"]} if event else {}
        )
        kind = entries.CONDITION if event else what
        made.append(JournalRow(seq=seq, recorded_ms=0, at_ms=minute * MIN, kind=kind, unit=unit, ward="w",
                               condition=condition, body=body, who="" if event else "Ada"))  # fmt: skip
    return made


ACK, OUT, BACK = entries.ACKNOWLEDGE, entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE


@pytest.mark.parametrize(
    ("story", "fate", "acted_min"),
    [
        ([(1, "raised", WARNING)], STANDS, None),
        ([(1, "raised", WARNING), (9, "cleared", WARNING)], ENDED, None),
        ([(1, "raised", WARNING), (3, ACK, WARNING), (9, "cleared", WARNING)], ACTED, 3),
        ([(1, "raised", WARNING), (4, OUT, ""), (9, "cleared", WARNING)], ACTED, 4),
        ([(1, "raised", WARNING), (4, OUT, ""), (5, ACK, WARNING)], ACTED, 4),
        ([(1, "raised", WARNING), (5, "raised", SHUT_OFF)], SHUT_OFF_FIRST, None),
        ([(1, "raised", WARNING), (5, "raised", SHUT_OFF), (6, ACK, WARNING)], SHUT_OFF_FIRST, None),
        ([(1, "raised", WARNING), (3, ACK, WARNING), (5, "raised", SHUT_OFF)], ACTED_SHUT_OFF, 3),
        # Acknowledging another alarm of the unit is no answer to the warning.
        ([(1, "raised", WARNING), (3, ACK, "purity-amber"), (5, "raised", SHUT_OFF)], SHUT_OFF_FIRST, None),
        # A warning that ended half an hour or less before the shut-off was one of it.
        ([(1, "raised", WARNING), (9, "cleared", WARNING), (39, "raised", SHUT_OFF)], SHUT_OFF_FIRST, None),
    ],
)
def test_a_warning_has_one_fate(story, fate, acted_min) -> None:
    (one,) = warnings(rows(*story), *ALL)
    assert (one.fate, one.acted_ms) == (fate, None if acted_min is None else acted_min * MIN)


def test_a_shut_off_long_after_its_warning_came_without_one() -> None:
    first, second = warnings(rows((1, "raised", WARNING), (9, "cleared", WARNING), (40, "raised", SHUT_OFF)), *ALL)
    assert (first.fate, second.raised_ms, second.shut_off_ms) == (ENDED, None, 40 * MIN)


def test_a_unit_out_of_service_that_shuts_off_is_no_unwarned_shut_off() -> None:
    assert warnings(rows((1, OUT, ""), (5, "raised", SHUT_OFF)), *ALL) == []
    back = rows((1, OUT, ""), (3, BACK, ""), (5, "raised", SHUT_OFF))
    assert [one.raised_ms for one in warnings(back, *ALL)] == [None]


def test_what_one_unit_did_is_not_anothers() -> None:
    first, second = warnings(
        rows((1, "raised", WARNING, "u1"), (2, "raised", WARNING, "u2"), (3, ACK, WARNING, "u2"),
             (4, "raised", SHUT_OFF, "u1")), *ALL
    )  # fmt: skip
    assert (first.fate, second.fate) == (SHUT_OFF_FIRST, ACTED)


def test_only_warnings_of_the_month_count_but_what_came_before_is_known() -> None:
    story = rows((1, "raised", WARNING), (50, "raised", SHUT_OFF), (90, "raised", WARNING))
    assert [one.raised_ms for one in warnings(story, 40 * MIN, 80 * MIN)] == []
    assert [one.raised_ms for one in warnings(story, 40 * MIN, 91 * MIN)] == [90 * MIN]


def test_an_alarm_is_answered_by_its_first_acknowledgement_and_has_its_highest_priority() -> None:
    (one,) = alarms_raised(
        rows((1, "raised", WARNING, "u1", "low"), (2, "updated", WARNING, "u1", "high"), (4, ACK, WARNING),
             (6, ACK, WARNING), (9, "cleared", WARNING, "u1", "low"))
    )  # fmt: skip
    assert (one.answer_min, one.acknowledged_by, one.priority, one.cleared_ms) == (3.0, "Ada", "high", 9 * MIN)
