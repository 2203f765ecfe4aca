"""Screens in a made-up language leave nothing in English; whose language a screen is told in."""

import re

import pytest

from collector.tongue import catalogues, current
from dashboard import language
from tests.dashboard.conftest import SCREENS
from tests.made_tongues import write_tongue

PAGES = sorted(path.stem for path in SCREENS.glob("*.py") if path.stem not in ("__init__", "leave"))
#: What stays as it is in every language: names of the site file and of people, identifiers of journal and readings,
#: signs of units, standards, times of the clock, and what other programs say.
SAME = re.compile(
    r"""(?x) <[^>]*> | \{[^}]*\} | `[^`]*` | https?://\S+ | \]\([^)]*\) | &\w+; | \b[a-z]+(-[a-z0-9]+)+\b | \b\w+_\w+\b
    | \b(sieveward|InfluxDB|SenML|PDF|EEMUA|IEC|ISA|ISO|WHO|NIST|MTBF|Français|English|Esperanto|UTC|CSV|QR|iCalendar)\b
    | \b(Children|Lakeside|east|Maternity|Medical|Newborn|Surgical|invented|five|six)\b
    | \[\[\w+\]\] | \b(Jan|Feb|Mar|Apr|Maj|Jun|Jul|Sep|Okt|Nov|Dec)\b
    | \b(min|h|s|d|L|W|V|kPa|kWh|MB|kB|GB|B|bar|pct|lpm|Jan|ms)\b | \bL/min\b | \bWard\ \w+ | \b[A-Z]\.\ ?\w+ | \bunit\b
    """
)
ENGLISH = re.compile(r"\b[A-Za-z]{3,}\b")


@pytest.fixture
def told_in(tmp_path, monkeypatch):
    """Tell every screen in a made-up language: told_in("eo")."""

    def tell(tag):
        write_tongue(tmp_path / "tongues", tag)
        monkeypatch.setattr(catalogues, "LOCALE", tmp_path / "tongues")
        monkeypatch.setattr(current, "_finders", [lambda: tag])
        catalogues.forget()

    yield tell
    monkeypatch.undo()
    catalogues.forget()


def shown(app):
    """Every text of a screen, labels and choices too, without markup."""
    assert not app.exception, app.exception
    parts = [
        re.sub(r"<style>.*?</style>|<script>.*?</script>", "", block.proto.body, flags=re.S)
        for block in app.get("html")
    ]
    for kind in ("markdown", "caption", "info", "warning", "error", "success", "subheader", "header"):
        parts += [str(one.value) for one in getattr(app, kind)]
    for kind in (
        "button",
        "selectbox",
        "text_input",
        "number_input",
        "checkbox",
        "multiselect",
        "date_input",
        "toggle",
    ):
        parts += [f"{one.label}\n{one.help or ''}" for one in getattr(app, kind)]
    parts += [f"{one.label}\n" + "\n".join(map(str, one.options)) for one in app.selectbox]
    parts += [one.label for one in app.expander]
    parts += [" ".join(map(str, one.value.columns)) for one in app.dataframe]
    return [part for part in parts if part.strip()]


def left_in_english(app):
    """The words of a screen that no catalogue has told."""
    return sorted({word for part in shown(app) for word in ENGLISH.findall(SAME.sub(" ", part))})


@pytest.mark.parametrize("page", PAGES)
def test_no_page_of_a_bad_hour_leaves_a_text_in_english(screen, bad_hour, told_in, page):
    told_in("eo")
    assert not (left := left_in_english(screen(page))), f"in English: {left}"


@pytest.mark.parametrize("page", PAGES)
def test_no_empty_page_leaves_a_text_in_english(screen, hospital, told_in, page):
    hospital(minutes=0, units=0)
    told_in("eo")
    assert not (left := left_in_english(screen(page))), f"in English: {left}"


def test_a_ward_s_screen_leaves_no_text_in_english(screen, bad_hour, told_in):
    told_in("eo")
    assert not (left := left_in_english(screen("board", ward="newborn"))), f"in English: {left}"


# -- whose language ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("tags", "accepted", "facility", "wall", "told"), [
    (("fr", ""), "en", "en", False, "fr"),  # asked for in the address
    (("", "fr"), "en", "en", False, "fr"),  # chosen before
    (("xx", ""), "fr-CA,fr;q=0.8,en;q=0.5", "en", False, "fr"),  # no such language: the browser's
    (("", ""), "de-DE,de;q=0.9,fr;q=0.4,en;q=0.2", "en", False, "fr"),  # the first of the browser's that there is
    (("", ""), "de", "fr", False, "fr"),  # none of the browser's: the site file's
    (("", ""), "", "de", False, "en"),  # none at all: what is written
    (("", ""), "en", "fr", True, "fr"),  # a wall screen's browser says nothing of the ward
    (("en", ""), "fr", "fr", True, "en"),  # but its link may
    (("", ""), "fr;q=x,;;,*;q=0", "en", False, "en"),
])  # fmt: skip
def test_whose_language_it_is(tags, accepted, facility, wall, told):
    language.of_header.cache_clear()
    assert language.chosen(tags, accepted, facility, wall=wall) == told


def test_a_region_asks_for_its_language():
    assert language.offered("fr-BE") == "fr"
    assert language.offered("FR_be") == "fr"
    assert language.offered("../fr") is None
