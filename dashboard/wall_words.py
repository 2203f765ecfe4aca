"""Words of the ward screen, on the page and in the browser's own script; ready to be translated."""

from __future__ import annotations

from typing import Final

from collector.tongue import plural

PRIORITY: Final = {"high": "HIGH", "medium": "MEDIUM", "low": "LOW"}
NOW: Final = "Do now"
CHANGE: Final = "Change to"
LEFT: Final = "Time left"
KNOWS: Final = "Who knows"
NO_TIME_LEFT: Final = "None: no oxygen comes now"
TOO_LOW_NOW: Final = "None: too little oxygen comes now"
LEFT_UNKNOWN: Final = "Not known: nobody can foresee it from here"
NOBODY_TOLD: Final = "No message has gone to anybody yet."
NO_MESSAGES: Final = "No messages are set up: tell people yourselves."
NOT_ACKNOWLEDGED: Final = "Nobody has acknowledged it yet."
CHANGE_UNKNOWN: Final = "No cylinder or spare unit is known to be good: follow the ward's protocol."
WHOLE_WARD: Final = "Whole ward"
OTHERS: Final = "Also"
FOR_OTHERS: Final = "For others"
ALL_WARDS: Final = "All wards"
ACT: Final = "Acknowledge …"
NO_WARD: Final = "There is no ward of this name here."
NO_UNITS: Final = "No unit stands in this ward."
STOOD: Final = "What stood when it was last known"
NO_FLOW: Final = "no flow measured"
READ_ONLY: Final = "This screen only shows."
LOADING: Final = "The ward screen is loading."

#: What the browser says by itself; {…} is filled there.
IN_BROWSER: Final[dict[str, str]] = {
    "dead": "NOT LIVE",
    "deadLong": "This screen has had no news since {when} ({age} s). Nothing here is of now.",
    "look": "Look at the units themselves; the ward's paper checklist applies.",
    "gap": "This screen has missed a part of the news. Load it anew.",
    "stood": STOOD,
    "soundOff": "Sound is OFF. Tap to allow it.",
    "soundBlocked": "Sound is BLOCKED by the browser. Tap to allow it.",
    "soundNone": "NO SOUND: this browser cannot make any.",
    "soundOn": "Sound is on. Tap to hear it.",
    "soundHigh": "Sounding: HIGH",
    "soundMedium": "Sounding: MEDIUM",
    "soundLow": "Sounding: LOW",
    "soundAcked": "Sound is on. Acknowledged: a reminder every {min} min.",
    "soundPaused": "Sound PAUSED here, {left} left",
    "pause": "Pause sound 2 min",
    "themeAuto": "Day or night: by the clock",
    "themeDay": "Day, kept",
    "themeNight": "Night, kept",
}  # fmt: skip


def since(when: str) -> str:
    """When an alert began."""
    return f"since {when}"


def units(names: str) -> str:
    """The units that an alert of a whole ward is about."""
    return f"{WHOLE_WARD}: {names}"


def more(count: int) -> str:
    """How many alerts of a unit or a ward are not written out."""
    return plural("and {count} more alarm", "and {count} more alarms", count)


def silent_since(when: str) -> str:
    """No unit of the ward can be judged."""
    return f"NO READINGS from any unit of this ward since {when}. Look at the units themselves."


NEVER_HEARD: Final = "NO READINGS from any unit of this ward yet. Look at the units themselves."


def last_news(when: str) -> str:
    """When anything was last heard of the ward's units."""
    return f"Last news of this ward's units: {when}."


def units_of(ward: str) -> str:
    """The name of the list of tiles."""
    return f"Units of {ward}"
