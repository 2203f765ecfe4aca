"""Checksums of frames: what is counted, where the sum stands, and how it is written."""

from __future__ import annotations

import functools
import operator
from collections.abc import Callable
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, Field, model_validator
from pymodbus.framer import FramerRTU

from collector.site_tables import Table


def crc_16_modbus(data: bytes) -> int:
    """CRC-16/MODBUS: polynomial 0x8005 reflected, from 0xFFFF on (Modbus over serial line V1.02, section 6.2.2)."""
    swapped = FramerRTU.compute_CRC(data)  # as the two bytes stand on the wire, low one first
    return (swapped & 0xFF) << 8 | swapped >> 8


SUMS: Final[dict[str, tuple[Callable[[bytes], int], int]]] = {  # how it is made, and its bytes
    "xor": (lambda data: functools.reduce(operator.xor, data, 0), 1),
    "sum-8": (lambda data: sum(data) & 0xFF, 1),
    "sum-16": (lambda data: sum(data) & 0xFFFF, 2),
    "lrc": (lambda data: -sum(data) & 0xFF, 1),  # two's complement of the sum
    "crc-16-modbus": (crc_16_modbus, 2),
}


def octets(value: object) -> object:
    """Text of a TOML file as the bytes on the line; each sign up to U+00FF is one byte."""
    return value.encode("latin-1") if isinstance(value, str) else value


Octets = Annotated[bytes, BeforeValidator(octets)]


class Checksum(Table):
    """A checksum. It stands behind the last `after` of the frame, or in its last bytes, or in the framing's tail.

    `skip` bytes at the front of the frame are not counted; the start and end marks and `after` itself only where the
    profile says so. `order` is how the two bytes of a 16-bit sum stand: "high-first" or "low-first".
    """

    kind: Literal["xor", "sum-8", "sum-16", "lrc", "crc-16-modbus"]
    written: Literal["hex", "binary", "decimal"] = "hex"
    after: Octets = b""
    order: Literal["high-first", "low-first"] = "high-first"
    skip: Annotated[int, Field(ge=0, le=256)] = 0
    counts_start: bool = False
    counts_end: bool = False
    counts_after: bool = False

    @model_validator(mode="after")
    def _findable(self) -> Checksum:
        if self.written == "decimal" and not self.after:
            raise ValueError('a decimal checksum has no fixed width: say behind what it stands, such as after = "*"')
        return self

    @property
    def width(self) -> int:
        """How many bytes it takes on the line; what is decimal takes all behind `after`."""
        return SUMS[self.kind][1] * (2 if self.written == "hex" else 1)

    def split(self, body: bytes, tail: bytes, start: bytes, end: bytes) -> tuple[bytes, str]:
        """Take the checksum off a frame's body: the payload, and what is wrong ("" when the sum is right)."""
        payload, between, stated = self._parts(body, tail)
        counted = payload[self.skip :]
        counted = start * self.counts_start + counted + between * self.counts_after + end * self.counts_end
        try:
            said = self._number(stated)
        except ValueError:
            return payload, f"no {self.written} checksum where one should be: {stated[:16]!r}"
        right = SUMS[self.kind][0](counted)
        return payload, "" if said == right else f"checksum is {said:X}, should be {right:X}: damaged on the way"

    def _parts(self, body: bytes, tail: bytes) -> tuple[bytes, bytes, bytes]:
        if tail:
            return body, b"", tail
        if not self.after:
            return body[: -self.width], b"", body[-self.width :]
        payload, mark, stated = body.rpartition(self.after)
        return (payload, mark, stated) if mark else (body, b"", b"")

    def _number(self, stated: bytes) -> int:
        wanted = len(stated) == self.width if self.written != "decimal" else 0 < len(stated) <= 5
        if not wanted or (self.written != "binary" and not stated.isalnum()):
            raise ValueError
        if self.written == "decimal":
            return int(stated)
        data = stated if self.written == "binary" else bytes.fromhex(stated.decode("ascii"))
        return int.from_bytes(data, "big" if self.order == "high-first" else "little")
