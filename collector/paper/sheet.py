"""A4 pages in one look: foot line, headings, paragraphs, and tables that repeat their head on each page."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any, Final

from reportlab.lib import colors
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    Image,
    LongTable,
    PageTemplate,
    Paragraph,
    Spacer,
    TableStyle,
)  # fmt: skip

from collector.paper.fonts import BOLD, PLAIN, letters, marked, plain

MARGIN_PT: Final = 16 * mm
WIDTH_PT: Final = A4[0] - 2 * MARGIN_PT
_TOP_PT: Final = 14 * mm
_BOTTOM_PT: Final = 18 * mm
_ROOM_PT: Final = 32 * mm
PAPER: Final = colors.white
INK: Final = colors.HexColor("#1b2a33")
PALE_INK: Final = colors.HexColor("#5a6b75")
LINE: Final = colors.HexColor("#c9d3d8")
GROUND: Final = colors.HexColor("#f2f5f6")
GOOD: Final = colors.HexColor("#00664d")
BAD: Final = colors.HexColor("#a63603")

TITLE: Final = ParagraphStyle("title", fontName=BOLD, fontSize=18, leading=22, textColor=INK)
HEADING: Final = ParagraphStyle("heading", fontName=BOLD, fontSize=11.5, leading=15, textColor=INK, spaceBefore=9,
                               spaceAfter=3)  # fmt: skip
TEXT: Final = ParagraphStyle("text", fontName=PLAIN, fontSize=9, leading=12.5, textColor=INK)
NOTE: Final = ParagraphStyle("note", parent=TEXT, fontSize=7.5, leading=10, textColor=PALE_INK)
CELL: Final = ParagraphStyle("cell", parent=TEXT, fontSize=7.5, leading=9.5)
NUMBER: Final = ParagraphStyle("number", parent=CELL, alignment=TA_RIGHT)
HEAD: Final = ParagraphStyle("head", parent=CELL, fontName=BOLD)
HEAD_NUMBER: Final = ParagraphStyle("head-number", parent=HEAD, alignment=TA_RIGHT)
_GRID: Final = TableStyle([
    ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.3, LINE),
    ("VALIGN", (0, 0), (-1, -1), "TOP"), ("ROWBACKGROUNDS", (0, 1), (-1, -1), [PAPER, GROUND]),
    ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
])  # fmt: skip


def pages(story: Sequence[Flowable], *, title: str, foot: str) -> bytes:
    """The PDF of these parts; the foot line stands on every page with its number."""
    letters()
    out = BytesIO()
    document = BaseDocTemplate(out, pagesize=A4, title=title, author="sieveward", invariant=1)
    frame = Frame(MARGIN_PT, _BOTTOM_PT, WIDTH_PT, A4[1] - _BOTTOM_PT - _TOP_PT, 0, 0, 0, 0)
    document.addPageTemplates(PageTemplate(frames=[frame]))
    document.build(list(story), canvasmaker=lambda *args, **kw: _Numbered(*args, foot=plain(foot), **kw))
    return out.getvalue()


class _Numbered(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that knows at its end how many pages there are."""

    def __init__(self, *args: Any, foot: str, **kw: Any) -> None:  # noqa: ANN401 - reportlab's own
        super().__init__(*args, **kw)
        self._foot, self._kept = foot, []  # type: ignore[var-annotated]

    def showPage(self) -> None:
        """Keep the page until the number of all is known."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write the foot of each page, then the file."""
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self.setFont(PLAIN, 7)
            self.setFillColor(PALE_INK)
            self.drawString(MARGIN_PT, 10 * mm, self._foot)
            self.drawRightString(A4[0] - MARGIN_PT, 10 * mm, f"page {number} of {len(self._kept)}")
            super().showPage()
        super().save()


def text(said: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """A paragraph of plain text."""
    return Paragraph(marked(said), style)


def heading(said: str) -> list[Flowable]:
    """A heading, on a new page where there is no room for something to follow it."""
    return [CondPageBreak(_ROOM_PT), text(said, HEADING)]


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], *, left: int = 1) -> Flowable:
    """A table over the page's width, shares of which `widths` are; columns after the first `left` hold numbers."""
    whole = sum(widths)
    styles = [CELL if place < left else NUMBER for place in range(len(heads))]
    head_styles = [HEAD if place < left else HEAD_NUMBER for place in range(len(heads))]
    made = [[text(cell, style) for cell, style in zip(row, styles, strict=True)] for row in rows]
    top = [text(head, style) for head, style in zip(heads, head_styles, strict=True)]
    return LongTable([top, *made], colWidths=[WIDTH_PT * width / whole for width in widths], style=_GRID, repeatRows=1)


def picture(png: bytes, width_pt: float) -> Image:
    """A picture of this width, in its own proportions."""
    image = Image(BytesIO(png))
    image.drawHeight *= width_pt / image.drawWidth
    image.drawWidth = width_pt
    return image


def space(height_mm: float) -> Spacer:
    """Some air."""
    return Spacer(1, height_mm * mm)
