"""axe-core, the accessibility checker of the npm package, run on a page as it stands.

Its rules come from WCAG 2.0 to 2.2 (W3C), levels A and AA; what it cannot decide is not counted.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Page

SCRIPT = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
GRAVE = {"serious", "critical"}
RUN = """() => axe.run(document, {resultTypes: ['violations'], rules: {'target-size': {enabled: true}}})
    .then(found => found.violations.map(one => ({id: one.id, impact: one.impact,
        nodes: one.nodes.map(node => ({target: node.target.flat().join(' '), html: node.html.slice(0, 300),
                                       why: node.failureSummary}))})))"""


class Fault(NamedTuple):
    """A rule of axe-core that one place of a page breaks."""

    rule: str
    impact: str
    target: str
    html: str
    why: str


def source() -> str:
    """The checker; skips where it is not installed, and fails in CI."""
    if not SCRIPT.exists():
        why = "no axe-core here; npm ci --prefix tests/browser"
        pytest.fail(why) if os.environ.get("CI") == "true" else pytest.skip(why)
    return SCRIPT.read_text(encoding="utf-8")


def faults(page: Page) -> list[Fault]:
    """What axe-core calls serious or critical on this page."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(source())
    found: list[dict[str, Any]] = page.evaluate(RUN)
    return [
        Fault(one["id"], one["impact"], node["target"], node["html"], node["why"])
        for one in found
        if one["impact"] in GRAVE
        for node in one["nodes"]
    ]
