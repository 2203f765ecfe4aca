"""How long a text is as an SMS, after 3GPP TS 23.038: 160 characters of the 7-bit alphabet, 70 of any other; pure."""

from __future__ import annotations

import unicodedata
from typing import Final

#: The default alphabet (6.2.1) without the escape, and the extension (6.2.1.1), whose letters count twice.
BASIC: Final = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENDED: Final = frozenset("\f^{}\\[~]|€")
SEPTETS: Final = 160
WIDE: Final = 70
#: Dashes, quotation marks and signs that people and word processors write.
_PLAIN: Final = dict(zip("–—−×’\u2018“”", "---x''\"\"", strict=True)) | {"…": "...", "°": " deg"}


def plain(text: str) -> str:
    """The text with letters that the 7-bit alphabet lacks written by their nearest ones, where there are such."""
    return "".join(map(_nearest, text))


def _nearest(letter: str) -> str:
    if letter in BASIC or letter in EXTENDED:
        return letter
    if letter in _PLAIN:
        return _PLAIN[letter]
    base = "".join(part for part in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(part))
    return base if base and all(part in BASIC for part in base) else letter


def is_plain(text: str) -> bool:
    """Whether the 7-bit alphabet is enough."""
    return all(letter in BASIC or letter in EXTENDED for letter in text)


def length(text: str) -> tuple[int, int]:
    """How long the text is, and how long it may be to go as one SMS."""
    if is_plain(text):
        return len(text) + sum(letter in EXTENDED for letter in text), SEPTETS
    return len(text.encode("utf-16-be")) // 2, WIDE


def cut(text: str, end: str = "") -> str:
    """The text and then `end`, cut between words so that both go as one SMS."""
    if goes(text + end):
        return text + end
    words = text.split(" ")
    while len(words) > 1 and not goes(f"{' '.join(words)}...{end}"):
        words.pop()
    kept = " ".join(words)
    while kept and not goes(f"{kept}...{end}"):
        kept = kept[:-1]
    return f"{kept}...{end}"


def goes(text: str) -> bool:
    """Whether the text goes as one SMS."""
    used, limit = length(text)
    return used <= limit
