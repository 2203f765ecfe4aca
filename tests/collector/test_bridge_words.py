"""What bridges say of themselves: kept beside their links, and written down once when they had to drop something."""

import json

import pytest

from collector import bridge_words
from collector.bridge.word import read_word
from collector.intake.admit import Admission, Admitted
from collector.site import parse_site
from collector.store import open_store
from collector.topics import bridge_state_topic, link_topic

NOW_MS = 1_795_000_000_000
SITE = parse_site('[facility]\nid="f"\n')
TOPIC = bridge_state_topic("f", "b1")


def word(**keys):
    return json.dumps({"v": 1, "waiting": 0, "dropped": 0} | keys).encode()


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path, "f") as store:
        yield store


def heard(store, *payloads, now_ms=NOW_MS):
    """Admit, write down and save; returns the bodies of the entries."""
    admitted = Admitted()
    for payload in payloads:
        Admission(SITE).admit(TOPIC, payload, now_ms, admitted)
    assert not admitted.quarantined
    entries = bridge_words.entries_of(admitted.words, store, now_ms)
    with store.transaction():
        bridge_words.save(admitted, store, now_ms)
    return [(entry.kind, entry.body["readings"], entry.body["ever"]) for entry in entries]


def test_a_word_is_kept_beside_the_link(store):
    admitted = Admitted()
    Admission(SITE).admit(link_topic("f", "b1"), b"online", NOW_MS, admitted)
    with store.transaction():
        bridge_words.save(admitted, store, NOW_MS)
    assert heard(store, word(waiting=7, oldest="2026-11-25T10:00:00Z", ports=[{"path": "/dev/a", "open": False}])) == []
    document = store.status("bridge:b1")
    assert (document["state"], document["at_ms"], document["word_ms"]) == ("online", NOW_MS, NOW_MS)
    assert (document["word"]["waiting"], document["word"]["ports"][0]["path"]) == (7, "/dev/a")


def test_what_was_dropped_is_written_down_once(store):
    assert heard(store, word(dropped=256, said="")) == [("bridge-dropped", 256, 256)]
    assert heard(store, word(dropped=256)) == []
    assert heard(store, word(dropped=300), word(dropped=310)) == [
        ("bridge-dropped", 44, 300),
        ("bridge-dropped", 10, 310),
    ]


def test_a_new_spool_counts_anew(store):
    heard(store, word(dropped=500))
    assert heard(store, word(dropped=20)) == [("bridge-dropped", 20, 20)]


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"online", b"[]", b"{}", word(v=2), word(waiting=-1), word(dropped=10**30), word(said="x" * 401),
        word(ports=[{"path": "p", "open": True}] * 65), b"\xff", b"[" * 10_000, b" " * 70_000,
    ],
)  # fmt: skip
def test_what_is_no_word_is_set_aside(payload):
    admitted = Admitted()
    Admission(SITE).admit(TOPIC, payload, NOW_MS, admitted)
    assert [item.reason_kind for item in admitted.quarantined] == ["bridge-state"]
    assert admitted.words == []


def test_keys_of_a_later_program_are_passed_over():
    assert read_word(word(more="x", waiting=3)).waiting == 3
