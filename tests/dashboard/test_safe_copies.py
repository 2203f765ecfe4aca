"""The Data page tells how old the last good copy is, and never lets a failed one look like a good one."""

import pytest

from dashboard.safe_copies import copy_figures, copy_warning

HOUR = 3_600_000
NOW = 1_790_000_000_000


def document(good_h=None, failed_h=None):
    made = {}
    if good_h is not None:
        made["good"] = {"wall_ms": NOW - good_h * HOUR, "folder": "/media/copies", "bytes": 5_000_000, "head_seq": 1204}
    if failed_h is not None:
        made["failed"] = {"wall_ms": NOW - failed_h * HOUR, "said": "/media/copies is not there."}
    return made


@pytest.mark.parametrize(
    ("found", "simulated", "said"),
    [
        (document(), False, "No safe copy of the store has been made yet"),
        (document(), True, ""),
        (document(failed_h=1), False, "The last try said: /media/copies is not there."),
        (document(failed_h=1), True, "The last try said: /media/copies is not there."),
        (document(good_h=20), False, ""),
        (document(good_h=49), False, "The last safe copy is 2 days old"),
        (document(good_h=20, failed_h=1), False, "The last safe copy failed; the one before is 20 h old"),
        (document(good_h=1, failed_h=20), False, ""),
        (document(good_h=70, failed_h=1), False, "/media/copies is not there."),
        (document(good_h=-5), False, "from the future"),
    ],
)
def test_when_it_warns(found, simulated, said) -> None:
    warning = copy_warning(found, NOW, simulated=simulated)
    assert bool(warning) == bool(said)
    assert said in warning


def test_figures() -> None:
    assert copy_figures({}, NOW) == [("Last good copy", "none")]
    figures = dict(copy_figures(document(good_h=20, failed_h=1), NOW))
    assert figures["Last good copy"] == "20 h ago"
    assert figures["Last try"] == "failed 1 h ago"
    assert "Last try" not in dict(copy_figures(document(good_h=1, failed_h=20), NOW))
