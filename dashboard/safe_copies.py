"""How old the last safe copy of the store is, and the warning when it is too old; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from dashboard.figures import size_text
from dashboard.health import Figures
from dashboard.times import DAY, age_text

#: A copy is made every night: a second one that fails is worth a word. Common practice, no source.
OLD_MS: Final = 2 * DAY
TITLE: Final = "Safe copies"
HOW: Final = "Make one with `sieveward keep now --to FOLDER`, every night with the timer of the installation."


def copy_figures(document: Mapping[str, Any], wall_ms: int) -> Figures:
    """The last good copy and, when the last try was in vain, that."""
    good = document.get("good")
    if not good:
        return [("Last good copy", "none")]
    found = [
        ("Last good copy", _ago(wall_ms - good["wall_ms"])), ("In", str(good["folder"])),
        ("Size", size_text(good["bytes"])), ("Journal to row", f"{good['head_seq']:,}"),
    ]  # fmt: skip
    failed = _failed(document)
    return [*found, ("Last try", f"failed {_ago(wall_ms - failed['wall_ms'])}")] if failed else found


def copy_warning(document: Mapping[str, Any], wall_ms: int, *, simulated: bool) -> str:
    """What to do about copies, or nothing; a simulated facility needs none."""
    good, failed = document.get("good"), _failed(document)
    said = f" The last try said: {failed['said']}" if failed else ""
    if simulated and not document:
        return ""
    if not good:
        return f"No safe copy of the store has been made yet.{said} {HOW}"
    age_ms = wall_ms - good["wall_ms"]
    if age_ms < 0:
        return f"The last safe copy is said to be from the future: look at this machine's clock.{said}"
    if age_ms > OLD_MS:
        return f"The last safe copy is {age_text(age_ms)} old.{said} {HOW}"
    return f"The last safe copy failed; the one before is {age_text(age_ms)} old.{said}" if failed else ""


def _failed(document: Mapping[str, Any]) -> Mapping[str, Any] | None:
    good, failed = document.get("good"), document.get("failed")
    return failed if failed and (not good or failed["wall_ms"] > good["wall_ms"]) else None


def _ago(age_ms: int) -> str:
    return f"{age_text(max(age_ms, 0))} ago"
