"""The ward screen against published rules: its sounds, its flashing, its letters and its contrast.

Sources: IEC 60601-1-8 tables of auditory signals (from memory): high 10 pulses of 75-200 ms, spacing x of 50-125 ms
within groups of 3 + 2, between the groups 2x and a pulse, between the halves 0.35-1.3 s, bursts every 2.5-15 s; medium
3 pulses of 125-250 ms, spacing 125-250 ms, bursts every 2.5-30 s; low 1 or 2, more than 15 s apart or once; fundamental
150-1000 Hz, four harmonics within 15 dB. Flashing (same, a patient monitor's published manual): high 1.4-2.8 Hz, medium
0.4-0.8 Hz; WCAG 2.2, 2.3.1: no more than three flashes a second. Letters: ISO 9241-303, a character of 16 minutes of
arc at least, 20 to 22 preferred (from memory); signs 1:200 to 1:300 of the distance (common practice). Contrast: WCAG
2.2, the formula, and #767676 on white as its known 4.54 to 1.
"""

import itertools
import math
import re
from pathlib import Path

import numpy as np
import pytest

import dashboard
from tests.dashboard.test_browser import browser  # noqa: F401 - a fixture
from tests.dashboard.test_wall_colours import contrast

ASSETS = Path(dashboard.__file__).parent / "assets"
SCRIPT = (ASSETS / "wall_sound.js").read_text()
STYLE = (ASSETS / "wall.css").read_text()
RATE = 44_100
#: A burst as the browser itself makes it, without a loudspeaker.
RENDER = """async (name) => { const one = new OfflineAudioContext(1, 44100 * 4, 44100); swSound.burst(one, name, 0);
    return [...(await one.startRendering()).getChannelData(0)]; }"""

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def rendered(browser):  # noqa: F811
    """Each burst's samples, and what it is said to be."""
    page = browser.new_page()
    page.goto("data:text/html,<p>sound</p>")
    page.evaluate(SCRIPT)
    pulses = page.evaluate("swSound.PULSE")
    yield {name: (np.array(page.evaluate(RENDER, name)), pulses[name]) for name in pulses}
    page.close()


def pulses_s(samples):
    """Begin and end of each pulse that can be heard, in seconds."""
    loud = np.convolve(np.abs(samples), np.ones(220) / 220, "same") > 0.02 * np.abs(samples).max()
    edges = np.flatnonzero(np.diff(loud.astype(int)))
    return [(begin / RATE, end / RATE) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


@pytest.mark.parametrize(("name", "count", "shortest_s", "longest_s"),
                         [("high", 10, 0.075, 0.2), ("medium", 3, 0.125, 0.25), ("low", 2, 0.125, 0.25)])  # fmt: skip
def test_pulses_by_priority(rendered, name, count, shortest_s, longest_s):
    found = pulses_s(rendered[name][0])
    assert len(found) == count
    assert all(shortest_s <= end - begin <= longest_s for begin, end in found)


def test_spacing_within_a_high_burst(rendered):
    found = pulses_s(rendered["high"][0])
    gaps = [later[0] - earlier[1] for earlier, later in itertools.pairwise(found)]
    pulse_s = rendered["high"][1]["long"]
    x = [gaps[n] for n in (0, 1, 3, 5, 6, 8)]
    assert all(0.05 <= gap <= 0.135 for gap in x), "spacing; 10 ms for the rise that cannot be heard"
    assert all(gaps[n] == pytest.approx(2 * np.mean(x) + pulse_s, abs=0.06) for n in (2, 7))
    assert 0.35 <= gaps[4] <= 1.3


def test_spacing_within_a_medium_burst(rendered):
    found = pulses_s(rendered["medium"][0])
    assert all(0.125 <= found[n + 1][0] - found[n][1] <= 0.25 for n in (0, 1))


def test_bursts_come_again_as_often_as_they_must(rendered):
    again_ms = {name: one[1]["every"] for name, one in rendered.items()}
    assert 2_500 <= again_ms["high"] <= 15_000
    assert 2_500 <= again_ms["medium"] <= 30_000
    assert again_ms["low"] == 0
    assert again_ms["reminder"] > 15_000


@pytest.mark.parametrize("name", ["high", "medium", "low", "reminder"])
def test_a_pulse_has_a_fundamental_and_four_harmonics_within_fifteen_decibel(rendered, name):
    samples, said = rendered[name]
    begin, end = pulses_s(samples)[0]
    pulse = samples[int((begin + 0.2 * (end - begin)) * RATE) : int((begin + 0.8 * (end - begin)) * RATE)]
    spectrum = np.abs(np.fft.rfft(pulse * np.hanning(len(pulse)), RATE))
    assert 150 <= said["hz"] <= 1000
    peaks = [spectrum[int(n * said["hz"]) - 12 : int(n * said["hz"]) + 13].max() for n in range(1, 6)]
    near = [peak for peak in peaks[1:] if 20 * math.log10(peaks[0] / peak) <= 15]
    assert len(near) >= 4


def test_higher_is_not_quieter(rendered):
    loudest = [np.abs(rendered[name][0]).max() for name in ("high", "medium", "low", "reminder")]
    assert loudest == sorted(loudest, reverse=True)


@pytest.mark.parametrize(("look", "slowest_hz", "fastest_hz"), [("high", 1.4, 2.8), ("medium", 0.4, 0.8)])
def test_flashing(look, slowest_hz, fastest_hz):
    (took,) = re.findall(rf"ww-mark-{look} \{{ animation: ww-flash ([\d.]+)s", STYLE)
    assert slowest_hz <= 1 / float(took) <= fastest_hz
    assert 1 / float(took) <= 3
    (lit,) = re.findall(r"@keyframes ww-flash \{ 0%, (\d+)%", STYLE)
    assert 20 <= int(lit) <= 60
    assert "ww-mark-low { animation" not in STYLE, "low is steady"


def test_sixteen_minutes_of_arc_at_four_metres():
    assert 4000 * math.tan(math.radians(16 / 60)) == pytest.approx(18.6, abs=0.05)
    assert 4000 * math.tan(math.radians(16 / 60)) == pytest.approx(4000 / 215, abs=0.05)
    assert 4000 * math.tan(math.radians(22 / 60)) == pytest.approx(25.6, abs=0.05)


def test_contrast_is_the_formula_s():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
