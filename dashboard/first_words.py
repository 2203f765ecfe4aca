"""Words of the first use: from an empty hospital to the first live unit and a tried alarm."""

from __future__ import annotations

from typing import Final

from collector.tongue import plural

PAGE: Final = "First use"
INTRO: Final = (
    "From nothing to the first live unit. Stop whenever you like: what is done is in the site file and in the record, "
    "and this page goes on from there."
)
COMPLETE: Final = "All steps are done. What comes later is on the pages themselves."
TITLES: Final = {
    "hospital": "The hospital", "wards": "Wards", "models": "Models", "units": "Units", "bridge": "A bridge",
    "people": "People", "test": "A test alarm",
}  # fmt: skip
WHY: Final = {
    "hospital": "Its name stands on every screen; times are told in its time zone, signals in its language.",
    "wards": "An alarm goes to the ward in which the unit stands.",
    "models": "A model holds the limits by which its units are judged.",
    "units": "Each concentrator that is to be watched has a name of its own, best the one on its label.",
    "bridge": "A bridge is a small computer that reads units over serial lines and sends what they say.",
    "people": "Whoever acknowledges or repairs signs in under a name of their own; messages reach those who are named.",
    "test": "Until an alarm has been tried nobody knows whether it arrives.",
}
DONE: Final = "done"
TO_DO: Final = "to do"
LATER: Final = "may wait"


def heading(number: int, title: str, state: str) -> str:
    """One step."""
    return f"{number} · {title} · {state}"


def progress(done: int, steps: int) -> str:
    """How far it has come."""
    return f"{done} of {steps} steps are done."


def board(done: int, steps: int) -> str:
    """Said on the board, as a link to the page."""
    return f"First use: {done} of {steps} steps are done. Go on"


EMPTY_BOARD: Final = "No unit is watched yet."
NOT_YOURS: Final = "For an administrator. Ask one, or sign in as one."
NOT_YOURS_UNITS: Final = "For an engineer or an administrator. Ask one, or sign in as one."
FIRST_THAT: Final = "First the steps above: there is nothing to choose from yet."
NO_SITE: Final = "The collector has not told its site file yet. Start it: sieveward collect --site SITE.toml --new ID"

# -- what was asked for -----------------------------------------------------------------------------------------------


def waiting(count: int) -> str:
    """Changes that the collector has not made yet."""
    return plural("{count} change waits for the collector.", "{count} changes wait for the collector.", count)


WAITS_LONG: Final = "It waits until the collector runs: nothing is lost."


def refused(said: str) -> str:
    """The collector did not make a change."""
    return f"Not made: {said}"


def made(count: int) -> str:
    """The collector made what was asked for."""
    return plural("Written into the site file.", "{count} changes written into the site file.", count)


def no_id(name: str) -> str:
    """A name of which no id can be made."""
    return f"“{name}” has no letter a to z and no digit for an id. Write one that has."


def id_taken(name: str) -> str:
    """An id that is there already."""
    return f"There is “{name}” already. Choose another name."


# -- the hospital -----------------------------------------------------------------------------------------------------
NAME: Final = "Name of the hospital"
ZONE: Final = "Time zone"
LANGUAGE: Final = "Language of signals and messages"
ALTITUDE: Final = "Height above sea level, m"
ALTITUDE_HELP: Final = "Some analysers read partial pressure, and need it. 0 where none does."
SAVE: Final = "Save"
NAME_MISSING: Final = "Give the hospital a name."
NOTHING_NEW: Final = "That is what the site file says already."

# -- wards ------------------------------------------------------------------------------------------------------------
WARD_NAMES: Final = "Names of wards, one a line"
ADD_WARDS: Final = "Add wards"
THERE: Final = "There already"

# -- models -----------------------------------------------------------------------------------------------------------
MODEL_NAME: Final = "Model, as the units' manual calls it"
RATED: Final = "Rated flow, L/min"
RATED_HELP: Final = "The highest flow that the manual allows. Above it a unit is told as overdrawn."
AMBER: Final = "Amber, % oxygen"
AMBER_HELP: Final = "Under it the unit is looked at. 85 %: common practice, no source. The manual overrides it."
RED: Final = "Red, % oxygen"
RED_HELP: Final = (
    "Under it the ward changes over. 82 % (v/v): low-oxygen alarm point of WHO's technical specifications (2015) and "
    "of ISO 80601-2-69. The manual overrides it."
)
SHUTDOWN: Final = "Switch-off, % oxygen"
SHUTDOWN_HELP: Final = "Where the unit switches itself off. 70 %: common practice, no source. The manual overrides it."
WARM_UP: Final = "Warm-up, min"
WARM_UP_HELP: Final = "Purity is not judged before. 90 % of the rise within 10.5 min: Johns et al., Thorax 1985;40:806."
ADD_MODEL: Final = "Add the model"
ORDER: Final = "Limits must rise: switch-off, then red, then amber."

# -- units ------------------------------------------------------------------------------------------------------------
UNIT: Final = "Name of the unit, or of the first of several"
UNIT_HELP: Final = "Several are counted on: bed-01 and ten are bed-01 to bed-10. Small letters, digits, hyphens."
COUNT: Final = "How many alike"
MODEL: Final = "Model"
WARD: Final = "Ward"
NO_WARD: Final = "in no ward yet"
SERIAL: Final = "Serial number (of one unit)"
ADD_UNITS: Final = "Add"
UNIT_MISSING: Final = "Give the unit a name."


def units_there(count: int) -> str:
    """How many units the site file names."""
    return plural("{count} unit is in the site file.", "{count} units are in the site file.", count)


# -- a bridge ---------------------------------------------------------------------------------------------------------
BRIDGE_NAME: Final = "Name of the bridge"
PLACE: Final = "Where it stands"
BEHIND: Final = "Units that it reads"
ADD_BRIDGE: Final = "Add the bridge"
ITS_FILE: Final = "The bridge's file"
BRIDGE: Final = "Bridge"
PROFILE: Final = "What the units' lines look like"
PROFILE_HELP: Final = "Where none fits, `sieveward bridge --learn PORT` listens to a unit and proposes a profile."
PORT: Final = "Serial port on the bridge"
BAUD: Final = "Speed, baud"
BROKER: Final = "The broker, as the bridge reaches it"
BROKER_HELP: Final = "HOST:PORT. 127.0.0.1 is right only where the bridge runs on the broker's own machine."
DOWNLOAD: Final = "Download the file"
NO_UNITS: Final = "Choose the units that it reads."
SHARED: Final = "Several units speak on this line: write left of each unit what the line calls it."
HOW_TO: Final = (
    "Put the file on the bridge, and run there what follows. --learn shows whether the unit speaks; the last line is "
    "the bridge itself."
)
ACCOUNT_HOW: Final = (
    "This broker lets nobody in without an account: the first line, on the broker's machine, makes one for this "
    "bridge. Bring the account's file and ca.crt to the bridge, beside the bridge's file."
)
ONLINE: Final = "The bridge has reached the broker."
NOT_ONLINE: Final = "The bridge has not been heard yet."
NONE_HEARD: Final = "No unit has been heard yet. As soon as one is, it stands here and as a tile on the board."


def heard(units: str) -> str:
    """Units that were heard."""
    return f"Heard: {units}. It works."


def more_heard(count: int) -> str:
    """Further units that were heard."""
    return plural("and {count} more unit", "and {count} more units", count)


# -- people -----------------------------------------------------------------------------------------------------------
PEOPLE_HOW: Final = (
    "Accounts and links for ward screens are made on the page [People](./people). Whom messages reach stands in the "
    "messages file (INSTALL.md, “Messages”)."
)

# -- a test alarm -----------------------------------------------------------------------------------------------------
TEST_HOW: Final = (
    "It says TEST - NO ALARM wherever it is seen, for five minutes, beside whatever is real. Tell the wards first."
)
SEND: Final = "Send the test"
SENDING: Final = "The test is on its way. Leave this page open until it is done."
SENT: Final = "The test is over."
STATES: Final = {"arrived": "Arrived", "dead": "DEAD", "not-set-up": "Not tried"}
WAYS: Final = {"journal": "Journal", "screens' data": "Data of the screens", "messages": "Messages",
               "dashboard": "Dashboard", "signals": "Signals to wards' own screens"}  # fmt: skip
COLUMNS: Final = ("Way", "What came", "After", "Said")
NO_EAR: Final = (
    "This dashboard has no account at the broker. `sieveward check --live` tries these, and so does this page once the "
    "dashboard is started with --account."
)
EYES: Final = "Now look with your own eyes: each ward's screen shows TEST - NO ALARM."


def signal_to(ward: str) -> str:
    """A ward's signal, as a way."""
    return f"Signal to {ward}"


def message_by(way: str) -> str:
    """A way of messages."""
    return f"Message by {way}"


def seconds(took: str) -> str:
    """How long it took."""
    return f"{took} s"
