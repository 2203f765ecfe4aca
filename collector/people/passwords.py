"""Passwords: which are taken, and their hashes.

Rules of this file: length counts, not which characters; a good one is kept (NIST SP 800-63B-4, section 3.1.1.2).
A password alone lets somebody in here, so it has 15 characters at least; an account that acts in a ward only has 8,
which is the floor of that text's third revision and less than its fourth asks for: gloves and shared tablets.
Hashes are Argon2id with the second of the settings of RFC 9106, section 4: 64 MiB, 3 passes, 4 lanes.
"""

from __future__ import annotations

import threading
import unicodedata
from functools import cache
from pathlib import Path
from typing import Final

from argon2 import PasswordHasher, profiles
from argon2.exceptions import InvalidHashError, VerificationError

from collector.people.rights import WARD

LEAST: Final = 15
LEAST_WARD: Final = 8
MOST: Final = 256
#: Repeated often enough, any word is long: so many different characters there must be.
_DIFFERENT: Final = 4
#: Each hash needs 64 MiB: so many at a time, however many people press the button.
_AT_ONCE: Final = threading.BoundedSemaphore(2)
_HASHER: Final = PasswordHasher.from_parameters(profiles.RFC_9106_LOW_MEMORY)
_COMMON: Final = Path(__file__).with_name("common.txt")


class PasswordRefused(Exception):
    """The password is not taken; the text says why."""


def least(role: str) -> int:
    """How many characters a password has at least."""
    return LEAST_WARD if role == WARD else LEAST


def check_rule(password: str, role: str, about: tuple[str, ...] = ()) -> str:
    """The password in the form that is hashed (NFC); PasswordRefused. `about`: names that it must not merely be."""
    password = unicodedata.normalize("NFC", password)
    if len(password) < least(role):
        raise PasswordRefused(f"A password has {least(role)} characters or more; a few words in a row do well.")
    if len(password) > MOST:
        raise PasswordRefused(f"A password has {MOST} characters at most.")
    bare = "".join(password.casefold().split())
    named = {"".join(text.casefold().split()) for text in about if text}
    if len(set(bare)) < _DIFFERENT or _root(bare) in common() | named:
        raise PasswordRefused("This password is among the first that anybody tries. Take a few words in a row.")
    return password


def _root(text: str) -> str:
    """What a text repeats, or the text itself."""
    place = (text + text).find(text, 1)
    return text[:place] if 0 < place < len(text) else text


@cache
def common() -> frozenset[str]:
    """Passwords that are tried first, in small letters."""
    lines = _COMMON.read_text(encoding="utf-8").split("\n")
    return frozenset(line.strip() for line in lines if line.strip() and not line.startswith("#"))


def hash_password(password: str) -> str:
    """Argon2id in its encoded form, with a salt of its own."""
    with _AT_ONCE:
        return _HASHER.hash(password)


def is_right(encoded: str, password: str) -> bool:
    """Whether the password fits; one that cannot (no account, none set) takes as long as one that could."""
    password = unicodedata.normalize("NFC", password)[: MOST + 1]
    with _AT_ONCE:
        try:
            return _HASHER.verify(encoded or _nobody(), password) and bool(encoded)
        except (VerificationError, InvalidHashError):
            return False


@cache
def _nobody() -> str:
    return _HASHER.hash("nobody has this password")
