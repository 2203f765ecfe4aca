"""What stands over every screen while the alarm's way is tested: above what is shown, never in its place; pure."""

from __future__ import annotations

from dashboard.queries import Now
from dashboard.times import clock_text


def test_text(now: Now, now_ms: int) -> str:
    """The words of the test that stands, or nothing; plain text, still to be escaped."""
    test = now.way_test
    if test is None or not test.stands(now_ms):
        return ""
    titles = {ward.id: ward.title for ward in now.site.places()} if now.site else {}
    wards = ", ".join(titles.get(ward, ward) for ward in test.wards)
    asked, until = f" by {test.who}" if test.who else "", clock_text(test.until_ms, now.zone)
    return f"TEST - NO ALARM - the alarm's way is tested{asked} for {wards}, until {until} - nothing needs to be done"
