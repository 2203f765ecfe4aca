"""Forecasts and the course of capacity as charts."""

import json
from zoneinfo import ZoneInfo

import vl_convert

from collector.site import Model
from dashboard.charts import local_times
from dashboard.course import course_frame, course_layers, with_now
from dashboard.fan import cut, fan_layers, fan_of, until_of
from dashboard.times import DAY, HOUR, MINUTE
from tests.dashboard import estimates as made

NOW = 1_790_000_000_000
NAIROBI = ZoneInfo("Africa/Nairobi")
MODEL = Model(id="five")


def drawn(layered):
    return json.loads(layered.to_json())


def test_a_fan_has_a_level_for_each_limit_that_is_still_ahead():
    fan = fan_of(made.falling(NOW), 92.0, MODEL)
    assert fan is not None
    assert [(level.limit.text, level.limit.value) for level in fan.levels] == [
        ("amber", 85.0), ("red", 82.0), ("switch-off", 70.0),
    ]  # fmt: skip
    assert (fan.levels[0].early_ms - NOW, fan.levels[2].late_ms - NOW) == (190 * MINUTE, 1150 * MINUTE)
    assert fan.levels[0].said == "amber in 3 to 9 h"
    under_amber = fan_of(made.falling(NOW), 83.0, MODEL)
    assert under_amber is not None
    assert [level.limit.text for level in under_amber.levels] == ["red", "switch-off"]


def test_no_fan_without_a_forecast_or_without_purity():
    assert fan_of(made.seen(NOW), 93.0, MODEL) is None  # nothing within 30 days
    assert fan_of(made.unseen(NOW), 93.0, MODEL) is None
    assert fan_of(made.falling(NOW), None, MODEL) is None
    assert fan_of(None, 93.0, MODEL) is None
    assert fan_of(made.failed(NOW), 65.0, MODEL) is None


def test_a_limit_that_may_never_be_reached_is_open_to_the_forecast_s_end():
    open_end = made.outlook(4.0, (60.0, None, None))
    fan = fan_of(made.falling(NOW, outlook=open_end), 92.0, MODEL)
    assert fan is not None
    (level,) = fan.levels
    assert (level.middle_ms, level.late_ms - NOW) == (None, 30 * DAY)
    layers = fan_layers(fan, NOW, NOW + 4 * HOUR, NAIROBI, dark=False)
    assert len(layers) == 6


def test_nothing_of_a_fan_goes_beyond_the_axis():
    """Each view finds the ends of its axis in its data: a fan that goes on would shift this one against the others."""
    fan = fan_of(made.falling(NOW, outlook=made.outlook(4.0, (90.0, None, None), (300.0, None, None))), 92.0, MODEL)
    assert fan is not None
    until_ms = NOW + HOUR * 3
    latest = local_times([until_ms], NAIROBI)[0]
    for layer in fan_layers(fan, NOW, until_ms, NAIROBI, dark=False):
        for name in {"time", "early", "late", "middle"} & set(layer.data.columns):
            assert not (layer.data[name] > latest).any(), name


def test_a_fan_is_cut_where_its_edges_cross_the_end():
    """From 90 % now to 70 % in 2 to 8 h: after 4 h the late edge is at 80 %, the early one is there already."""
    assert cut([(90.0, 0, 0), (70.0, 2, 8)], 4) == [(90.0, 0, 0), (80.0, 1.0, 4.0), (70.0, 2, 4)]
    assert cut([(90.0, 0, 0), (70.0, 8, 16)], 4) == [(90.0, 0, 0), (85.0, 2.0, 4.0), (80.0, 4.0, 4)]


def test_levels_that_begin_at_one_moment_are_not_stacked():
    at_once = made.outlook(4.0, (0.0, 9.0, 60.0), (60.0, 90.0, 120.0))
    fan = fan_of(made.falling(NOW, outlook=at_once), 85.1, MODEL)
    assert fan is not None
    wedge = drawn(fan_layers(fan, NOW, NOW + 4 * HOUR, NAIROBI, dark=False)[0])
    vega = json.dumps(vl_convert.vegalite_to_vega(wedge))
    assert '"type": "stack"' not in vega
    assert '"type": "area"' in vega


def test_a_chart_goes_on_as_far_as_its_fan_but_no_further_ahead_than_back():
    fan = fan_of(made.falling(NOW), 92.0, MODEL)
    assert until_of(fan, NOW, HOUR) == 0  # amber is three hours off
    assert until_of(fan, NOW, 4 * HOUR) == NOW + 4 * HOUR
    latest = NOW + 1150 * MINUTE
    assert latest < until_of(fan, NOW, 2 * DAY) < latest + 3 * HOUR
    assert until_of(None, NOW, DAY) == 0


# -- the course of capacity ----------------------------------------------------------------------------------------


def test_what_was_not_seen_has_no_middle_and_stands_apart():
    table = course_frame(made.course("u1", NOW, 300), NAIROBI)
    hidden = table[~table["seen"]]
    assert hidden["middle"].isna().all()
    assert table["part"].nunique() == 3
    assert set(hidden["part"]) == {1}


def test_band_and_line_break_at_a_gap_and_a_lone_hour_is_drawn():
    points = made.course("u1", NOW, 100)
    table = course_frame([*points[:20], points[40], *points[60:]], NAIROBI)
    lone = table[table["lone"]]
    assert list(lone["time"]) == list(local_times([points[40].hour_ms], NAIROBI))


def test_now_is_the_last_point_and_is_not_said_twice():
    points = made.course("u1", NOW, 5)
    found = made.seen(NOW)
    assert [p.hour_ms for p in with_now(points, found, "u1")] == [*(p.hour_ms for p in points), NOW]
    assert with_now(points, None, "u1") == points
    assert [p.p50_lpm for p in with_now([], found, "u1")] == [6.0]
    assert with_now(points, made.seen(points[-1].hour_ms), "u1") == points


def test_rated_flow_flow_in_use_and_proven_are_drawn_in():
    layers = course_layers(course_frame(made.course("u1", NOW, 700), NAIROBI), 5.0, 4.0)
    text = json.dumps([layer.to_dict() for layer in layers])
    for part in ("rated 5 L/min", "in use 4.0 L/min", "proven"):
        assert f'"{part}"' in text, part


def test_without_any_capacity_there_is_still_a_view():
    assert course_layers(course_frame([], NAIROBI), 5.0, None)
