"""Texts of forecasts, of what a unit is good for and of the charts that show it, ready to be translated."""

from __future__ import annotations

from typing import Final

# -- forecasts: a range is nine chances in ten ------------------------------------------------------------------------
REACHED: Final = "reached"
NOT_FORESEEN: Final = "not within 30 days"
ANY_TIME: Final = "at any time"
BY_NOW: Final = "any moment now"
ABOUT: Final = "about"


def within(time: str) -> str:
    """From now on, at the latest then."""
    return f"within {time}"


def or_later(time: str) -> str:
    """Not before then, perhaps never."""
    return f"{time} or later"


def about(time: str) -> str:
    """A range whose ends are the same once they are rounded."""
    return f"{ABOUT} {time}"


def between(first: str, last: str) -> str:
    """A range by the clock."""
    return f"between {first} and {last}"


def from_on(first: str) -> str:
    """A range without an end."""
    return f"from {first} on"


# -- the capacity panel -----------------------------------------------------------------------------------------------
CAPACITY: Final = "Capacity"
CAPACITY_PLACE: Final = (
    "Capacity is not known yet: it is found while the unit runs warmed up with purity and flow measured."
)
GOOD_FOR_NOTHING: Final = "Holds no flow at acceptable purity: do not use it."
CHANGE_OVER_FIRST: Final = "Do not turn it up: change over first."
NOTHING_ABOVE: Final = "above that nothing is known"
CHECK_AT_RATED: Final = "Check it at rated flow with a calibrated analyser."
NOTHING_FORESEEN: Final = "no limit within 30 days, as far as can be seen"
STILL_OLD: Final = "Nobody can say from here how it is now: look at the unit itself."
NEVER_TURN_UP: Final = (
    "Never turn a flow up on the strength of this table: follow the order and the ward's protocol, and check purity at "
    "the new flow with a calibrated analyser."
)
TURNED_UP: Final = ("If set to", "amber", "red", "switch-off")
AS_NOW: Final = ", as now"
AS_BEFORE: Final = ", as before the flow was changed"
UNSEEN_TABLE: Final = "Above the proven flow this is what was believed before, not what is seen."
LIKELY: Final = "Likely cause"
STEADY: Final = "steady"


def will_not_hold(flow: str) -> str:
    """Said where more is in use than the unit is good for."""
    return f"It will not hold the {flow} L/min in use."


def good_for(flow: str, rated: str) -> str:
    """What a unit will hold, when that is less than it is rated for."""
    return f"Good for up to {flow} L/min of its rated {rated}."


def good_for_rated(rated: str) -> str:
    """Said of a unit that holds what it should."""
    return f"Good for its rated {rated} L/min."


def outlook(flow: str, parts: list[str], since: str = AS_NOW) -> str:
    """When limits will be reached at the flow in use, or at the one that was until it was changed."""
    return f"At {flow} L/min{since}: {', '.join(parts) or NOTHING_FORESEEN}."


def was_expected(flow: str, parts: list[str]) -> str:
    """The last forecast of a unit that has fallen silent, by the clock."""
    return f"At {flow} L/min it was expected to reach {', '.join(parts)}."


def unseen_at(flow: str) -> str:
    """Why there is no band."""
    return f"Capacity cannot be seen at {flow} L/min: purity is the same at any capacity above that."


def as_of(when: str) -> str:
    """Stands before what is old."""
    return f"As of {when}, not now:"


def off_since(when: str) -> str:
    """Why an estimate is old."""
    return f"The unit has been off since {when}."


def not_renewed(when: str) -> str:
    """Why an estimate is old though readings come."""
    return f"Not renewed since {when}: the unit is not running warmed up, or purity or flow are not measured."


NO_CAPACITY_YET: Final = "No capacity on record in this span: a point is kept for every hour in which the unit ran."
SPAN_NAMES: Final = {
    "hour": "Hour", "day": "Day", "week": "Week", "month": "Month", "year": "Year", "3 years": "3 years",
}  # fmt: skip
UP_TO_HELP: Final = "Empty: up to now. A day: the charts end with it, however long ago it was."
AND_FAR: Final = "; in part from the InfluxDB"


def far_away(said: str) -> str:
    """Over a chart of which the store here no longer holds the fine grain, when it cannot be had from afar either."""
    return f"Shown is only what the store here still holds: {said.rstrip('.')}."


FAN_CAPTION: Final = (
    "After “now”: when each limit is reached if the flow stays (wedge and bars: nine chances in ten; dashed, tick: "
    "as likely before as after)."
)


def beyond_span(said: str) -> str:
    """Why no forecast is drawn though there is one."""
    return f"By forecast: {said}. Choose a longer span to see it drawn."


def span_name(span: str) -> str:
    """A span of the charts, as a choice."""
    return SPAN_NAMES.get(span.lower(), span)


def falls(size: str) -> str:
    """How fast capacity falls."""
    return f"falls {size}"


def rises(size: str) -> str:
    """How fast capacity rises."""
    return f"rises {size}"
