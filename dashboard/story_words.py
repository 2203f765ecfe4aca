"""Words of the demo's story; what a kind of fault is called stands here, what happens when in the scenario."""

from __future__ import annotations

from typing import Final

PAGE: Final = "What you are looking at"
NONE: Final = (
    "There is no story to tell here: nobody has started one with `sieveward demo`. What is shown is as it comes."
)
NOT_SIMULATED: Final = "This is a real hospital: nothing here is a story."
INVENTED: Final = (
    "Hospital, units and people are invented, and so is what happens to them. Everything that judges it is real: the "
    "same collector, rules and screens as in a hospital. They know nothing of the story."
)
QUIET: Final = "Nothing is planned to happen: every unit runs well. An alarm would be a false one."
SO_FAR: Final = "So far"
NOTHING_YET: Final = "Nothing has happened yet."
TO_COME: Final = "What is still to come"
TO_COME_HOW: Final = "Closed, for those who would rather be surprised."
NO_MORE: Final = "Nothing more is planned: the story has been told, and the units run on."
COLUMNS: Final = ("When", "Where", "What happens", "What the alarms said")
COLUMNS_TO_COME: Final = ("When", "Where", "What happens")
ALARMS: Final = "All alarms are on the page [Alarms](./alarms); a unit's name leads to its charts."
NOTHING_SAID: Final = "nothing so far"

BEGINS: Final = {
    "sieve-worn": "Its sieve wears out.", "sieve-wet": "Its sieve takes up moisture.",
    "intake-blocked": "Its intake clogs.", "valve-fault": "One of its valves fails.",
    "compressor-weak": "Its compressor grows weak.", "leak": "It leaks inside.", "supply-sag": "The voltage sinks.",
    "supply-cut": "The power fails.", "overdraw": "It is turned up above its rated flow.",
    "flow-change": "Its flow is changed.", "tube-blocked": "Its tube is blocked.",
    "sensor-stuck": "One of its sensors sticks at one value.",
    "sensor-spike": "One of its sensors gives single wrong values.", "sensor-drift": "One of its sensors drifts.",
    "clock-offset": "Its clock goes wrong.", "meter-reset": "Its hour meter is reset.",
    "unit-switched-off": "It is switched off.", "unit-switched-on": "It is switched on.",
    "bridge-silent": "The bridge falls silent. Its units run on, and nobody can see them.",
}  # fmt: skip
ENDS: Final = {
    "supply-sag": "The voltage is as it should be again.", "supply-cut": "The power is back.",
    "overdraw": "It is turned down again.", "flow-change": "Its flow is as before.",
    "tube-blocked": "Its tube is free.", "sensor-stuck": "The sensor measures again.",
    "sensor-spike": "The sensor is right again.", "sensor-drift": "The sensor is right again.",
    "clock-offset": "Its clock is right again.", "meter-reset": "Its hour meter is as before.",
    "unit-switched-off": "It is switched on again.", "unit-switched-on": "It is switched off again.",
    "bridge-silent": "The bridge is heard again.",
}  # fmt: skip
REPAIRED: Final = "It is put right."
SOMETHING: Final = "Something happens to it."


def slowly(what: str, lasts: str) -> str:
    """Something that grows."""
    return f"{what} More and more, over {lasts}."


def from_before(when: str) -> str:
    """A beginning before the story's own."""
    return f"since {when}"


def bridge(name: str) -> str:
    """Where something happens to a bridge."""
    return f"bridge {name}"


def ward(title: str) -> str:
    """Where something happens to a whole ward."""
    return f"ward {title}"


def alarm(title: str, when: str) -> str:
    """An alarm that still stands, or whose end is not told."""
    return f"{title}, {when}"


def alarm_over(title: str, when: str, until: str) -> str:
    """An alarm that is over."""
    return f"{title}, {when} to {until}"


def clock(now: str, end: str) -> str:
    """Where in the story it is."""
    return f"At the hospital it is {now}; the story ends at {end}."


def ended(now: str, end: str) -> str:
    """The story is over."""
    return f"At the hospital it is {now}; the story ended at {end}."
