"""The ward screen in a real browser: it fits, can be read from afar, sounds as it says, and takes old news off."""

import os
import subprocess
import time

import msgspec
import pytest
from playwright.sync_api import expect

from collector.notify.waytest import DOCUMENT, WayTest
from dashboard import wall_words
from dashboard.launch import command
from tests.dashboard.hospital import MINUTE, Hospital, good, site_text
from tests.dashboard.test_browser import browser, kept_alive, page_of, serving  # noqa: F401 - a fixture
from tests.dashboard.test_wall_colours import contrast
from tests.dashboard.ward import WARDS, LiveWards, bad_night
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SIZES = [(1280, 800), (1920, 1080)]
SAID = wall_words.IN_BROWSER
#: Every visible text with its colour and the ground it stands on, as [text, colour, ground].
PAINTED = """() => [...document.querySelectorAll('#sw-wall *')].filter(n => n.checkVisibility() && n.clientWidth > 1
      && [...n.childNodes].some(c => c.nodeType === 3 && c.textContent.trim()) && !n.closest('#wall-voice'))
    .map(n => { let g = n; while (/^rgba.*, 0\\)$/.test(getComputedStyle(g).backgroundColor)) g = g.parentElement;
      return [n.textContent.trim().slice(0, 30), getComputedStyle(n).color, getComputedStyle(g).backgroundColor]; })"""
CUT = """() => { const r = document.querySelector('#sw-wall'); const out = [];
    if (r.scrollHeight > r.clientHeight || r.scrollWidth > r.clientWidth) out.push('screen');
    for (const id of ['wall-slots', 'wall-alert', 'wall-short', 'wall-lost']) { const n = document.getElementById(id);
      if (n && (n.scrollHeight > n.clientHeight + 1 || n.scrollWidth > n.clientWidth + 1)) out.push(id); }
    for (const n of r.querySelectorAll('.ww-tile, .ww-name b, .ww-values, #wall-alert, #wall-short li')) {
      const b = n.getBoundingClientRect();
      if (b.right > innerWidth + 1 || b.bottom > innerHeight + 1 || n.scrollWidth > n.clientWidth + 1 && n.clientWidth)
        out.push(n.id || n.textContent); }
    return out; }"""
#: The height of a capital letter on the screen, in CSS pixels.
CAPITAL = """selector => { const s = getComputedStyle(document.querySelector(selector));
    const c = document.createElement('canvas').getContext('2d');
    c.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`;
    return c.measureText('H').actualBoundingBoxAscent; }"""


@pytest.fixture(scope="module")
def ward(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wards")
    wards = LiveWards(folder)
    with wards.living(), serving(wards.data_dir, folder / "log") as (url, _):
        yield wards, url


@pytest.fixture
def calm(ward):
    wards, url = ward
    wards.calm()
    return wards, url


def opened(page, url, ward="many", theme="Day"):
    page.add_init_script(f"localStorage.setItem('sw-wall-theme', '{theme}')")
    page.goto(f"{url}/?ward={ward}")
    expect(page.locator("#wall-tiles .ww-tile, #wall-lost").first).to_be_visible()


def sounded(page):
    """The bursts that were made so far, by name."""
    return [name for name, _ in page.evaluate("swSound.log")]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("ward_id", WARDS)
def test_a_calm_ward_fits_without_scrolling(browser, calm, size, ward_id):  # noqa: F811
    _, url = calm
    with page_of(browser, *size) as page:
        opened(page, url, ward_id)
        expect(page.locator("#sw-wall .ww-tile")).to_have_count(WARDS[ward_id])
        expect(page.locator("#wall-alert")).to_contain_text("Nothing needs attention.")
        assert page.evaluate(CUT) == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("theme", ["Day", "Night"])
def test_a_bad_night_fits_can_be_read_and_keeps_its_contrast(browser, calm, size, theme):  # noqa: F811
    wards, url = calm
    bad_night(wards)
    with page_of(browser, *size) as page:
        opened(page, url, theme=theme)
        alert = page.locator("#wall-alert")
        for said in ("HIGH", "unit-19", "Unit output very low", "Shut-off expected in",
                     "Change over to the backup now.", "Change over to cylinder many-e1 (by the nurses' desk)",
                     "Told: Night nurse", wall_words.NOT_ACKNOWLEDGED):  # fmt: skip
            expect(alert).to_contain_text(said)
        expect(page.locator("#wall-short li")).to_have_count(3)
        expect(page.locator("#tile-unit-40")).to_contain_text("unit-40")
        assert page.evaluate(CUT) == []
        painted = page.evaluate(PAINTED)
        assert len(painted) > 60
        for text, ink, ground in painted:
            assert contrast(hexed(ink), hexed(ground)) >= 4.5, (text, ink, ground)


def hexed(colour):
    """rgb(…) as #rrggbb."""
    return "#" + "".join(f"{int(part):02x}" for part in colour.strip("rgba()").split(",")[:3])


def test_a_bad_night_under_a_test_of_the_way_fits_too(browser, calm):  # noqa: F811
    wards, url = calm
    bad_night(wards)
    now_ms = wards.one.now_ms
    test = WayTest(seq=9, at_ms=now_ms, until_ms=now_ms + 600_000, wards=("many",), who="Night nurse")
    wards.document(DOCUMENT, msgspec.to_builtins(test))
    with page_of(browser, 1280, 800) as page:
        opened(page, url)
        expect(page.locator("#wall-over")).to_contain_text("TEST - NO ALARM")
        expect(page.locator("#wall-alert.ww-high")).to_be_visible()
        assert page.evaluate(CUT) == []
        expect(page.locator("#wall-tiles.ww-crowd")).to_have_count(0)
        assert page.evaluate(CAPITAL, "#tile-unit-19 .ww-name b") >= 12
    wards.document(DOCUMENT, msgspec.to_builtins(test) | {"until_ms": now_ms})


def test_the_letters_are_as_large_as_is_said(browser, calm):  # noqa: F811
    """On a 43-inch screen (535 mm high) of 1080 lines, read from 4 m: 1:215 is 16 minutes of arc."""
    wards, url = calm
    mm = 535 / 1080
    with page_of(browser) as page:
        opened(page, url)
        assert page.evaluate(CAPITAL, "#tile-unit-19 .ww-name b") * mm >= 4000 / 300
        bad_night(wards)
        expect(page.locator("#wall-alert.ww-high")).to_be_visible()
        for part in ("#wall-alert h2 b", "#wall-alert h2 span", "#wall-alert .ww-do dd"):
            assert page.evaluate(CAPITAL, part) * mm >= 4000 / 215, part
        for part in ("#wall-alert .ww-band b", "#wall-alert .ww-left dd", "#wall-alert .ww-change dd"):
            assert page.evaluate(CAPITAL, part) * mm >= 4000 / 270, part
        assert page.evaluate(CAPITAL, "#tile-unit-19 .ww-name b") * mm >= 4000 / 400


def test_only_changed_parts_are_sent(browser, calm):  # noqa: F811
    wards, url = calm
    with page_of(browser) as page:
        opened(page, url)
        settled = "document.querySelectorAll('#sw-feed > *').length <= 3"
        page.wait_for_function(settled)
        page.evaluate("document.querySelector('#tile-unit-18').dataset.same = 'yes'")
        wards.set("unit-19", purity_pct=91.7)
        expect(page.locator("#tile-unit-19")).to_contain_text("91.7")
        page.wait_for_function("document.querySelectorAll('#sw-feed > *').length <= 6")
        assert page.evaluate("document.querySelector('#tile-unit-18').dataset.same") == "yes"


def test_day_and_night_go_by_the_clock_until_somebody_chooses(browser, calm):  # noqa: F811
    _, url = calm
    with page_of(browser) as page:
        page.goto(f"{url}/?ward=few")
        button, theme = page.locator("#wall-theme"), "document.documentElement.dataset.swTheme"
        expect(button).to_have_text(SAID["themeAuto"])
        night = page.evaluate("document.querySelector('#sw-feed').dataset.night")
        page.wait_for_function(f"{theme} === '{'night' if night == '1' else 'day'}'")
        button.click()
        button.click()
        expect(button).to_have_text(SAID["themeNight"])
        page.reload()
        expect(button).to_have_text(SAID["themeNight"])
        page.wait_for_function(f"{theme} === 'night'")


def test_sound_is_off_until_somebody_allows_it_and_then_goes_by_priority(browser, calm):  # noqa: F811
    wards, url = calm
    with page_of(browser) as page:
        opened(page, url)
        sound = page.locator("#wall-sound")
        expect(sound).to_have_text(SAID["soundOff"])
        wards.alarm("unit-31", "flow-above-ward-limit")
        expect(page.locator("#wall-alert.ww-medium")).to_be_visible()
        expect(sound).to_have_text(SAID["soundOff"])
        assert sounded(page) == []
        sound.click()
        expect(sound).to_have_text(SAID["soundMedium"])
        wards.alarm("unit-19", "purity-red")
        expect(sound).to_have_text(SAID["soundHigh"])
        wait_for(lambda: sounded(page)[-2:] == ["medium", "high"], 5, "a high burst at once after a medium one")
        wards.acknowledge("unit-19", "purity-red")
        expect(sound).to_have_text(SAID["soundMedium"])
        wards.acknowledge("unit-31", "flow-above-ward-limit")
        expect(sound).to_have_text(SAID["soundAcked"].replace("{min}", "3"))
        expect(page.locator("#wall-alert")).to_contain_text("Acknowledged: N. Example (ward)")
        page.evaluate("swSound.last.at -= 181000")  # three minutes pass
        wait_for(lambda: sounded(page)[-1] == "reminder", 5, "a reminder")


def test_a_pause_here_ends_with_a_new_alarm(browser, calm):  # noqa: F811
    wards, url = calm
    with page_of(browser) as page:
        wards.alarm("unit-31", "flow-above-ward-limit")
        opened(page, url)
        sound, pause = page.locator("#wall-sound"), page.locator("#wall-pause")
        expect(pause).to_be_hidden()
        sound.click()
        pause.click()
        expect(sound).to_contain_text("Sound PAUSED here, 1:5")
        expect(pause).to_be_hidden()
        wards.alarm("unit-33", "flow-above-ward-limit")
        expect(sound).to_have_text(SAID["soundMedium"])
        pause.click()
        page.evaluate("swSound.pausedUntil -= 119000")
        expect(sound).to_have_text(SAID["soundMedium"])


def test_a_browser_that_blocks_sound_is_never_said_to_sound(browser, calm):  # noqa: F811
    wards, url = calm
    wards.alarm("unit-19", "purity-red")
    with page_of(browser, watched=False) as page:  # the browser warns on the console that it blocks
        page.add_init_script("localStorage.setItem('sw-sound', '1')")  # it was allowed before this page was loaded
        opened(page, url)
        sound = page.locator("#wall-sound")
        expect(sound).to_have_text(SAID["soundBlocked"])
        assert sounded(page) == []
        sound.click()
        expect(sound).to_have_text(SAID["soundHigh"])
        page.evaluate("swSound.ctx.suspend()")  # the device was taken away
        expect(sound).to_have_text(SAID["soundBlocked"])


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_what_nobody_has_acknowledged_flashes_unless_motion_is_unwanted(browser, calm, motion):  # noqa: F811
    wards, url = calm
    wards.alarm("unit-19", "purity-red")
    with page_of(browser) as page:
        page.emulate_media(reduced_motion=motion)
        opened(page, url)
        mark = "getComputedStyle(document.querySelector('#wall-alert .ww-mark'))"
        page.wait_for_function("document.querySelector('#wall-alert.ww-high')")
        assert page.evaluate(f"{mark}.animationName") == ("none" if motion == "reduce" else "ww-flash")
        if motion != "reduce":
            assert page.evaluate(f"{mark}.animationDuration") == "0.5s"


def test_a_lost_collector_takes_the_screen_over_and_gives_it_back(browser, calm):  # noqa: F811
    wards, url = calm
    with page_of(browser) as page:
        opened(page, url)
        wards.heard_s_ago = 60
        lost = page.locator("#wall-lost")
        expect(lost).to_contain_text("NOT LIVE: the collector has not been heard for")
        expect(lost).to_contain_text("Last news of this ward's units:")
        expect(page.locator("#sw-wall .ww-tile")).to_have_count(0)
        assert page.evaluate(CUT) == []
        wards.heard_s_ago = 0
        expect(page.locator("#sw-wall .ww-tile")).to_have_count(40)
        expect(lost).to_have_count(0)


def test_a_ward_of_which_nothing_is_heard_takes_the_screen_over(browser, calm):  # noqa: F811
    wards, url = calm
    with page_of(browser) as page:
        opened(page, url, "few")
        for n in range(1, 5):
            wards.silent.add(f"unit-{n:02}")
            wards.set(f"unit-{n:02}", last_ms=wards.one.now_ms - 600_000)
        expect(page.locator("#wall-lost")).to_contain_text("NO READINGS from any unit of this ward since")


@pytest.mark.parametrize("theme", ["Day", "Night"])
def test_a_phone_scrolls_down_but_not_sideways(browser, calm, theme):  # noqa: F811
    wards, url = calm
    bad_night(wards)
    with page_of(browser, 360, 740) as page:
        opened(page, url, theme=theme)
        expect(page.locator("#wall-alert.ww-high")).to_be_visible()
        wide = "(() => { const n = document.querySelector('#sw-wall'); return n.scrollWidth - n.clientWidth; })()"
        assert page.evaluate(wide) <= 0
        small = page.evaluate("""[...document.querySelectorAll('#sw-wall :is(button, a)')]
            .filter(n => n.checkVisibility() && !n.closest('dd'))
            .filter(n => n.getBoundingClientRect().height < 24).map(n => n.textContent)""")
        assert small == []


def test_five_hundred_units_scroll_in_letters_that_can_be_read(browser, tmp_path):  # noqa: F811
    one = Hospital(tmp_path / "data", site_text(500, per_ward=500), time.time_ns() // 1_000_000 - MINUTE)
    one.play(1, good)
    with kept_alive(one), serving(one.data_dir, tmp_path / "log") as (url, _), page_of(browser, 1280, 800) as page:
        opened(page, url, "medical")
        expect(page.locator("#sw-wall .ww-tile")).to_have_count(500)
        expect(page.locator("#wall-tiles.ww-crowd")).to_be_visible()
        assert page.evaluate("document.querySelector('#sw-wall').scrollHeight <= innerHeight")
        assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('#tile-unit-01')).fontSize)") >= 14
    one.store.close()


def test_a_dead_server_takes_the_screen_over_with_the_time_until_it_is_back(browser, tmp_path):  # noqa: F811
    wards = LiveWards(tmp_path)
    wards.alarm("unit-19", "purity-red")
    with (
        wards.living(),
        serving(wards.data_dir, tmp_path / "log") as (url, process),
        page_of(browser, watched=False) as page,  # a lost connection is an error of the console
    ):
        opened(page, url)
        expect(page.locator("#wall-dead")).to_be_hidden()
        page.locator("#wall-sound").click()
        process.kill()
        dead = page.locator("#wall-dead")
        expect(dead).to_contain_text("NOT LIVE")
        expect(dead).to_contain_text("no news since")
        expect(dead).to_contain_text("unit-19: Unit output very low.")
        expect(page.locator("#wall-tiles")).to_be_hidden()
        expect(page.locator("#sw-not-live")).to_be_hidden()
        box = dead.bounding_box()
        assert (box["width"], box["height"]) == (1920, 1080)
        expect(page.locator("#wall-sound")).to_have_text(SAID["soundHigh"])  # what stood unheard still sounds
        argv, env = command(wards.data_dir, int(url.rpartition(":")[2]))
        again = subprocess.Popen(argv, env=os.environ | env, stdout=subprocess.DEVNULL, stderr=subprocess.STDOUT)
        try:
            expect(dead).to_be_hidden()
            expect(page.locator("#tile-unit-19")).to_be_visible()
            expect(page.locator("#wall-sound")).to_have_text(SAID["soundHigh"])  # and nobody had to tap again
        finally:
            again.kill()
            again.wait(10)
