"""Every text of the screens that is more than a label in one place; plain and short, ready to be translated."""

from __future__ import annotations

from typing import Final

PRODUCT: Final = "sieveward"
CAUTION: Final = (
    "Watches machines, not patients. The unit's own alarm, pulse oximetry and the ward's protocol stay primary."
)

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
    return f"Acknowledged: {who}{f' ({role})' if role else ''}, {when}"


def for_others(audience: tuple[str, ...]) -> str:
    """Stands before an instruction that is not for the ward."""
    return f"For the {audience[0]}: " if audience and "ward" not in audience else ""


def more_alarms(count: int) -> str:
    """Said when a unit has more alarms than the one shown."""
    return f"and {count} more" if count else ""


# -- the strip above every screen -------------------------------------------------------------------------------------
def simulated_mark(speed: float, now: str) -> str:
    """Stands on every screen of a simulated facility."""
    runs = f"clock runs {speed:g}x, " if speed != 1 else ""
    return f"SIMULATED DATA - not a real hospital - {runs}now {now}"


WAITING: Final = "Waiting for the collector's first reading."
WAITING_HOW: Final = "Start it with `sieveward collect`, or look whether it says why it cannot start."
EMPTY_SITE: Final = "The site file names no unit yet. Add [[unit]] entries to it and start the collector again."
NO_UNIT: Final = "There is no unit of this name here. Choose one."
NO_WARD: Final = "There is no ward of this name here. All wards are shown."
LOOK_AT_UNITS: Final = "Look at the units themselves; the ward's paper checklist applies."


def collector_lost(age: str) -> str:
    """The collector's heartbeat is too old."""
    return f"NOT LIVE: the collector has not been heard for {age}. Old values are greyed. {LOOK_AT_UNITS}"


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
FOLDED_SOON: Final = "The collector takes it up within seconds."
FOLDED_LATER: Final = "The collector is not running: it takes effect when it runs again."

# -- about ------------------------------------------------------------------------------------------------------------
WATCHES: Final = (
    "Each unit's purity (oxygen, % by volume), flow and power, as its sensors report them, against the limits below.",
    "Whether readings come at all. No readings is never good news here: the tile says since when and is greyed.",
    "Supply of single units and of whole wards, flow above what the unit or the ward allows, flow that stops, sensors "
    "that cannot be right.",
    "Service hours: seen running, taken from the unit's own hour meter across a gap, or not accounted for. It says "
    "which.",
    "Who was told, who acknowledged, what was put aside and why: an append-only journal.",
)
WATCHES_NOT: Final = (
    "Patients. It knows no patient, and nothing here says how one is. Use pulse oximetry with every concentrator.",
    "It controls nothing: it never switches a unit off, never sets a flow, never silences a unit's own alarm.",
    "A valve that fails within minutes or a power cut cannot be foreseen, only told.",
    "Purity at low flow hides ageing: a worn unit may read well at 1 L/min and fail when turned up. “Proven to” says "
    "what was lately seen; above it nothing is known.",
    "These screens make no sound and are no confirmed delivery: do not rely on them alone.",
    "A leak behind the flow meter (humidifier lid, tubing, open splitter port) is not seen from here.",
)
CAUTIONS: Final = (
    "The unit's own alarms, pulse oximetry and the ward's protocol stay primary. Where they, the unit's manual or "
    "local codes differ from a screen here, they are right.",
    "Preterm babies are harmed by too much oxygen as well as by too little. Never turn a flow up on the strength of a "
    "screen.",
    "Oxygen feeds fire: no smoking, flame, sparks, oil or grease near units and cylinders.",
    "If this screen, the network or the power fails: go round the units by the ward's paper checklist.",
)
STARRED: Final = "* from the site file; the others are defaults"
LIMIT_SOURCES: Final = (
    "Limits are the model's in the site file; the unit's manual overrides every default. Default red 82 % (v/v): the "
    "low-oxygen alarm point of WHO's technical specifications for oxygen concentrators (2015) and of ISO 80601-2-69. "
    "Default amber 85 %, switch-off 70 %: common practice. Warm-up 10 min: 90 % of the rise within 10.5 min (Johns et "
    "al., Thorax 1985;40:806). More than 96.5 % is the analyser: argon comes through with the oxygen (same source). "
    "Delays, deadbands and their sources stand in collector/rules/limits.py. Priorities after IEC 60601-1-8; the life "
    "of an alarm after ISA-18.2 / IEC 62682."
)
HOURS: Final = (
    "Observed: seen running, reading by reading. Inferred: across gaps, from the unit's own hour meter. Not accounted "
    "for: gaps in which it may or may not have run; they are not counted as service."
)
CAPACITY_PLACE: Final = "Capacity is not estimated yet. What is known is the highest flow it was lately seen to hold."
