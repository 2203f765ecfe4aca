"""What stands over every screen while the alarm's way is tested: above what is shown, never in its place; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from dashboard.queries import Now
from dashboard.times import age_text, clock_text

TRIED: Final = "Alarm's way tried"


def test_text(now: Now, now_ms: int) -> str:
    """The words of the test that stands, or nothing; plain text, still to be escaped."""
    test = now.way_test
    if test is None or not test.stands(now_ms):
        return ""
    titles = {ward.id: ward.title for ward in now.site.places()} if now.site else {}
    wards = ", ".join(titles.get(ward, ward) for ward in test.wards)
    asked, until = f" by {test.who}" if test.who else "", clock_text(test.until_ms, now.zone)
    return (
        f"TEST - NO ALARM - the alarm's way is tested{asked} for {wards}, until {until}. What is shown below is real."
    )


def tried_text(document: Mapping[str, Any], wall_ms: int) -> str:
    """When the alarm's way was last tried, by whom, and what came of it; document is the status of that name."""
    if not document:
        return "never: `sieveward check --live` tries it"
    ago, dead = age_text(max(0, wall_ms - int(document["wall_ms"]))), ", ".join(document.get("dead", ()))
    came = f"DEAD was {dead}" if dead else "all that is set up arrived"
    return f"{ago} ago by {document.get('who', '')}: {came}"
