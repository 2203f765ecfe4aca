"""The letters of printed pages, put into the file so that every reader and printer has them.

DejaVu Sans where the system has it (Debian: fonts-dejavu-core), for names in Latin, Greek and Cyrillic letters; else
Vera, which comes with the PDF library, has the same shapes and widths, and knows Western Europe only. A letter that the
font lacks is printed as "?". Scripts that join letters or run from the right are not set properly.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN: Final = "sieveward"
BOLD: Final = "sieveward-bold"
_SYSTEM: Final = Path("/usr/share/fonts/truetype/dejavu")
_OWN: Final = Path(reportlab.__file__).parent / "fonts"


@cache
def letters() -> frozenset[int]:
    """Register the fonts once; returns the letters that both of them have."""
    plain, bold = _SYSTEM / "DejaVuSans.ttf", _SYSTEM / "DejaVuSans-Bold.ttf"
    if not (plain.is_file() and bold.is_file()):
        plain, bold = _OWN / "Vera.ttf", _OWN / "VeraBd.ttf"
    fonts = [TTFont(name, str(path)) for name, path in ((PLAIN, plain), (BOLD, bold))]
    for font in fonts:
        pdfmetrics.registerFont(font)
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset(fonts[0].face.charToGlyph) & frozenset(fonts[1].face.charToGlyph)


def marked(text: str) -> str:
    """Text for a paragraph: as `plain` makes it, and nothing taken for mark-up."""
    return escape(plain(text))


def plain(text: str) -> str:
    """Text in one line, with letters that the fonts lack as "?"."""
    known = letters()
    return "".join(c if ord(c) in known else "?" for c in " ".join(text.split()))
