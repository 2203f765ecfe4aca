"""Why a unit's output falls, with the evidence in words and numbers; a short "unknown" beats a guess.

What the last values prove comes first: more flow than rated, a supply under nine tenths of nominal, flow that ran away
with purity. The rest are weighed: each cause expects its signs (EXPECTED, after what is known of how such units fail)
and the one that fits best is named if it fits clearly better than the next. What is expected is common practice, no
source: intake: cabinet 5 to 15 K warmer over hours to days, power a little less; compressor: power and pressure fall
over weeks; valve: power changes at once, minutes; sieve: weeks when dry, hours to days when wet, no other sign.
"""

from __future__ import annotations

from math import exp, log
from typing import Final, NamedTuple

from collector.rules.capacity.belief import Belief
from collector.rules.capacity.estimate import mean_of
from collector.rules.capacity.signs import Signs
from collector.rules.limits import HOUR, MINUTE
from collector.rules.memory import Tracked

FLOW_ABOVE_RATED: Final = "flow-above-rated"
SUPPLY_LOW: Final = "supply-voltage-low"
SENSOR_FAULT: Final = "sensor-fault"
LEAK: Final = "leak"
UNKNOWN: Final = "unknown"
VALVE: Final = "valve-fault"

#: A fall from amber's good side that took no longer, with power this much off what it was: a valve's doing.
AT_ONCE_MS: Final = 3 * MINUTE
JUMP_POWER: Final = 0.06

#: ln of flow now over flow as it was set: so far it ran away without anybody turning it.
LEAK_DRIFT: Final = -0.075
SUPPLY_OFF: Final = -0.09
#: A cause is named when it fits by so much (in log-likelihood) better than the next.
CLEARLY: Final = 0.7
#: So much (in ln) capacity must have fallen while it was watched before its pace is evidence.
WATCHED_FALL: Final = 0.04
#: How often each is found when nothing else is known, in ln: wear is the usual fate (common practice, no source).
USUAL: Final = {"sieve-worn": 0.0, "sieve-wet": -0.9, "intake-blocked": -0.3, "compressor-weak": -0.5,
                "valve-fault": -3.0}  # fmt: skip


class Expected(NamedTuple):
    """Signs that a cause brings, each as (mean, sd): ln of the hours in which a third of capacity goes; power over half
    a day and now, and pressure, as shares off normal; cabinet temperature in K."""

    log_hours: tuple[float, float]
    power_day: tuple[float, float]
    power: tuple[float, float]
    pressure: tuple[float, float]
    temp_k: tuple[float, float]


EXPECTED: Final[dict[str, Expected]] = {
    "sieve-worn": Expected((log(250), 1.2), (0.0, 0.02), (0.0, 0.04), (0.0, 0.05), (0.0, 2.2)),
    "sieve-wet": Expected((log(10), 1.4), (0.0, 0.02), (0.0, 0.04), (0.0, 0.05), (0.0, 2.2)),
    "intake-blocked": Expected((log(15), 1.8), (-0.04, 0.025), (-0.05, 0.04), (-0.12, 0.10), (8.5, 3.5)),
    "compressor-weak": Expected((log(40), 1.6), (-0.15, 0.07), (-0.18, 0.09), (-0.25, 0.20), (0.0, 2.5)),
    VALVE: Expected((log(0.25), 1.2), (0.0, 0.02), (0.16, 0.07), (-0.25, 0.25), (0.0, 2.5)),  # power either way
}


def of_low_purity(unit: Tracked) -> str:
    """The cause of low purity: what the last values prove, else what the estimate's signs say."""
    flow_lpm, volts = unit.row.flow_lpm, unit.row.volts
    if flow_lpm is not None and flow_lpm > unit.over_lpm:
        return FLOW_ABOVE_RATED
    if volts is not None and unit.volts_lost <= volts < unit.volts_low:
        return SUPPLY_LOW
    return VALVE if _at_once(unit) else _known_or_weighed(unit)


def _known_or_weighed(unit: Tracked) -> str:
    """What the last mean said, or what signs say now when there has been none since purity fell."""
    known = unit.row.capacity
    if known is not None and known.cause:
        return known.cause
    if _fell_at_once(unit):  # nothing but a valve or an analyser does that, and neither has shown itself
        return UNKNOWN
    return name_cause(unit, unit.belief, unit.last_ms or 0)[0]


def _fell_at_once(unit: Tracked) -> bool:
    """Whether purity was good some minutes ago, at a flow that nobody has changed since."""
    memory = unit.memory
    if memory.good_ms is None or unit.last_ms is None or unit.last_ms - memory.good_ms > AT_ONCE_MS:
        return False
    return memory.part is None or not memory.part.stepped


def _at_once(unit: Tracked) -> bool:
    """A fall of minutes that began with a jump of power: a valve."""
    row, signs = unit.row, unit.belief.signs
    if row.power_w is None or row.flow_lpm is None or not signs.learned or not signs.power.n:
        return False
    if not _fell_at_once(unit):
        return False
    normal_w = signs.power.at(row.flow_lpm)
    return abs(row.power_w / max(normal_w, 1.0) - 1.0 - signs.power_day) > JUMP_POWER


def of_shutdown(unit: Tracked) -> str:
    """The cause of a switch-off: what was said of its low purity, else what the estimate's signs said last."""
    watches = unit.memory.watches
    said = [watches[name].cause for name in ("purity-red", "purity-amber", "shutdown-expected") if name in watches]
    proved = [cause for cause in said if cause in (FLOW_ABOVE_RATED, SUPPLY_LOW)]
    sure = [cause for cause in said if cause == VALVE and unit.belief.signs.valve_ms == 0]  # told as it fell at once
    return next((cause for cause in (*proved, *sure, _known_or_weighed(unit), *said) if cause != UNKNOWN), UNKNOWN)


def name_cause(unit: Tracked, belief: Belief, now_ms: int) -> tuple[str, tuple[str, ...]]:
    """The likeliest cause of a unit's falling capacity and its evidence in words."""
    signs, row = belief.signs, unit.row
    if row.flow_lpm is not None and row.flow_lpm > unit.over_lpm:
        return FLOW_ABOVE_RATED, (f"flow is {row.flow_lpm:.1f} L/min, rated {unit.rated_lpm:g} L/min",)
    if signs.volts_off < SUPPLY_OFF:
        return SUPPLY_LOW, (f"supply lately {-100 * signs.volts_off:.0f} % under nominal",)
    if signs.ran_off < LEAK_DRIFT:
        return LEAK, (f"flow fell by {100 * (1 - exp(signs.ran_off)):.0f} % together with purity, not in a step",)
    if signs.jump_ms:
        return SENSOR_FAULT, (
            f"purity is off by {signs.jump_pct:+.1f} points; power, pressure and a change of flow do not bear it out",
        )
    if signs.valve_ms and now_ms - signs.valve_ms < 24 * HOUR:
        return VALVE, (f"power jumped as purity began to fall; now {100 * signs.power_off:+.0f} % against its normal",)
    if not signs.learned:
        return UNKNOWN, ("the unit has not been watched for long enough to know its normal",)
    return _weighed(belief, now_ms)


def _weighed(belief: Belief, now_ms: int) -> tuple[str, tuple[str, ...]]:
    signs, log_hours = belief.signs, _log_hours(belief, now_ms)
    scores = {name: _fit(expected, signs, log_hours) + USUAL[name] for name, expected in EXPECTED.items()}
    best, second = sorted(scores, key=lambda name: -scores[name])[:2]
    if scores[best] - scores[second] < CLEARLY:
        return UNKNOWN, ("the signs fit more than one cause", *_words(signs, log_hours))
    return best, _words(signs, log_hours)


def _log_hours(belief: Belief, now_ms: int) -> float | None:
    """ln of the hours in which a third of capacity goes at the rate of this fall; None: it was not watched.

    Where the fall itself was hidden at low flow, the highest flow lately seen to hold says how long it took at most.
    """
    c = mean_of(belief.estimate)[0]
    from_c, from_ms = belief.top_c, belief.top_ms
    if from_c is None or from_c - c < WATCHED_FALL:
        from_c, from_ms = (log(belief.held_lpm), belief.held_ms) if belief.held_lpm else (None, 0)
    if from_c is None or from_c - c < WATCHED_FALL:
        return None
    return log(min(max(0.33 * (now_ms - from_ms) / HOUR / (from_c - c), 0.02), 5000.0))


def _fit(expected: Expected, signs: Signs, log_hours: float | None) -> float:
    pairs = [(log_hours, expected.log_hours)]
    if signs.temp.n:
        pairs.append((signs.temp_off_k, expected.temp_k))
    if signs.power.n:
        now = abs(signs.power_off) if expected is EXPECTED[VALVE] else signs.power_off
        pairs += [(signs.power_day, expected.power_day), (now, expected.power)]
    if signs.pressure.n:
        pairs.append((signs.pressure_off, expected.pressure))
    # A sign that is far from what every cause expects must not decide by itself: it counts for 12 at most.
    return sum(-min(0.5 * ((value - mean) / sd) ** 2, 12.0) - log(sd)
               for value, (mean, sd) in pairs if value is not None)  # fmt: skip


def _words(signs: Signs, log_hours: float | None) -> tuple[str, ...]:
    said = [f"a third of capacity goes in {_span(exp(log_hours))}"] if log_hours is not None else []
    if signs.power.n:
        said.append(_off("power", 100 * signs.power_off, "%", 2.0))
    if signs.pressure.n:
        said.append(_off("pressure", 100 * signs.pressure_off, "%", 5.0))
    if signs.temp.n:
        said.append(_off("cabinet", signs.temp_off_k, "K", 2.0))
    return tuple(said)


def _off(what: str, off: float, unit: str, usual: float) -> str:
    """How a sign stands against the unit's own normal at this flow."""
    return f"{what} as usual" if abs(off) < usual else f"{what} {off:+.0f} {unit} against its normal at this flow"


def _span(hours: float) -> str:
    if hours < 2:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"
