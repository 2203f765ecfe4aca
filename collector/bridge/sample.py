"""A profile tried on a captured sample: what was read, what was refused and why.

A sample of text is the bytes as they came. A sample of Modbus is lines of hex: `>` a request, `<` its answer.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import msgspec

from collector.bridge.bridge_file import BridgeFileError
from collector.bridge.profile_tables import Profile
from collector.bridge.talk import Behind, Heard, RegisterTalk, TextTalk
from collector.bridge.values import Maker
from collector.reading import Reading

_FEED: Final = 4096


class SampleRow(msgspec.Struct, frozen=True, kw_only=True):
    """One frame of a sample: its reading, or why it was refused; shown_pct is purity before a correction."""

    number: int
    reading: Reading | None
    refused: str
    raw: str
    shown_pct: float | None = None


class SampleResult(msgspec.Struct, frozen=True, kw_only=True):
    """What a profile makes of a sample. dropped_bytes were part of no frame."""

    rows: tuple[SampleRow, ...]
    dropped_bytes: int
    corrections: tuple[str, ...]

    @property
    def read(self) -> int:
        """How many frames became a reading."""
        return sum(row.reading is not None for row in self.rows)

    @property
    def good(self) -> bool:
        """Whether something was read and nothing refused."""
        return bool(self.rows) and self.read == len(self.rows)


class _AsSaid(dict[str, str]):
    """Every unit goes by what the line calls it."""

    def __contains__(self, key: object) -> bool:
        return True

    def __missing__(self, key: str) -> str:
        return key


def try_sample(profile: Profile, data: bytes, now_ms: int, maker: Maker | None = None) -> SampleResult:
    """Read a sample by a profile; now_ms stands for the bridge's own time. BridgeFileError: it is no sample."""
    maker = maker or Maker(profile)
    heard, dropped = (_registers if profile.kind == "modbus" else _text)(profile, maker, data, now_ms)
    rows = tuple(_row(number, one) for number, one in enumerate(heard, 1))
    return SampleResult(rows=rows, dropped_bytes=dropped, corrections=maker.corrections)


def _row(number: int, heard: Heard) -> SampleRow:
    told = heard.told
    return SampleRow(
        number=number, reading=told.reading if told else None, refused=heard.said,
        raw=heard.raw.decode("latin-1"), shown_pct=told.shown_pct if told else None,
    )  # fmt: skip


def _text(profile: Profile, maker: Maker, data: bytes, now_ms: int) -> tuple[list[Heard], int]:
    behind = Behind(None, _AsSaid({"*": "*"})) if profile.field.unit else Behind("unit", {})
    talk = TextTalk(profile, behind, maker, from_middle=False)
    heard = [one for at in range(0, len(data), _FEED) for one in talk.feed(data[at : at + _FEED], now_ms)]
    if rest := talk.rest():
        heard.append(Heard(None, f"no end mark {profile.framing.end!r} behind it: cut short", rest))
    return heard, talk.dropped_bytes


def _registers(profile: Profile, maker: Maker, data: bytes, now_ms: int) -> tuple[list[Heard], int]:
    told = list(_octets(data.decode("ascii", "replace")))
    asked = {octets[0] for _, mark, octets in told if mark == ">" and octets and 1 <= octets[0] <= 247}
    if not asked:
        raise BridgeFileError("no request in the sample; a sample of Modbus has lines '> hex' and '< hex' in turn")
    behind = Behind(None, {str(device): f"device-{device}" for device in sorted(asked)})
    talk = RegisterTalk(profile, behind, maker)
    heard: list[Heard] = []
    for number, mark, octets in told:
        if mark == ">":
            _ask(talk, octets, number)
        else:
            heard += talk.feed(octets, now_ms)
            heard += [] if talk.answered else talk.give_up(now_ms)
    return heard, talk.dropped_bytes


def _octets(text: str) -> Iterator[tuple[int, str, bytes]]:
    """The lines of a sample of Modbus: number, `>` or `<`, and bytes."""
    for number, line in enumerate(text.splitlines(), 1):
        mark, digits = line[:1], line[1:].strip()
        if mark not in ("<", ">") or not digits:
            continue
        try:
            yield number, mark, bytes.fromhex(digits)
        except ValueError as error:
            raise BridgeFileError(f"line {number} of the sample: '{digits[:40]}' is not pairs of hex digits") from error


def _ask(talk: RegisterTalk, request: bytes, number: int) -> None:
    if request not in (requests := talk.requests()):
        raise BridgeFileError(f"line {number} of the sample: the profile never asks {request.hex(' ').upper()}")
    talk.ask(requests.index(request))
