"""Banners: what is wrong is said in words over every screen."""

import msgspec
import pytest

from dashboard.freshness import HEARTBEAT_MS, banners, heartbeat_age_ms
from dashboard.tiles import strip_html
from tests.dashboard.test_board import NOW, now_of, row


def said(known, wall_ms=NOW):
    return [(banner.lost, banner.text.partition(".")[0]) for banner in banners(known, wall_ms)]


def test_nothing_is_said_while_all_is_live():
    assert said(now_of([row()])) == []


@pytest.mark.parametrize(("heard_s", "lost"), [(15, False), (15.001, True), (-15.001, True)])
def test_a_heartbeat_counts_for_fifteen_seconds_of_the_wall_clock(heard_s, lost):
    assert bool(said(now_of([row()], heard_s=heard_s))) == lost


def test_a_lost_collector_is_named_with_how_long():
    assert said(now_of([row()], heard_s=200)) == [
        (True, "NOT LIVE: the collector has not been heard for 3 min"),
    ]


def test_without_the_wall_time_facility_time_is_divided_by_its_speed():
    known = now_of([row()], heard_s=10, speed=60.0)
    assert known.collector is not None
    known = msgspec.structs.replace(known, collector=msgspec.structs.replace(known.collector, wall_ms=None))
    assert heartbeat_age_ms(known, NOW) == 10_000 < HEARTBEAT_MS


def test_a_collector_without_a_broker_says_which_and_why():
    known = now_of([row()], broker="127.0.0.1:1883", broker_state="refused", broker_said="not authorised")
    assert said(known)[0][1] == "NO NEW READINGS: the collector is refused by the broker 127"
    known = now_of([row()], broker="b:1", broker_state="connecting")
    assert said(known) == [(True, "NO NEW READINGS: the collector has no connection to the broker b:1")]


def test_a_store_that_cannot_be_written_is_said():
    known = now_of([row()], store_state="full", store_said="The disk is full.")
    assert said(known) == [(True, "NOT LIVE: The disk is full")]


def test_before_the_first_reading_it_waits():
    assert said(now_of([])) == [(False, "Waiting for the collector's first reading")]


def test_a_collector_that_catches_up_says_so():
    assert said(now_of([row()], caught_up=False))[0][1].startswith("The collector is catching up")


def test_who_floods_is_named_and_the_rest_stays_live():
    known = now_of([row()], flooding=({"kind": "unit", "id": "u7", "left_out": 9, "since_ms": NOW},))
    assert said(known)[0][1].startswith("Far too many messages from unit u7: only some are taken in")
    assert said(known)[0][0] is False


def test_what_troubles_the_collector_is_said_in_its_own_words():
    assert said(now_of([row()], troubles=("The store is damaged.",))) == [(False, "The store is damaged")]


def test_simulated_data_are_marked_with_speed_and_time():
    made = strip_html(now_of([row()], speed=60.0), [], NOW, NOW)
    assert "SIMULATED DATA · not a real hospital · clock runs 60x, now 17:13" in made
    real = msgspec.structs.replace(now_of([row()]), facility="lakeside")
    assert "SIMULATED" not in strip_html(real, [], NOW, NOW)
