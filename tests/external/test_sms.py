"""The SMS alphabet and its lengths, against 3GPP TS 23.038 (clauses 6.1.2 and 6.2.1).

The alphabet as Unicode's mapping ETSI/GSM0338.TXT has it, but the capital C with cedilla (0x09), as the standard has.
A message carries 140 octets (3GPP TS 23.040, from memory): 160 letters of seven bits, or 70 of sixteen.
"""

import pytest

from collector.messages import gsm


def test_the_default_alphabet_has_128_places_one_of_them_the_escape():
    assert len(gsm.BASIC) == 128 - 1


def test_140_octets_are_160_letters_of_seven_bits_or_70_of_sixteen():
    assert (gsm.SEPTETS, gsm.WIDE) == (140 * 8 // 7, 140 * 8 // 16)


@pytest.mark.parametrize("letter", "^{}\\[~]|€")
def test_letters_of_the_extension_count_twice(letter):
    assert gsm.length(letter) == (2, 160)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("a" * 160, (160, 160)), ("ñ£Ω", (3, 160)), ("ç", (1, 70)), ("`", (1, 70)), ("😀", (2, 70))],
)
def test_one_letter_outside_the_alphabet_makes_the_whole_message_wide(text, expected):
    # Small c with cedilla and the grave accent are not among the 128 (the capital C with cedilla is).
    assert gsm.length(text) == expected
