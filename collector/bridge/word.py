"""A bridge's word on itself, version 1: what waits with it, what it dropped, how its clock and its ports are."""

from __future__ import annotations

from typing import Annotated, Final

import msgspec

VERSION: Final = 1
_Text = Annotated[str, msgspec.Meta(max_length=400)]
_Count = Annotated[int, msgspec.Meta(ge=0, le=2**53)]
_PORTS: Final = 64


class PortWord(msgspec.Struct, frozen=True, kw_only=True):
    """One port: whether it is open, what is wrong with it ("" for nothing), and which of its units are silent.

    notes: what is done to its values beyond converting units (an analyser's known error), so that it is on record.
    """

    path: _Text
    open: bool
    said: _Text = ""
    silent: Annotated[tuple[_Text, ...], msgspec.Meta(max_length=_PORTS)] = ()
    notes: Annotated[tuple[_Text, ...], msgspec.Meta(max_length=_PORTS)] = ()


class Word(msgspec.Struct, frozen=True, kw_only=True):
    """`waiting` readings that no broker has, the oldest of `oldest` (RFC 3339); `dropped` ever for want of room.

    undated: of those that wait, how many have no moment yet. said, clock: what is wrong with the spool, and what there
    is to say of the clock; "" for nothing.
    """

    v: int
    waiting: _Count
    dropped: _Count
    undated: _Count = 0
    oldest: _Text | None = None
    said: _Text = ""
    clock: _Text = ""
    ports: Annotated[tuple[PortWord, ...], msgspec.Meta(max_length=_PORTS)] = ()


_decode = msgspec.json.Decoder(Word).decode


def read_word(payload: bytes) -> Word:
    """Read a bridge's word; keys that are not known are passed over. ValueError says what is wrong."""
    try:
        word = _decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ValueError(f"no word of a bridge: {error}") from error
    if word.v != VERSION:
        raise ValueError(f"version {word.v} of a bridge's word is not known here")
    return word


def clipped(text: str) -> str:
    """Text at the length that a word may have."""
    return text if len(text) <= 400 else f"{text[:399]}…"
