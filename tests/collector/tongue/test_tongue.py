"""Texts, plurals, numbers and days in another language; catalogues that are broken break no screen."""

import ast
from datetime import date, datetime, time
from pathlib import Path

import pytest

import dashboard
from collector.tongue import catalogues, language, number, plural, said, speaking
from collector.tongue.extraction import modules
from collector.tongue.rewriting import is_constant, is_drawing, is_text, is_words
from dashboard import words
from tests.made_tongues import write_tongue


@pytest.fixture
def made(tmp_path, monkeypatch):
    """A catalogue of one's own: made("pl", 'msgid "…"\\nmsgstr "…"')."""
    monkeypatch.setattr(catalogues, "LOCALE", tmp_path)

    def write(tag, entries, plural_forms="nplurals=2; plural=(n != 1);"):
        path = catalogues.file_of(tag)
        path.parent.mkdir(parents=True)
        head = (
            f'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n"Plural-Forms: {plural_forms}\\n"\n\n'
        )
        path.write_text(head + entries, encoding="utf-8")
        catalogues.forget()

    yield write
    monkeypatch.undo()
    catalogues.forget()


def test_english_is_what_is_spoken_where_nobody_said_otherwise():
    assert language() == "en"
    assert str(words.CALM) == "Nothing needs attention."


def test_a_constant_and_a_function_are_told_in_the_language_spoken():
    with speaking("fr"):
        assert str(words.CALM) == "Rien ne demande d’attention."
        assert words.no_data_since("12:05") == "Pas de données depuis 12:05"
        assert words.PRIORITY == {"high": "Haute", "medium": "Moyenne", "low": "Basse"}
    assert words.PRIORITY["high"] == "High"


def test_a_language_is_added_by_its_file_alone(made):
    made("pl", 'msgid "Nothing needs attention."\nmsgstr "Nic nie wymaga uwagi."\n')
    assert catalogues.languages() == ("en", "pl")
    with speaking("pl"):
        assert str(words.CALM) == "Nic nie wymaga uwagi."
        assert str(words.OFF) == "Off", "what is not translated is English"


def test_plural_forms_are_those_of_the_language(made):
    forms = "nplurals=3; plural=(n==1 ? 0 : n%10>=2 && n%10<=4 && (n%100<10 || n%100>=20) ? 1 : 2);"
    made("pl", 'msgid "{count} week"\nmsgid_plural "{count} weeks"\nmsgstr[0] "{count} tydzień"\n'
         'msgstr[1] "{count} tygodnie"\nmsgstr[2] "{count} tygodni"\n', forms)  # fmt: skip
    with speaking("pl"):
        told = [plural("{count} week", "{count} weeks", count) for count in (1, 2, 5, 22)]
    assert told == ["1 tydzień", "2 tygodnie", "5 tygodni", "22 tygodnie"]
    assert [plural("{count} week", "{count} weeks", count) for count in (0, 1, 2)] == ["0 weeks", "1 week", "2 weeks"]


@pytest.mark.parametrize("entry", [
    'msgid "No data since {when}"\nmsgstr "Depuis {moment}"\n',
    '#, fuzzy\nmsgid "No data since {when}"\nmsgstr "Peut-être {when}"\n',
    'msgid "No data since {when}"\nmsgstr ""\n',
])  # fmt: skip
def test_a_translation_that_cannot_be_right_is_left(made, entry):
    made("pl", entry)
    with speaking("pl"):
        assert words.no_data_since("12:05") == "No data since 12:05"


def test_numbers_have_the_language_s_own_mark():
    with speaking("fr"):
        assert number(93.44, ".1f") == "93,4"
        assert number(12345.5, ",.1f") == "12\u202f345,5"
        assert number(7, "02") == "07"
        assert said("{count} of {all}", count=1.5, all=2) == "1,5 of 2"
    assert number(12345.5, ",.1f") == "12,345.5"


def test_days_have_the_language_s_own_names():
    with speaking("fr"):
        assert number(date(2026, 8, 5), "%d %b %Y") == "05 août 2026"
        assert number(datetime(2026, 2, 5, 17, 30), "%a %H:%M") == "jeu. 17:30"  # noqa: DTZ001 - only shown
        assert number(time(7, 5), "%H:%M") == "07:05"
    assert number(date(2026, 8, 5), "%d %b %Y") == "05 Aug 2026"


def test_french_puts_a_no_break_space_before_high_marks():
    with speaking("fr"):
        assert words.under_red("82", "demain") == "Sous 82\u00a0% demain"
        assert "\u00a0:" in words.WAITING or ":" not in words.WAITING
        assert "« É" not in " ".join(catalogues.catalogue("fr").texts.values())


@pytest.mark.parametrize(("tag", "way"), [("en", "ltr"), ("fr", "ltr"), ("ar", "rtl"), ("fa-IR", "rtl"), ("he", "rtl")])
def test_the_direction_is_that_of_the_writing(tag, way):
    assert catalogues.direction(tag) == way


def test_a_whole_language_is_written_and_read(tmp_path, monkeypatch):
    write_tongue(tmp_path, "eo")
    monkeypatch.setattr(catalogues, "LOCALE", tmp_path)
    catalogues.forget()
    with speaking("eo"):
        assert words.CALM.startswith("Νοτηινγ νεεδσ αττεντιον.")
    monkeypatch.undo()
    catalogues.forget()


# -- how texts are written --------------------------------------------------------------------------------------------
SOURCES = sorted(Path(dashboard.__file__).parent.rglob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.name)
def test_constants_are_taken_from_their_module(path):
    """`from dashboard.words import CALM` would keep the English text for ever: write `words.CALM`."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and is_words(node.module):
            kept = [one.name for one in node.names if is_constant(one.name)]
            told = vars(__import__(node.module, fromlist=["_"]))
            assert [name for name in kept if is_text(told[name], drawing=is_drawing(node.module))] == [], (
                f"{path.name}, line {node.lineno}"
            )


@pytest.mark.parametrize("module", modules())
def test_what_depends_on_a_number_goes_through_plural(module):
    path = Path(dashboard.__file__).parents[1] / Path(*module.split(".")).with_suffix(".py")
    assert "'s' * (" not in path.read_text(encoding="utf-8"), "write plural(one, many, count)"
