"""The plan as an iCalendar file (RFC 5545): one event a visit, at its proposed time or all day where that is open.

Times are written in UTC. An event's UID is its visit's: when visits move, replace the calendar as a whole.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from collector.service.visits import Plan, Visit
from collector.site import Site


def calendar_file(site: Site, plan: Plan, now_ms: int) -> bytes:
    """The file's bytes; now_ms is when it was made."""
    calendar = Calendar()
    calendar.add("prodid", f"-//sieveward//visits//{site.facility.id}")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for visit in plan.visits:
        calendar.add_component(_event(site, visit, now_ms))
    return bytes(calendar.to_ical())


def _event(site: Site, visit: Visit, now_ms: int) -> Event:
    ward = site.ward(visit.ward).title
    event = Event()
    event.add("uid", f"{visit.visit}@{site.facility.id}")
    event.add("dtstamp", datetime.fromtimestamp(now_ms // 1000, UTC))
    start, end = times(visit, ZoneInfo(site.facility.timezone))
    event.add("dtstart", start)
    event.add("dtend", end)
    event.add("summary", f"{visit.unit}, {ward}: " + ", ".join(task.title for task in visit.tasks))
    event.add("location", ward)
    event.add("description", "\n".join(_lines(visit)))
    event.add("status", "TENTATIVE" if visit.state == "planned" else "CONFIRMED")
    return event


def times(visit: Visit, zone: ZoneInfo) -> tuple[date, date]:
    """Start and end as moments in UTC, or as whole days where the time is open."""
    if visit.start_min is None:
        return visit.day, visit.day + timedelta(days=1)
    hours, minutes = divmod(visit.start_min, 60)
    start = datetime(visit.day.year, visit.day.month, visit.day.day, hours, minutes, tzinfo=zone).astimezone(UTC)
    return start, start + timedelta(minutes=visit.minutes)


def _lines(visit: Visit) -> list[str]:
    parts = [f"{task.title}: {count} × {part}" for task in visit.tasks for part, count in task.parts.items()]
    late = [f"{task.title}: {task.late_days} days late" for task in visit.tasks if task.late_days]
    out = [f"gives no oxygen for {visit.out_min} min"] if visit.out_min else []
    gas = [f"cylinders give {visit.gas_l:.0f} L meanwhile"] if visit.gas_l else []
    return [*parts, *late, *out, *gas, *visit.cautions, *([visit.why] if visit.why else [])]
