"""Made-up languages for tests: every text in letters that English has not, so that what is left in English shows."""

import io
import re

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from collector.tongue import catalogues
from collector.tongue.extraction import modules, texts

_KEPT = re.compile(r"(\{\w*\}|`[^`]*`|https?://\S*|\[\[\w+\]\])")
_LETTERS = str.maketrans(
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ", "αβςδεφγηιϳκλμνοπθρστυϋωχψζΑΒΣΔΕΦΓΗΙͿΚΛΜΝΟΠΘΡΣΤΥΫΩΧΨΖ"
)


def made_up(text):
    """A text in made-up letters, a third longer than it was, its fields and commands as they are."""
    parts = _KEPT.split(text)
    told = "".join(part if place % 2 else part.translate(_LETTERS) for place, part in enumerate(parts))
    return told + "ω" * (sum(map(str.isalpha, text)) // 3 if text == text.strip() and not text.endswith("** ") else 0)


def write_tongue(folder, tag):
    """Write a catalogue of a language in which everything is translated; `tag` as Babel knows it."""
    made = Catalog(locale=tag)
    for module in modules():
        for _, text in texts(module):
            told = made_up(text) if isinstance(text, str) else tuple(made_up(text[1]) for _ in range(made.num_plurals))
            made.add(text, told)
    body = io.BytesIO()
    write_po(body, made)
    path = folder / tag / "LC_MESSAGES" / f"{catalogues.DOMAIN}.po"
    path.parent.mkdir(parents=True)
    path.write_bytes(body.getvalue())
