"""The monthly report as PDF: a page of figures with plots for a director, then the tables behind them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final

from reportlab.platypus import Flowable, PageBreak, Table, TableStyle

from collector.paper import charts, sheet
from collector.paper.monthly_tables import FIRST_NEEDS, detail_tables, needs
from collector.paper.sheet import space, text
from collector.service.report_lines import Figure, MonthReport

CAUTION: Final = "sieveward watches machines, not patients"
_CARDS: Final = 4
#: A value with more signs than this has smaller ones.
WIDE_FROM: Final = 9
#: A longer name of a facility is cut in the foot line.
FOOT_NAME: Final = 48
_STYLES: Final = {
    "title": sheet.CELL.clone("card-title", fontSize=7.8, leading=9.6),
    "value": sheet.TITLE.clone("card-value", fontSize=17, leading=21),
    "long": sheet.TITLE.clone("card-long", fontSize=13, leading=21),
    "none": sheet.TITLE.clone("card-none", fontSize=12, leading=21, textColor=sheet.PALE_INK),
    "says": sheet.NOTE.clone("card-says", fontSize=6.8, leading=8.4),
    "good": sheet.NOTE.clone("card-good", fontSize=6.8, leading=8.4, textColor=sheet.GOOD),
    "bad": sheet.NOTE.clone("card-bad", fontSize=6.8, leading=8.4, textColor=sheet.BAD),
}
_CARD_GRID: Final = TableStyle([
    ("BACKGROUND", (0, 0), (-1, -1), sheet.GROUND), ("INNERGRID", (0, 0), (-1, -1), 3, sheet.PAPER),
    ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 6), ("RIGHTPADDING", (0, 0), (-1, -1), 5),
    ("TOPPADDING", (0, 0), (-1, -1), 5), ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
])  # fmt: skip
_BANNER: Final = TableStyle([
    ("BOX", (0, 0), (-1, -1), 1.2, sheet.BAD), ("TOPPADDING", (0, 0), (-1, -1), 3),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
])  # fmt: skip


def report_pdf(report: MonthReport) -> bytes:
    """The report as PDF, A4; the same report gives the same bytes."""
    made = datetime.fromtimestamp(report.made_ms / 1000, report.month.zone)
    facility = report.facility if len(report.facility) <= FOOT_NAME else report.facility[: FOOT_NAME - 1] + "…"
    foot = f"{facility} · {report.month.title} · made {made.day} {made:%b %Y %H:%M} · {CAUTION}"
    story = [*_first_page(report), PageBreak(), *detail_tables(report)]
    return sheet.pages(story, title=f"Oxygen concentrators, {report.month.title}", foot=foot)


def _first_page(report: MonthReport) -> Iterable[Flowable]:
    yield text(f"Oxygen concentrators, {report.month.title}", sheet.TITLE)
    yield text(f"{report.facility} · {report.of}", sheet.TEXT)
    if report.simulated:
        yield space(1.5)
        yield Table([[text("SIMULATED DATA of an invented hospital: no evidence of anything.", sheet.HEAD)]],
                    colWidths=[sheet.WIDTH_PT], style=_BANNER)  # fmt: skip
    yield space(2)
    yield from (text(f"• {said}") for said in report.short)
    yield space(3)
    yield _cards(report.figures)
    yield space(3)
    yield from _plots(report)
    if report.gaps:
        yield text("What the data do not say: " + " ".join(report.gaps), sheet.NOTE)
    yield from needs(report, FIRST_NEEDS)


def _cards(figures: Sequence[Figure]) -> Flowable:
    cells: list[object] = [_card(figure) for figure in figures]
    cells += [""] * (-len(cells) % _CARDS)
    rows = [cells[at : at + _CARDS] for at in range(0, len(cells), _CARDS)]
    return Table(rows, colWidths=[sheet.WIDTH_PT / _CARDS] * _CARDS, style=_CARD_GRID)


def _card(figure: Figure) -> list[Flowable]:
    said = figure.empty if figure.value is None else shown(figure)
    value = text(said, _STYLES["none" if figure.value is None else "value" if len(said) <= WIDE_FROM else "long"])
    parts: list[Flowable] = [text(figure.title, _STYLES["title"]), value, text(figure.says, _STYLES["says"])]
    if figure.aim:
        said = {True: "reached", False: "not reached", None: "cannot be said"}[figure.met]
        style = _STYLES["good"] if figure.met else _STYLES["bad"] if figure.met is False else _STYLES["says"]
        parts.append(text(f"Aim {figure.aim}: {said}", style))
    return parts


def shown(figure: Figure) -> str:
    """A figure's value as people read it, with its sign."""
    value = figure.value or 0.0
    if figure.sign == "%" and value < 100:
        value = min(value, 99.9)  # not all is not all
    digits = 1 if figure.sign == "%" and 0 < value < 100 else 0 if abs(value) >= 100 or value == int(value) else 1
    return f"{value:,.{digits}f} {figure.sign}".strip().replace(",", " ")


def _plots(report: MonthReport) -> Iterable[Flowable]:
    half = sheet.WIDTH_PT / 2 - 4
    made = {"Availability by ward": charts.availability(report.wards, 350, 240),
            "Alarms told to wards": charts.alarms(report.days, 350, 240)}  # fmt: skip
    row = [sheet.picture(charts.png(chart), half) if chart is not None else text(f"{name}: no data.")
           for name, chart in made.items()]  # fmt: skip
    yield Table([row], colWidths=[sheet.WIDTH_PT / 2] * 2, style=_PLOT_GRID)
    wide = charts.adequate(report.days, 714, 190)
    if wide is None:
        yield text("Hours that units ran: no readings in this month.")
    else:
        yield sheet.picture(charts.png(wide), sheet.WIDTH_PT)


_PLOT_GRID: Final = TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                                ("VALIGN", (0, 0), (-1, -1), "TOP")])  # fmt: skip
