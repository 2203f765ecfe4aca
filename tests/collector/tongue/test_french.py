"""French is complete; what a translation fills in is what the text has; the voice of the English texts."""

import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from collector import terms
from collector.rules import causes
from collector.rules.events import Evidence
from collector.terms import reason_of
from collector.tongue import catalogues, speaking
from collector.tongue.catalogues import agrees
from collector.tongue.extraction import modules, texts

ALL = {text: module for module in modules() for _, text in texts(module)}
LANGUAGES = [tag for tag in catalogues.languages() if tag != "en"]
#: Identifiers that look like texts, and names: the same in every language.
FIELD = re.compile(r"\{(\w*)\}")


def read(tag):
    with catalogues.file_of(tag).open("rb") as file:
        return read_po(file)


def test_french_is_there():
    assert "fr" in LANGUAGES


def test_nothing_is_missing_or_fuzzy_in_french():
    known = {one.id: one for one in read("fr") if one.id}
    done = {key if isinstance(key, str) else tuple(key): one for key, one in known.items()}
    missing = sorted(f"{ALL[text]}: {text!r}" for text in ALL if text not in done or not all(done[text].string))
    assert not missing, f"add these to {catalogues.file_of('fr').name} (DEVELOPERS.md, a language): {missing}"
    assert [key for key, one in known.items() if one.fuzzy] == []


@pytest.mark.parametrize("tag", LANGUAGES)
def test_the_fields_of_a_translation_are_those_of_the_text(tag):
    wrong = [one.id for one in read(tag) if one.id and one.string and not agrees(one.id, one.string)]
    assert wrong == []


def test_french_leaves_out_no_field():
    for one in read("fr"):
        if isinstance(one.id, str) and one.id and one.string:
            assert sorted(FIELD.findall(one.id)) == sorted(FIELD.findall(one.string)), one.id


@pytest.mark.parametrize("tag", LANGUAGES)
def test_what_stands_before_or_after_another_text_keeps_its_space(tag):
    for one in read(tag):
        if isinstance(one.id, str) and one.id.strip() and one.string and one.id[-1:] == " ":
            assert one.string[-1:] == " ", one.id
        if isinstance(one.id, str) and one.id[:1] == " " and one.string:
            assert one.string[:1] in (" ", "\u00a0"), one.id


@pytest.mark.parametrize("tag", LANGUAGES)
def test_commands_and_addresses_are_not_translated(tag):
    for one in read(tag):
        if isinstance(one.id, str) and one.string:
            assert sorted(re.findall(r"`[^`]+`", one.id)) == sorted(re.findall(r"`[^`]+`", one.string)), one.id


# -- the voice: plain, short, no blame, nothing said of a patient -----------------------------------------------------
def sentences(text):
    return re.split(r"(?<=[.:;?])\s", text if isinstance(text, str) else text[1])


@pytest.mark.parametrize("said", [
    r"\bthe patient (is|has|will|needs|must|should)\b", r"\bplease\b", r"(?<!\A)!(?! )", r"\bsorry\b", r"\boops\b",
    r"\byour (fault|mistake|error)\b", r"\byou (forgot|failed|should have)\b", r"\b(must|should) have\b",
    r"\b(simply|obviously|just click)\b", r"\bclick\b(?! to go back)", r"\b(careless|negligen\w+|incorrectly used)\b",
])  # fmt: skip
def test_no_text_says(said):
    found = [text for text in ALL for one in (text if isinstance(text, tuple) else (text,)) if re.search(said, one)]
    assert found == []


@pytest.mark.parametrize("said", [
    r"\ble patient (est|a|doit)\b", r"s['’]il vous plaît", r"veuillez", r"désolé", r"votre (faute|erreur)",
])  # fmt: skip
def test_no_french_text_says(said):
    told = [one.string if isinstance(one.string, str) else " ".join(one.string) for one in read("fr") if one.id]
    assert [text for text in told if re.search(said, text, re.IGNORECASE)] == []


def test_sentences_are_short():
    """At most 40 words; help texts on their own pages (the guide, and what stands under a table) up to 60."""
    for text, module in ALL.items():
        most = 60 if module.endswith(("guide", "_words", "words")) and len(str(text)) > 200 else 40
        for sentence in sentences(text):
            assert len(sentence.split()) <= most, sentence


def test_an_instruction_is_short():
    """What is to be done now is read in a hurry: at most 30 words (a limit of our own)."""
    for text, module in ALL.items():
        if module == "collector.rules.catalogue":
            assert len(str(text).split()) <= 30, text


def test_instructions_are_told_in_french():
    from collector.rules.catalogue import CATALOGUE, action_text
    from collector.terms import action_of, title_of

    evidence: Evidence = {"limit_pct": 82.5, "flow_lpm": 1.5, "units_lost": 3}
    action = action_text(CATALOGUE["purity-red"].action, evidence)
    with speaking("fr"):
        assert title_of("purity-red") == "Pureté très basse"
        told = action_of(action, "purity-red", evidence)
    assert told == "La pureté à la sortie est sous 82,5\u00a0%. Passer sur le secours maintenant."
    assert action_of(action, "purity-red", evidence) == action


def test_every_instruction_that_the_rules_give_is_found_again():
    from collector.rules.catalogue import action_text
    from collector.terms import action_of, templates

    evidence: Evidence = {name: 2.5 for text in templates() for name in FIELD.findall(text)}
    with speaking("fr"):
        for template in templates():
            told = action_of(action_text(template, evidence), "", evidence)
            assert told not in ("", template), template
            assert "2.5" not in told, told


def test_no_word_of_another_file_stands_in_the_way():
    assert not Path(catalogues.LOCALE, "en").exists(), "English stands in the code"


@pytest.mark.parametrize(("reason", "told"), [
    ("flow is 6.0 L/min, rated 5 L/min", "débit de 6,0 L/min, nominal 5 L/min"),
    ("a third of capacity goes in 4 days", "un tiers de la capacité s’en va en 4 jours"),
    ("power -3 % against its normal at this flow", "puissance -3\u00a0% par rapport à son normal à ce débit"),
    ("cabinet as usual", "capot comme d’habitude"),
    ("something that nobody wrote yet", "something that nobody wrote yet"),
])  # fmt: skip
def test_signs_of_a_cause_are_told_in_french(reason, told):
    assert reason_of(reason) == reason
    with speaking("fr"):
        assert reason_of(reason) == told


def test_the_signs_are_those_that_the_rules_say():
    """Every sentence in rules/causes.py is one of terms.REASONS once its fields are named alike."""
    source = Path(causes.__file__).read_text(encoding="utf-8")
    for text in terms.REASONS:
        for part in re.split(r"\{\w+\}", text):
            assert part.strip() in source, text
