"""Help beside the figures of pages: what each is, where its limit comes from, what it cannot say."""

from __future__ import annotations

from typing import Final

ALARMS: Final = (
    "**Priority**: high, medium or low after IEC 60601-1-8, by what may come of it and how soon. It is the alarm's "
    "kind that has it, not the unit: a high one may be a false one.",
    "**Acknowledged**: somebody said that they know. It does not say that anything was done, or that the unit is well.",
    "**Put aside**: not told again until its end, always with an end (ISA-18.2). **Gone**: what raised it is over, by "
    "the delays of the rules (common practice unless collector/rules/limits.py names a source).",
    "**What it cannot say**: what no sensor sees raises no alarm. A unit without readings is told as without data, "
    "never as well. A list without alarms is not a check of the units.",
)
WORK: Final = (
    "**Checks due**: a unit that was repaired, or whose parts were changed, counts as in doubt until purity at rated "
    "flow has been read with an independent analyser in date. Before first use and after 30 days unused too (common "
    "practice, no source).",
    "**Passed**: purity as left, less the analyser's uncertainty, is at least 82 %, or the model's red limit where "
    "that is higher. 82 %: WHO's technical specifications (2015) and ISO 80601-2-69; taking the uncertainty off: JCGM "
    "106:2012, from memory.",
    "**Analyser**: uncertainty 2 points where the site file names none; calibration once a year (both common "
    "practice, no source).",
    "**What it cannot say**: a check is of its day, its flow and its room. A valve may fail the day after.",
)
FLEET: Final = (
    "**Available**: of the hours of which something is known. Hours without readings are not counted as good or bad: "
    "see the column of unknown hours before you compare.",
    "**Run hours per failure**: with few failures the range in brackets says more than the figure. No figure of a "
    "maker or of other hospitals is behind it.",
    "**Energy**: measured power summed up hour by hour; hours without readings count nothing, so it is the least that "
    "was used. **Cost**: with the site file's price of a kWh.",
    "**What it cannot say**: how patients were, whether a unit was switched off on purpose, or what the next month "
    "will bring. A share of a few units over a few days is chance for the most part.",
)
PARTS: Final = (
    "**In stock**: what the site file counted, and everything written down since. A part taken without a word still "
    "stands here.",
    "**Needed**: tasks that will fall due by the units' own use, and failures by a Poisson rate of what was used "
    "before. **Order at** and **Order**: the least with which the wanted chance is reached; 95 % where the site file "
    "names none (common practice, no source), lead time 30 days likewise.",
    "**What it cannot say**: a delivery that comes late, a price that has changed, a fault that was never seen here.",
)
SENSORS: Final = (
    "**Messages a second** and **Largest batch** say how busy the collector is; they have no limit. **Heard** over 15 "
    "s ago: it stands still or is gone, and every screen says so.",
    "**Could not be read**: kept aside with its reason, never guessed at. **Came twice**: sent again by a bridge that "
    "was not sure; counted once. **Came late**: stored with its own time, but not judged.",
    "**Left out of floods**: a unit that speaks far too often is thinned, so that the others are heard.",
    "**Waiting** and **Dropped** are the bridge's own words, as old as its last.",
    "**What it cannot say**: whether a sensor is right. One that sticks, drifts or is wrong from the start may look "
    "well here: compare with an independent analyser.",
)
RECORD: Final = (
    "**Store**: the file's size. Readings stay 90 days, minutes 400 days, hours ten years, the journal for ever. "
    "**Write-ahead log**: what is on its way into the file; it grows and shrinks.",
    "**Free on the disk**: the disk on which the store lies. Nothing is stored when it is full, and every screen says "
    "so.",
    "**Safe copies**: good means that a copy was read back and its chain of journal rows was whole. Older than two "
    "days is told (common practice, no source). That the disk with the copy still works, only a trial of it says.",
    "**Journal**: rows are chained, so that a row that was changed or taken out is noticed. It says who was signed "
    "in, not who held the device.",
)
