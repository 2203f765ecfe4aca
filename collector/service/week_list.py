"""The plan to be printed and hung up: for each ward and week one sheet, one page HTML that needs nothing else."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from html import escape
from typing import Final

from collector.service.visits import Plan, Visit
from collector.site import Site

_STYLE: Final = """
body { font: 11pt/1.35 sans-serif; margin: 0; color: #000; }
section { break-after: page; padding: 12mm; }
h1 { font-size: 16pt; margin: 0 0 1mm; } p { margin: 0 0 4mm; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 0.3mm solid #555; padding: 1.5mm 2mm; text-align: left; vertical-align: top; }
th { background: #eee; } td:first-child { white-space: nowrap; } .box { width: 18mm; } tr { break-inside: avoid; }
"""
_HEAD: Final = ("Day", "Time", "Unit", "Work", "Without oxygen", "Parts", "Done")
CAUTION: Final = (
    "A unit is taken out only when its ward is ready: the backup is there, and the ward's protocol stays primary. "
    "Times are proposals."
)


def week_lists(site: Site, plan: Plan) -> str:
    """The HTML, a section for each ward and week in which it is visited."""
    sheets: dict[tuple[str, date], list[Visit]] = defaultdict(list)
    for visit in plan.visits:
        sheets[visit.ward, visit.day - timedelta(days=visit.day.weekday())].append(visit)
    order = {ward.id: place for place, ward in enumerate(site.places())}
    keys = sorted(sheets, key=lambda key: (key[1], order.get(key[0], len(order)), key[0]))
    body = "".join(_sheet(site, ward, monday, sheets[ward, monday]) for ward, monday in keys)
    body = body or "<section><p>No visits are planned.</p></section>"
    title = escape(f"Visits: {site.facility.name or site.facility.id}")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{_STYLE}</style></head><body>{body}</body></html>\n"
    )


def _sheet(site: Site, ward: str, monday: date, visits: Sequence[Visit]) -> str:
    head = "".join(f"<th>{escape(word)}</th>" for word in _HEAD)
    rows = "".join(_row(site, visit) for visit in visits)
    quiet = next((one.quiet_hours for one in site.wards if one.id == ward), "")
    kept = f" Quiet hours {escape(quiet)} are kept." if quiet else ""
    simulated = "<strong>SIMULATED.</strong> " if site.simulated else ""
    return (
        f"<section><h1>{escape(site.ward(ward).title)}: week of {monday.isoformat()}</h1>"
        f"<p>{simulated}{escape(CAUTION)}{kept}</p>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></section>"
    )


def _row(site: Site, visit: Visit) -> str:
    names = {part.id: part.title for part in site.parts}
    work = "<br>".join(escape(task.title) + (f" ({task.late_days} days late)" if task.late_days else "")
                       for task in visit.tasks)  # fmt: skip
    work += "".join(f"<br><strong>{escape(said)}</strong>" for said in visit.cautions)
    parts = "<br>".join(f"{count} × {escape(names.get(part, part))}"
                        for task in visit.tasks for part, count in task.parts.items())  # fmt: skip
    out = f"{visit.out_min} min" if visit.out_min else "stays on"
    out += f"<br>{visit.gas_l:.0f} L from cylinders" if visit.gas_l else ""
    cells = (f"{visit.day:%a} {visit.day.isoformat()}", clock(visit.start_min), escape(visit.unit), work, out, parts)
    return "<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + '<td class="box"></td></tr>'


def clock(start_min: int | None) -> str:
    """A minute of the day as 08:05; "open" where it is open."""
    return "open" if start_min is None else f"{start_min // 60:02}:{start_min % 60:02}"
