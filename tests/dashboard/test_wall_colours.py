"""The ward screen's colours: contrast of every pair by day and night, in greyscale and for colour-blind readers."""

import re
from pathlib import Path

import numpy as np
import pytest

import dashboard
from dashboard.board import Look
from dashboard.wall_colours import DAY, NIGHT, SHAPES, TEXT, THEMES, css
from dashboard.wall_html import _SIGNS

CSS = (Path(dashboard.__file__).parent / "assets" / "wall.css").read_text()
#: Full dichromacy, linear RGB: Machado, Oliveira, Fernandes, IEEE TVCG 2009;15:1291 (severity 1.0; from memory).
FILTERS = {
    "none": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
    "greyscale": np.tile([0.2126, 0.7152, 0.0722], (3, 1)),
}  # fmt: skip


def linear(colour):
    """Hex to linear RGB, as WCAG 2.2 defines relative luminance."""
    parts = np.array([int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(colour, seen="none"):
    return float(np.clip(FILTERS[seen] @ linear(colour), 0, 1) @ [0.2126, 0.7152, 0.0722])


def contrast(one, other, seen="none"):
    low, high = sorted((luminance(one, seen), luminance(other, seen)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("seen", FILTERS)
@pytest.mark.parametrize("pair", TEXT)
def test_text_reaches_four_and_a_half_to_one(theme, seen, pair):
    assert contrast(THEMES[theme][pair[0]], THEMES[theme][pair[1]], seen) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("seen", FILTERS)
@pytest.mark.parametrize("pair", SHAPES)
def test_shapes_and_edges_reach_three_to_one(theme, seen, pair):
    assert contrast(THEMES[theme][pair[0]], THEMES[theme][pair[1]], seen) >= 3


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("seen", FILTERS)
def test_an_alarm_s_ground_differs_from_a_quiet_unit_s_or_its_edge_does(theme, seen):
    colours = THEMES[theme]
    for look in ("high", "medium", "low"):
        ground = contrast(colours[look], colours["surface"], seen)
        edge = contrast(colours[f"{look}-ink"], colours["surface"], seen)
        assert max(ground, edge) >= 3, look


@pytest.mark.parametrize("seen", FILTERS)
def test_high_is_told_from_the_others_by_its_brightness_too(seen):
    for colours in (DAY, NIGHT):
        for other in ("medium", "low"):
            assert contrast(colours["high"], colours[other], seen) >= 2.5


def test_both_themes_name_the_same_colours_and_the_style_uses_no_other():
    assert set(DAY) == set(NIGHT)
    used = set(re.findall(r"var\(--w-([a-z-]+)\)", CSS))
    assert used <= set(DAY)
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s])", CSS), "a colour outside of wall_colours.py is never computed"
    assert all(f"--w-{name}:" in css() for name in DAY)


def test_every_state_has_a_shape_of_its_own():
    shapes = {}
    for look in Look:
        drawn = re.search(rf"\.ww-mark-{look} \{{([^}}]*)\}}", CSS)
        assert drawn, look
        without_colour = re.sub(r"(background|color): var\([^)]*\);?", "", drawn[1])
        shapes[re.sub(r"\s+", "", without_colour), _SIGNS.get(look, "")] = look
    assert len(shapes) == len(Look)


def test_every_colour_of_text_in_the_style_stands_among_the_pairs():
    inks = set(re.findall(r"[^-]color: var\(--w-([a-z-]+)\)", CSS))
    # A shape's colour stands on its own ink: the pair the other way round.
    assert inks <= {pair[0] for pair in TEXT} | {"high", "medium", "low"}
