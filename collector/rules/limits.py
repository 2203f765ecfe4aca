"""Every delay, deadband and limit of the rules that is not a model's own, in one place, each with its source.

A model's own limits (amber, red, switch-off, warm-up, rated flow and power, nominal volts) stand in the site file.
"common practice" means: a fact of the trade with no source to cite; a hospital may change it.
"""

from __future__ import annotations

from typing import NamedTuple

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


class Delay(NamedTuple):
    """How long a condition must be seen before it is raised (`on_ms`) and be gone before it is cleared (`off_ms`)."""

    on_ms: int
    off_ms: int


class Together(NamedTuple):
    """When what single units show is an event of their ward; common practice, no source."""

    hold_ms: int = 15 * SECOND  # how long the first unit waits for others: one reading at the usual 10 s, and some
    window_ms: int = 60 * SECOND  # told on its own so lately: it belongs to the same event after all
    join_ms: int = 10 * MINUTE  # so long after the ward was told, one more unit belongs to it
    units: int = 2
    share: float = 0.5  # of the ward's units that could show it
    many: int = 4  # so many at once have one cause, whatever their share


class Limits(NamedTuple):
    """The rules' limits; times in ms unless the name says otherwise."""

    #: Silence: no reading for this long is a condition. Twelve readings at the usual 10 s; common practice.
    absent_ms: int = 120 * SECOND
    #: A unit of the site file that never reports: told once, this long after the facility's first reading.
    never_seen_ms: int = 10 * MINUTE
    silent_together: Together = Together()
    #: Below this share of rated power the unit is taken as off: a fan and lamps draw a few W, a compressor hundreds.
    #: Common practice.
    off_power_share: float = 0.15
    #: A warm-up rises: 90 % of it in 10.5 min (Johns et al., Thorax 1985;40:806) means a time constant under 4.6 min,
    #: so it gains over 2 % a minute until nearly done. One that gains less than this in so long is no warm-up any more.
    warm_rise_pct: float = 0.5
    warm_rise_ms: int = 3 * MINUTE
    #: Without a power reading: flow or purity from which a unit is taken as running. Room air is 20.9 %.
    on_flow_lpm: float = 0.2
    on_purity_pct: float = 40.0

    #: ISA-18.2's starting values for flow and pressure are 15 s, for slow quantities 60 s (from memory); amber is slow,
    #: red must be heard sooner. Two readings at least, so that one spike is never an alarm.
    amber: Delay = Delay(60 * SECOND, 300 * SECOND)
    red: Delay = Delay(30 * SECOND, 300 * SECOND)
    #: A low purity that rises by more than this to the next low one has not held: ten times an analyser's noise.
    wild_pct: float = 3.0
    #: So many wild values (halved a day) make an analyser one whose second low value is not believed either.
    wild_often: float = 2.0
    #: A fall this steep passes from amber to red within a minute: it is told at its third low reading, without delay.
    steep_pct_per_min: float = 3.0
    steep_min: float = 3.0
    #: Purity must come back this far above a limit: twice the noise of a bedside analyser (0.2 to 0.5 %).
    purity_deadband_pct: float = 0.5

    #: Flow meters of bedside units read about 10 % off (ISO 80601-2-69, from memory), so 5 % over is the first
    #: overdraw worth a word; deadband 5 % after ISA-18.2 (from memory).
    above_rated_share: float = 1.05
    above_rated: Delay = Delay(60 * SECOND, 30 * SECOND)
    above_ward_lpm: float = 0.1
    above_ward: Delay = Delay(60 * SECOND, 30 * SECOND)
    flow_deadband_lpm: float = 0.1
    #: No flow while running, after flow was seen in this run: blocked, kinked, disconnected or closed.
    absent_flow_lpm: float = 0.1
    flow_absent: Delay = Delay(30 * SECOND, 10 * SECOND)
    #: A unit that stopped in use with its supply present: after this long off it is taken as switched off on purpose.
    stopped_on_ms: int = 60 * SECOND
    stopped_off_ms: int = 30 * MINUTE

    #: Supply: under this share of nominal there is none (IEC 61000-4-11 residual-voltage levels, from memory).
    lost_volts_share: float = 0.5
    #: How long a unit's loss waits for others of its ward, so that a ward's power cut is one event.
    lost_hold_ms: int = 15 * SECOND
    #: Losses this near to each other are one event (common practice: within a minute).
    lost_window_ms: int = 60 * SECOND
    #: So many units, and this share of those that were on, make it the ward's supply and not the unit's.
    ward_lost_units: int = 2
    ward_lost_share: float = 0.5
    supply_back_ms: int = 30 * SECOND
    #: Steady supply lies within 10 % of nominal (IEC 60038: 230 V +/-10 %, from memory); deadband 2 %.
    poor_volts_share: float = 0.10
    poor_deadband_share: float = 0.02
    poor: Delay = Delay(60 * SECOND, 120 * SECOND)
    poor_together: Together = Together()

    #: Argon comes through with the oxygen: 20.95/(20.95+0.93) = 95.75 % is the most a sieve can give (Johns et al.,
    #: Thorax 1985;40:806). Steadily above 96.5 % is the analyser.
    ceiling_pct: float = 96.5
    #: Under room air by more than an analyser's error: not a thing a unit can deliver.
    floor_pct: float = 18.0
    suspect: Delay = Delay(5 * MINUTE, 10 * MINUTE)
    #: A step of purity between two readings: five times an analyser's noise. Flow and power that change by no more than
    #: this share did not change. Steps of several units within a minute, of one size, are their common analyser's.
    step_pct: float = 2.5
    step_alike_pct: float = 1.0
    step_flow_share: float = 0.05
    step_share: float = 0.04
    #: Units of a ward whose output was told to fall within so long of each other may have one cause (common practice).
    together_ms: int = 6 * HOUR
    step_together: Together = Together(hold_ms=60 * SECOND, join_ms=0, share=0.0, many=2)  # nobody joins later
    #: The same purity to the last digit for this long while flow or power moved by `stuck_share`.
    stuck_ms: int = 60 * MINUTE
    stuck_share: float = 0.15

    #: Proven flow: acceptable purity held this long within 10 % of one flow; forgotten after `proven_days`.
    hold_ms: int = 3 * MINUTE
    hold_share: float = 0.10
    proven_ms: int = 30 * DAY
    proven_share: float = 0.90
    unproven: Delay = Delay(0, 0)

    #: The ward is told so long before amber, by the median of the forecast: most of a shift (common practice). It is
    #: told no more once that is twice as far off.
    notice_min: float = 330.0
    notice_back: float = 2.0
    expected: Delay = Delay(12 * MINUTE, 45 * MINUTE)
    #: When amber is this near it is told sooner; a unit back on its plateau needs less time to be believed.
    soon_min: float = 40.0
    expected_soon_ms: int = 2 * MINUTE
    expected_well_ms: int = 10 * MINUTE
    #: Overdraw and a sag must last so long before a shut-off is expected of them.
    outside_ms: int = 25 * MINUTE
    #: The engineer is told so many days before amber at the flow in use, or once capacity is under this share of rated.
    falling_days: float = 7.0
    falling_share: float = 0.98
    falling: Delay = Delay(30 * MINUTE, 24 * HOUR)
    #: Lasting signs that come before purity falls: power under its normal at this flow, a cabinet this much warmer.
    weak_power: float = -0.045
    hot_k: float = 4.5

    #: An hour meter may run this much faster than the clock, and shows steps of an hour at most (common practice).
    meter_rate: float = 1.02
    meter_step_h: float = 1.0


LIMITS = Limits()
