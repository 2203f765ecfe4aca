"""Every text of the screens that is more than a label in one place; plain and short, ready to be translated."""

from __future__ import annotations

from typing import Final

from collector.tongue import plural

PRODUCT: Final = "sieveward"
CAUTION: Final = (
    "Watches machines, not patients. The unit's own alarm, pulse oximetry and the ward's protocol stay primary."
)

# -- screens ----------------------------------------------------------------------------------------------------------
PAGE_BOARD: Final = "Ward board"
PAGE_UNIT: Final = "Unit"
PAGE_ALARMS: Final = "Alarms"
PAGE_DATA: Final = "Data"
PAGE_ABOUT: Final = "About"

# -- what a tile says -------------------------------------------------------------------------------------------------
RUNNING: Final = "Running"
WARMING_UP: Final = "Warming up"
OFF: Final = "Off"
NO_DATA_YET: Final = "No data yet"
NOT_USED: Final = "Out of service"
NOT_MEASURED: Final = "–"
HELD: Final = "Alarm put aside"
WAS_THERE: Final = "Was there, not acknowledged"
PRIORITY: Final = {"high": "High", "medium": "Medium", "low": "Low"}


def no_data_since(when: str) -> str:
    """Said of a unit whose last reading is too old to say anything."""
    return f"No data since {when}"


def proven(flow: str, day: str = "") -> str:
    """What a unit has lately been seen to hold, and when."""
    return f"proven to {flow} L/min{f', {day}' if day else ''}"


NOT_PROVEN: Final = "no flow proven"
AGE: Final = "age of its last reading"


def acknowledged_by(who: str, role: str, when: str) -> str:
    """Who knows, and since when."""
    return f"Acknowledged: {who}{f' ({name_of(role)})' if role else ''}, {when}"


def for_others(audience: tuple[str, ...]) -> str:
    """Stands before an instruction that is not for the ward."""
    return f"For the {name_of(audience[0])}: " if audience and "ward" not in audience else ""


def bridge_gone(bridge: str) -> str:
    """Stands after an instruction when several units fell silent as a bridge went."""
    return f" The link of {bridge} went at that time."


def more_alarms(count: int) -> str:
    """Said when a unit has more alarms than the one shown."""
    return plural("and {count} more alarm", "and {count} more alarms", count) if count else ""


def good_to(flow: str) -> str:
    """Said of a unit that holds less than its rated flow, where it stands: before anybody turns it up."""
    return f"good to {flow} L/min; do not turn up"


def good_to_only(flow: str) -> str:
    """Said of a unit that will not hold even the flow in use."""
    return f"good to {flow} L/min only"


def was_good_to(flow: str) -> str:
    """Said of a unit whose data are old."""
    return f"was good to {flow} L/min only"


HOLDS_NOTHING: Final = "holds no flow"


def shut_off_expected(when: str) -> str:
    """A forecast that the unit will switch itself off."""
    return f"Shut-off expected {when}"


def red_expected(when: str) -> str:
    """A forecast that the unit's output will be very low, where no switch-off is foreseen."""
    return f"Very low output expected {when}"


def under_red(red: str, when: str) -> str:
    """When output will be very low, where the unit will go on for a while after that."""
    return f"Under {red} % {when}"


#: Names of roles and states as the record writes them.
NAMES: Final = {
    "ward": "ward", "engineer": "engineer", "planner": "planner", "administrator": "administrator",
    "normal": "normal", "unacknowledged": "not acknowledged", "acknowledged": "acknowledged",
    "returned-unacknowledged": "gone, not acknowledged", "shelved": "put aside", "suppressed": "held back",
    "out-of-service": "out of service", "no-data": "no data",
    "connected": "connected", "refused": "refused", "good": "good", "failed": "failed", "full": "full",
    "online": "connected", "offline": "cut off",
}  # fmt: skip


def name_of(name: str) -> str:
    """A role or state in words."""
    return NAMES.get(name, name.replace("-", " "))


def to_return(unit: str) -> str:
    """A unit that is out of service, as a choice."""
    return f"{unit} (return)"


# -- the strip above every screen -------------------------------------------------------------------------------------
def simulated_mark(speed: float, now: str) -> str:
    """Stands on every screen of a simulated facility."""
    runs = f"clock runs {speed:g}x, " if speed != 1 else ""
    return f"SIMULATED DATA · not a real hospital · {runs}now {now}"


WAITING: Final = "Waiting for the collector's first reading."
WAITING_HOW: Final = "Start it with `sieveward collect`, or look whether it says why it cannot start."
EMPTY_SITE: Final = "The site file names no unit yet. The page “First use” leads to the first one."
NO_UNIT: Final = "There is no unit of this name here. Choose one."
NO_WARD: Final = "There is no ward of this name here. All wards are shown."
LOOK_AT_UNITS: Final = "Look at the units themselves; the ward's paper checklist applies."


#: Said by the browser itself, which fills in {age}.
SCREEN_LOST: Final = "NOT LIVE: this screen has had no news for {age} s. Look at the units themselves."


def collector_lost(age: str) -> str:
    """The collector's heartbeat is too old."""
    return f"NOT LIVE: the collector has not been heard for {age}. What it last said is old. {LOOK_AT_UNITS}"


COLLECTOR_CLOCK: Final = (
    "NOT LIVE: the collector's clock and this machine's differ, so nobody can tell how old the data are. "
    f"{LOOK_AT_UNITS}"
)
COLLECTOR_NEVER: Final = f"NOT LIVE: no collector has reported here yet. {LOOK_AT_UNITS}"


def no_broker(broker: str, state: str, said: str) -> str:
    """The collector lives but gets nothing."""
    what = "is refused by" if state == "refused" else "has no connection to"
    said = f" ({said})" if said else ""
    return f"NO NEW READINGS: the collector {what} the broker {broker}{said}. {LOOK_AT_UNITS}"


def store_fault(said: str) -> str:
    """The store cannot be read or written."""
    return f"NOT LIVE: {said} {LOOK_AT_UNITS}"


WORKING: Final = "Working it out …"
FLOODING: Final = "Far too many messages from {}: only some are taken in; others are not affected. Look at the sender."
CATCHING_UP: Final = "The collector is catching up with readings that the broker kept. Alarms may follow."
NO_SITE: Final = "The collector has not told its site file, so wards and limits are not known here."
CALM: Final = "Nothing needs attention."
DOUBT: Final = "No alarm, but not every unit can be judged."
LEFT_OVER: Final = "No alarm now; some are put aside or were not acknowledged."
WITHOUT_DATA: Final = "without data"
OLD: Final = "What is shown is old."
PURITY_UNKNOWN: Final = "Runs, purity not measured"


def alarms_now(counts: dict[str, int]) -> str:
    """How many alarms speak, by priority."""
    parts = [f"{count} {name}" for name, count in counts.items() if count]
    return f"{sum(counts.values())} to attend to: {', '.join(parts)}"


def unit_counts(counts: dict[str, int]) -> str:
    """How many units are in which state, in the order given."""
    return " · ".join(f"{count} {word.lower()}" for word, count in counts.items() if count)


# -- actions ----------------------------------------------------------------------------------------------------------
NAME_FIRST: Final = "Write your name first: the record says who knew and who acted."
REASON_FIRST: Final = "Write a reason: whoever reads the record needs it."
SERVICE_ROLES: Final = "Taking a unit out of service and returning it is for an engineer or an administrator."
OUT_FOR: Final = {"repair": "a repair or in doubt: it returns after a passed check", "store": "not needed now"}
OVERRIDE: Final = "Return without what is missing (administrator; the reason stays on record)"

FOLDED_SOON: Final = "The collector takes it up within seconds."
FOLDED_LATER: Final = "The collector is not running: it takes effect when it runs again."


def gate_shut(unit: str, why: str, way_out: str) -> str:
    """Why a unit stays out of service, and what to do."""
    return f"{unit} stays out of service: {why}. {way_out} Or an administrator overrides it with a reason."


# -- causes -----------------------------------------------------------------------------------------------------------
CAUSE_TITLES: Final = {
    "flow-above-rated": "more flow than the unit is rated for", "sieve-worn": "worn sieve", "sieve-wet": "wet sieve",
    "intake-blocked": "blocked intake or filter", "valve-fault": "valve fault", "compressor-weak": "weak compressor",
    "supply-voltage-low": "low supply voltage", "leak": "leak", "sensor-fault": "the sensor, not the unit",
    "unknown": "not known",
}  # fmt: skip
