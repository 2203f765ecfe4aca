"""One moment told in several lines becomes one reading."""

from collector.bridge.gather import Gather
from collector.reading import Reading


def turns(gather, *turns):
    """What is whole at each moment: (seconds, readings that came then)."""
    return [[(r.unit, r.time_ms, r.purity_pct, r.flow_lpm) for r in gather.turn(came, now_s)] for now_s, came in turns]


def purity(value, time_ms=1000, unit="u1"):
    return Reading(unit, time_ms, purity_pct=value)


def flow(value, time_ms=1000, unit="u1"):
    return Reading(unit, time_ms, flow_lpm=value)


def test_lines_within_the_time_are_one_reading_at_the_first_ones_time():
    found = turns(Gather(1.0, own_time=False), (0, [purity(93.4)]), (0.5, [flow(4.9, 1500)]), (0.9, []), (1.0, []))
    assert found == [[], [], [], [("u1", 1000, 93.4, 4.9)]]


def test_what_is_said_again_begins_the_next_reading():
    gather = Gather(5.0, own_time=False)
    found = turns(gather, (0, [purity(93.4)]), (1, [purity(93.5, 2000), flow(4.9, 2010)]))
    assert found == [[], [("u1", 1000, 93.4, None)]]
    assert gather.until_s() == 6.0


def test_with_times_of_their_own_only_lines_of_one_time_belong_together():
    found = turns(Gather(5.0, own_time=True), (0, [purity(93.4), flow(4.9)]), (1, [flow(4.8, 2000)]))
    assert found == [[], [("u1", 1000, 93.4, 4.9)]]


def test_units_are_kept_apart_and_nothing_held_means_nothing_due():
    gather = Gather(1.0, own_time=False)
    found = turns(gather, (0, [purity(93.4), flow(3.0, unit="u2")]), (1, []))
    assert sorted(found[1]) == [("u1", 1000, 93.4, None), ("u2", 1000, None, 3.0)]
    assert gather.until_s() == float("inf")
