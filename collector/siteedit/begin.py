"""The site file of a hospital that has nothing yet: only what its record is kept under; the rest comes from screens."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from collector.site import SiteError, load_site, parse_site

_TEXT: Final = """\
# What may stand in this file: README, "The site file". The dashboard's page "First use" adds to it.
[facility]
id = "{facility}"
"""


def begin_site(path: Path, facility: str) -> bool:
    """Write the site file of an empty hospital where there is none; returns whether it was written.

    SiteError: the id cannot be one, the file there is another facility's, or it cannot be written.
    """
    if path.exists():
        if (known := load_site(path).facility.id) != facility:
            raise SiteError([f"{path} is the site file of '{known}'; name another file for '{facility}'"])
        return False
    text = _TEXT.format(facility=facility)
    parse_site(text, str(path))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as out:
            out.write(text)
    except OSError as error:
        raise SiteError([f"{path}: cannot be written ({error.strerror}); name a place that can"]) from error
    return True
