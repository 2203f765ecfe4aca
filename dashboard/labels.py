"""A sheet of labels, one a unit, whose code opens the unit's page; pure but for the PDF library.

Rules of this file: no ward stands on a label, since units move; a simulated facility's labels say so.
"""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from typing import Final
from urllib.parse import quote

from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from collector.paper.fonts import BOLD, PLAIN, letters, plain
from collector.site import Site, Unit
from dashboard import service_words as words

#: 63.5 mm by 38.1 mm, 3 by 7 on A4: the usual sheet of labels (common practice, no source).
COLUMNS: Final = 3
ROWS: Final = 7
WIDTH_PT: Final = 63.5 * mm
HEIGHT_PT: Final = 38.1 * mm
LEFT_PT: Final = 7.2 * mm
TOP_PT: Final = 15.1 * mm
GAP_PT: Final = 2.5 * mm
#: With its quiet zone of four modules (ISO/IEC 18004): a phone reads it from a hand's breadth (common practice).
QR_PT: Final = 33 * mm
SMALL_PT: Final = 7


def unit_url(base: str, unit: str) -> str:
    """The address of a unit's page, below the dashboard's own address."""
    return f"{base.rstrip('/')}/unit?unit={quote(unit)}"


def labels_pdf(site: Site, base: str, units: Iterable[Unit]) -> bytes:
    """The sheet as PDF: A4, 21 labels a page, one for each unit; an empty page when there is none.

    base is the dashboard's address as a phone reaches it, such as http://192.0.2.10:8501.
    """
    letters()
    out = BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=True)
    canvas.setTitle(words.LABELS_TITLE)
    for place, unit in enumerate(units):
        if place and place % (COLUMNS * ROWS) == 0:
            canvas.showPage()
        _draw_label(canvas, place % (COLUMNS * ROWS), site, unit, unit_url(base, unit.id))
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw_label(canvas: Canvas, place: int, site: Site, unit: Unit, url: str) -> None:
    row, column = divmod(place, COLUMNS)
    left = LEFT_PT + column * (WIDTH_PT + GAP_PT)
    bottom = A4[1] - TOP_PT - (row + 1) * HEIGHT_PT
    code = QrCodeWidget(url, barLevel="M", barWidth=QR_PT, barHeight=QR_PT, barBorder=4)
    drawing = Drawing(QR_PT, QR_PT)
    drawing.add(code)
    renderPDF.draw(drawing, canvas, left, bottom + (HEIGHT_PT - QR_PT) / 2)
    x, y, room = left + QR_PT, bottom + HEIGHT_PT - 12 * mm, WIDTH_PT - QR_PT - 2 * mm
    _fit(canvas, unit.id, x, y, room, BOLD, 13)
    place_name = simpleSplit(plain(site.facility.name or site.facility.id), PLAIN, SMALL_PT, room)[:2]
    lines = [unit.model, words.serial(unit.serial) if unit.serial else "", *place_name,
             words.LABEL_SCAN, words.LABEL_SIMULATED if site.simulated else ""]  # fmt: skip
    for line in filter(None, lines):
        y -= 3.3 * mm
        _fit(canvas, line, x, y, room, PLAIN, SMALL_PT)


def _fit(canvas: Canvas, text: str, x: float, y: float, room: float, font: str, size: float) -> None:
    """A line of text, made smaller until it fits, and cut where it would be too small to read."""
    text = plain(text)
    while size > 5 and pdfmetrics.stringWidth(text, font, size) > room:
        size -= 0.5
    while text and pdfmetrics.stringWidth(text, font, size) > room:
        text = text[:-1]
    canvas.setFont(font, size)
    canvas.drawString(x, y, text)
