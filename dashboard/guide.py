"""The longer texts of the screens: what is watched and what is not, cautions, sources, help; ready to be translated."""

from __future__ import annotations

from typing import Final

WATCHES: Final = (
    "Each unit's purity (oxygen, % by volume), flow and power, as its sensors report them, against the limits below.",
    "Each unit's capacity: the flow up to which it still gives acceptable purity, how fast that falls, when it will "
    "reach its limits, and the likely cause.",
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
    "A valve that fails within minutes or a power cut is told as it happens: it cannot be foreseen.",
    "At low flow a unit's capacity cannot be seen: a worn unit may read well at 1 L/min and fail when turned up. "
    "“Proven to” says what was lately seen; above it nothing is known until somebody checks.",
    "Its forecasts were tried on simulated units and on general machine data: there is no open record of concentrator "
    "purity to try them on.",
    "Only a ward screen makes a sound, once somebody has allowed it there. No screen is a confirmed delivery: do not "
    "rely on them alone.",
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
STARRED: Final = r"\* from the site file; the others are defaults"
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

# -- beside the figures of a unit ------------------------------------------------------------------------------------
FIGURES_TITLE: Final = "What these figures are, where their limits come from, what they cannot say"
FIGURES_HELP: Final = (
    "**Purity**: oxygen, % by volume, as the unit's or the ward's analyser says. Amber and red are the model's in the "
    "site file; default red 82 %: WHO's technical specifications (2015) and ISO 80601-2-69; amber 85 %: common "
    "practice. More than 95.7 % cannot be: argon comes through with the oxygen (Johns et al., Thorax 1985;40:806). It "
    "says nothing of what arrives at a patient, and nothing of a higher flow.",
    "**Flow**: L/min at the unit's outlet meter, about 10 % off on bedside units (ISO 80601-2-69, from memory). The "
    "rated flow is the manual's. A leak behind the meter is not seen.",
    "**Power**: W drawn. Under 15 % of rated the unit is taken as off: common practice. What is usual is learned for "
    "each unit at each flow; there is no limit. It does not say that oxygen comes.",
    "**Supply**: volts at the unit; steady within 10 % of nominal (IEC 60038, from memory), none under half of it "
    "(IEC 61000-4-11, from memory). Dips shorter than the time between readings are missed.",
    "**Cabinet**: °C inside, compared with the unit's own normal only. **Outlet pressure**: kPa, the same.",
    "**Hour meter**: as the unit counts; checks and filters go by it. Meters are reset and replaced: hours observed, "
    "inferred and not accounted for are kept apart below.",
)

# -- beside the capacity panel ----------------------------------------------------------------------------------------
HOW_TITLE: Final = "How capacity is found, and what it cannot say"
CAPACITY_HELP: Final = (
    "**Capacity** is the flow at which this unit's purity would be just at its amber limit. Purity alone hides "
    "ageing: a worn sieve still reads well at low flow, and fails at once when the flow is turned up.",
    "**How it is found.** Purity stays on a plateau up to a knee near capacity and falls beyond it, since the sieve "
    "can take up only so much nitrogen a minute. Every reading of purity and flow is weighed against that curve. "
    "Several filters run side by side, each with its own idea of how sharp the knee is and how fast capacity falls "
    "(over weeks, hours or minutes); those that foretell the next readings best count most (dynamic model averaging: "
    "Raftery, Kárný, Ettler, Technometrics 2010;52:52). A step in flow, from one patient to the next, shows most.",
    "**Ranges** are nine chances in ten: one in twenty comes earlier, one in twenty later. They hold as long as the "
    "flow stays and the decline goes on as it has.",
    "**Proven to** is the highest flow lately seen to hold acceptable purity for some minutes: seen, not estimated.",
    "**What it cannot say.** At a flow well under capacity it sees only that capacity is higher. A valve may fail "
    "within minutes, without warning. A wrong analyser gives a wrong capacity; a leak behind the flow meter is not "
    "seen. The forecast was tried on simulated units and on general machine data, not on records of real units.",
    "**Before you rely on it** check purity with an independent, calibrated analyser at rated flow, after 30 minutes "
    "of running (acceptance practice of WHO's technical specifications, 2015, from memory).",
)
