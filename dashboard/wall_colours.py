"""The ward screen's colours, by day and by night, and which of them stand on which; pure.

Rules of this file: text reaches 4.5 to 1 on what it stands on, shapes and edges 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11);
tests compute every pair. Alarm colours after IEC 60601-1-8: high red, medium yellow, low cyan.
"""

from __future__ import annotations

from typing import Final

DAY: Final = {
    "ground": "#eef1f4", "surface": "#ffffff", "ink": "#131d27", "dim": "#465460", "edge": "#75828e",
    "well": "#1d6b46", "high": "#b3122a", "high-ink": "#ffffff", "medium": "#ffd426", "medium-ink": "#1a1600",
    "low": "#8be4f2", "low-ink": "#04252b", "high-tint": "#fdeef0", "medium-tint": "#fff8d9", "low-tint": "#e6f8fb",
    "lost": "#101010", "lost-ink": "#ffffff", "lost-edge": "#ffd426", "test": "#f3ecfa", "test-ink": "#3d1a61",
    "test-edge": "#5b2a86", "made": "#5b2a86", "made-ink": "#ffffff",
}  # fmt: skip
NIGHT: Final = {
    "ground": "#0b1015", "surface": "#141b22", "ink": "#dde5eb", "dim": "#9fadb9", "edge": "#66747f",
    "well": "#7cc79f", "high": "#c3142d", "high-ink": "#ffffff", "medium": "#e3bb00", "medium-ink": "#1a1600",
    "low": "#74d6e6", "low-ink": "#04252b", "high-tint": "#2a0f14", "medium-tint": "#26210a", "low-tint": "#0d2429",
    "lost": "#101010", "lost-ink": "#ffffff", "lost-edge": "#ffd426", "test": "#2a1a3d", "test-ink": "#e9dcf7",
    "test-edge": "#a97fd0", "made": "#3d1c5a", "made-ink": "#f1e8f8",
}  # fmt: skip
THEMES: Final = {"day": DAY, "night": NIGHT}

#: (what is written, on what).
TEXT: Final = (
    *((ink, on) for ink in ("ink", "dim") for on in ("ground", "surface", "high-tint", "medium-tint", "low-tint")),
    ("well", "ground"), ("well", "surface"), ("high-ink", "high"), ("medium-ink", "medium"), ("low-ink", "low"),
    ("lost-ink", "lost"), ("lost-edge", "lost"), ("test-ink", "test"), ("made-ink", "made"),
)  # fmt: skip
#: (shape or edge, on what). A shape of a priority is drawn in its ink on its colour.
SHAPES: Final = (
    ("edge", "ground"), ("edge", "surface"), ("dim", "surface"), ("ink", "surface"), ("high-ink", "high"),
    ("medium-ink", "medium"), ("low-ink", "low"), ("test-edge", "test"), ("lost-edge", "lost"),
)  # fmt: skip


def css() -> str:
    """The colours as CSS variables; night where the document says so."""
    day, night = ("".join(f"--w-{name}:{value};" for name, value in theme.items()) for theme in (DAY, NIGHT))
    return f"<style>:root{{{day}}}:root[data-sw-theme=night]{{{night}}}</style>"
