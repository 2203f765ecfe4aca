"""The screen of the alarm analysis in each state."""

import pytest

from tests.dashboard.conftest import seen


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_what_came_most_and_how_soon_it_was_answered(screen, bad_hour, status):
    bad_hour.say(**status)
    said = seen(screen("review"))
    assert "Most frequent" in said
    assert "Unit output very low" in said
    assert "Until somebody acknowledged" in said
    assert ("NOT LIVE" in said) == bool(status)


def test_alarms_of_the_engineer_are_shown_alone(screen, bad_hour):
    app = screen("review")
    next(one for one in app.segmented_control if one.label == "Told to").set_value("engineer").run()
    said = seen(app)
    assert "No power in the ward" in said
    assert "Flow above rated" not in said


def test_a_calm_hospital_and_an_empty_one(screen, hospital):
    hospital(units=1)
    assert "No alarm was told" in seen(screen("review"))


def test_an_empty_hospital(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    assert "No alarm was told" in seen(screen("review"))
