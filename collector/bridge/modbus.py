"""Registers over Modbus RTU: requests made from a profile, answers found among whatever else is on the line.

Requests, checksums and number types are pymodbus's; its own client waits for each answer, and here one thread looks
after all ports. As the whole head of the right answer is known beforehand, it is searched for: device, function, and
byte count, or the exception's. Addresses and registers as in the Modbus application protocol V1.1b3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import msgspec
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, ReadInputRegistersRequest

from collector.bridge.checksum import crc_16_modbus
from collector.bridge.profile_tables import FieldTable, Profile
from collector.bridge.splitting import NotRead

_REQUESTS: Final = {3: ReadHoldingRegistersRequest, 4: ReadInputRegistersRequest}
_MOST_REGISTERS: Final = 125  # V1.1b3 sections 6.3 and 6.4
_LONGEST_FRAME: Final = 256  # Modbus over serial line V1.02, section 2.3
_EXCEPTIONS: Final = {1: "illegal function", 2: "illegal register address", 3: "illegal value", 4: "device failure",
                      5: "acknowledged, works on it", 6: "device busy"}  # fmt: skip
_framer: Final = FramerRTU(DecodePDU(False))


class Ask(msgspec.Struct, frozen=True):
    """One request: registers of one device that lie side by side, and the fields that are in them by their place."""

    device: int
    function: int
    address: int
    count: int
    places: tuple[tuple[str, int], ...]

    def request(self) -> bytes:
        """The frame to send."""
        kind = _REQUESTS[self.function]
        return _framer.buildFrame(kind(dev_id=self.device, address=self.address, count=self.count))

    def head(self) -> bytes:
        """How the right answer begins."""
        return bytes((self.device, self.function, 2 * self.count))


def words_of(table: FieldTable) -> int:
    """How many registers a field takes."""
    return int(ModbusClientMixin.DATATYPE[table.type.upper()].value[1])


def asks_of(profile: Profile, device: int) -> list[Ask]:
    """The requests that read all of a device's fields; only registers that follow each other share one."""
    return [ask for function in (3, 4) for ask in _asks(profile, device, function)]


def _asks(profile: Profile, device: int, function: int) -> Iterator[Ask]:
    default = profile.modbus.function
    told = [(table.address or 0, name, words_of(table)) for name, table in profile.field.told().items()
            if (table.function or default) == function]  # fmt: skip
    run: list[tuple[int, str, int]] = []
    for item in sorted(told):
        end = max((at + words for at, _, words in run), default=item[0])
        if run and (item[0] > end or item[0] + item[2] - run[0][0] > _MOST_REGISTERS):
            yield _ask(device, function, run)
            run = []
        run.append(item)
    if run:
        yield _ask(device, function, run)


def _ask(device: int, function: int, run: Sequence[tuple[int, str, int]]) -> Ask:
    first = run[0][0]
    count = max(at + words for at, _, words in run) - first
    return Ask(device, function, first, count, tuple((name, at - first) for at, name, _ in run))


class Answer:
    """Gathers the answer to one request; keeps no more than one frame's length of what is none."""

    def __init__(self, ask: Ask) -> None:
        self._ask, self._kept = ask, bytearray()
        self.dropped_bytes = 0

    def feed(self, data: bytes) -> list[int] | None:
        """Take bytes in: the registers once they are there, else None; NotRead when the device refuses."""
        for start in range(0, len(data), _LONGEST_FRAME):
            self._kept += data[start : start + _LONGEST_FRAME]
            if (registers := self._look()) is not None:
                return registers
        return None

    def _look(self) -> list[int] | None:
        ask = self._ask
        if (body := self._framed(ask.head(), len(ask.head()) + 2 * ask.count)) is not None:
            return [int.from_bytes(body[i : i + 2], "big") for i in range(3, len(body), 2)]
        refusal = bytes((ask.device, ask.function | 0x80))
        if (body := self._framed(refusal, 3)) is not None:
            code = body[2]
            raise NotRead(f"device {ask.device} refuses registers {ask.address} to {ask.address + ask.count - 1}: "
                          f"{_EXCEPTIONS.get(code, 'exception')} ({code})")  # fmt: skip
        spare = len(self._kept) - _LONGEST_FRAME
        if spare > 0:
            self.dropped_bytes += spare
            del self._kept[:spare]
        return None

    def _framed(self, head: bytes, size: int) -> bytes | None:
        """A frame with this head, of `size` bytes before its checksum, whose checksum is right."""
        at = self._kept.find(head)
        while 0 <= at <= len(self._kept) - size - 2:
            body = bytes(self._kept[at : at + size])
            if crc_16_modbus(body).to_bytes(2, "little") == self._kept[at + size : at + size + 2]:
                self.dropped_bytes += at
                return body
            at = self._kept.find(head, at + 1)
        return None


def numbers_of(profile: Profile, ask: Ask, registers: Sequence[int]) -> dict[str, float]:
    """The fields' numbers in the registers of an answer, before scale and unit."""
    found = {}
    for name, place in ask.places:
        table: FieldTable = getattr(profile.field, name)
        words = list(registers[place : place + words_of(table)])
        if (table.byte_order or profile.modbus.byte_order) == "little":
            words = [(word & 0xFF) << 8 | word >> 8 for word in words]
        order = table.word_order or profile.modbus.word_order
        value = ModbusClientMixin.convert_from_registers(words, ModbusClientMixin.DATATYPE[table.type.upper()], order)
        found[name] = float(value)  # type: ignore[arg-type]
    return found
