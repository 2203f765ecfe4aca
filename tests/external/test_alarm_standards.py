"""The alarm life cycle and priorities against the alarm standards, and the purity limits against WHO's.

Source: ISA-18.2 / IEC 62682 state model (states, and the transitions that published descriptions list; memory where
noted); IEC 60601-1-8 table of priorities (harm against onset; from memory); WHO, Technical specifications for
oxygen concentrators (2015) and WHO-UNICEF (2019): low-purity alarm under 82 %.
"""

import itertools

import pytest

from collector.rules.catalogue import CATALOGUE
from collector.rules.lifecycle import RESUMED, TRANSITIONS, State, Step, next_state

S, E = State, Step

# Source: ISA-18.2 transitions as published: normal -> unacknowledged, shelved, suppressed, out of service;
# unacknowledged -> acknowledged, returned-unacknowledged, shelved, suppressed, out of service; acknowledged -> normal
# on return, and the three held states. Acknowledging a returned alarm ends it (from memory).
PUBLISHED = {
    (S.NORMAL, E.RAISE): S.UNACKNOWLEDGED,
    (S.NORMAL, E.SHELVE): S.SHELVED,
    (S.NORMAL, E.SUPPRESS): S.SUPPRESSED,
    (S.NORMAL, E.REMOVE): S.OUT_OF_SERVICE,
    (S.UNACKNOWLEDGED, E.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, E.CLEAR): S.RETURNED,
    (S.UNACKNOWLEDGED, E.SHELVE): S.SHELVED,
    (S.UNACKNOWLEDGED, E.SUPPRESS): S.SUPPRESSED,
    (S.UNACKNOWLEDGED, E.REMOVE): S.OUT_OF_SERVICE,
    (S.ACKNOWLEDGED, E.CLEAR): S.NORMAL,
    (S.ACKNOWLEDGED, E.SHELVE): S.SHELVED,
    (S.ACKNOWLEDGED, E.SUPPRESS): S.SUPPRESSED,
    (S.ACKNOWLEDGED, E.REMOVE): S.OUT_OF_SERVICE,
    (S.RETURNED, E.ACKNOWLEDGE): S.NORMAL,
    (S.RETURNED, E.RAISE): S.UNACKNOWLEDGED,
}


@pytest.mark.parametrize(("pair", "to"), PUBLISHED.items())
def test_isa_18_2_transitions(pair: tuple[State, Step], to: State) -> None:
    assert next_state(*pair, active=True) == to


def test_every_pair_is_listed_or_refused() -> None:
    for state, step in itertools.product(State, Step):
        listed = (state, step) in TRANSITIONS
        assert (next_state(state, step, active=False) is not None) == listed


def test_leaving_a_held_state_with_the_condition_there_asks_for_a_new_acknowledgement() -> None:
    """OPC UA Part 9: held alarms are still evaluated (from memory)."""
    assert set(RESUMED.values()) == {State.UNACKNOWLEDGED}


# Source: IEC 60601-1-8, table 1 (from memory): (harm, onset) -> priority.
PRIORITY = {
    ("death or irreversible injury", "immediate"): "high",
    ("death or irreversible injury", "prompt"): "high",
    ("death or irreversible injury", "delayed"): "medium",
    ("reversible injury", "immediate"): "high",
    ("reversible injury", "prompt"): "medium",
    ("reversible injury", "delayed"): "low",
    ("minor injury or discomfort", "immediate"): "medium",
    ("minor injury or discomfort", "prompt"): "low",
    ("minor injury or discomfort", "delayed"): "low",
}
# Our reading of each condition's harm and onset: a project decision, stated here so that a reader can disagree with it.
JUDGED = {
    "purity-shutdown": ("death or irreversible injury", "immediate"),
    "supply-lost": ("death or irreversible injury", "immediate"),
    "ward-supply-lost": ("death or irreversible injury", "immediate"),
    "flow-absent": ("death or irreversible injury", "immediate"),
    "purity-red": ("death or irreversible injury", "prompt"),
    "purity-amber": ("reversible injury", "prompt"),
    "shutdown-expected": ("death or irreversible injury", "delayed"),
    "flow-above-ward-limit": ("reversible injury", "prompt"),
    "readings-absent": ("reversible injury", "prompt"),
    "backup-low": ("death or irreversible injury", "delayed"),
    "flow-above-rated": ("reversible injury", "delayed"),
    "supply-poor": ("reversible injury", "delayed"),
    "capacity-falling": ("reversible injury", "delayed"),
    "capacity-unproven": ("minor injury or discomfort", "delayed"),
    "sensor-suspect": ("minor injury or discomfort", "delayed"),
    "clock-wrong": ("minor injury or discomfort", "delayed"),
    "service-due": ("minor injury or discomfort", "delayed"),
    "verification-due": ("minor injury or discomfort", "delayed"),
}


def test_priorities_follow_iec_60601_1_8() -> None:
    assert {name: PRIORITY[judged] for name, judged in JUDGED.items()} == {
        name: condition.priority for name, condition in CATALOGUE.items()
    }
