"""How one port is spoken with: what is asked, and what the bytes that come mean. No IO in here.

`TextTalk` is for the five kinds of text, polled or free-running; `RegisterTalk` for Modbus.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple, Protocol

from collector.bridge.framing import Frame, Framer
from collector.bridge.modbus import Answer, Ask, asks_of, numbers_of
from collector.bridge.profile_tables import Poll, Profile
from collector.bridge.splitting import NotRead, split
from collector.bridge.values import Maker, Told

_DEFAULT_POLL: Final = Poll()
_SHOWN: Final = 60


class Heard(NamedTuple):
    """One frame, or one device's registers: what it told, or why it was refused."""

    told: Told | None
    said: str
    raw: bytes


class Behind(NamedTuple):
    """The units behind a port: the only one, or what the line calls each."""

    unit: str | None
    units: Mapping[str, str]


class Talk(Protocol):
    """One port's conversation. `asks` is how many requests make a round: none where the device speaks by itself."""

    asks: int
    poll: Poll

    @property
    def answered(self) -> bool: ...

    @property
    def dropped_bytes(self) -> int: ...

    def ask(self, index: int) -> bytes: ...

    def feed(self, data: bytes, now_ms: int) -> list[Heard]: ...

    def give_up(self, now_ms: int) -> list[Heard]: ...

    def begin(self) -> None: ...


def talk_for(profile: Profile, behind: Behind, maker: Maker, *, from_middle: bool = True) -> Talk:
    """The conversation that a profile describes; ValueError when it does not fit the units behind the port."""
    if profile.kind == "modbus":
        return RegisterTalk(profile, behind, maker)
    return TextTalk(profile, behind, maker, from_middle=from_middle)


class TextTalk:
    """Frames of text. from_middle: listening may begin in the middle of a line, which is then left out."""

    def __init__(self, profile: Profile, behind: Behind, maker: Maker, *, from_middle: bool = True) -> None:
        self._profile, self._behind, self._maker = profile, behind, maker
        self.poll = profile.poll or _DEFAULT_POLL
        named = b"{unit}" in self.poll.octets
        self._asked = list(behind.units) or [""] if named else [""]
        self.asks = len(self._asked) if profile.poll else 0
        self._check(named)
        self._from_middle = from_middle and not self.asks
        self._framer = self._new_framer()
        self._current, self._missing, self._dropped = "", 0, 0

    def _check(self, named: bool) -> None:
        column, units = self._profile.field.unit is not None, self._behind.units
        if column and not units:
            raise ValueError('its lines say which unit speaks: write units = { "as on the line" = "unit-07" }')
        if units and not column and not (self.asks and named):
            raise ValueError("its lines do not say which unit speaks: write unit, or add [field.unit] to the profile")

    def _new_framer(self) -> Framer:
        return Framer(self._profile.framing, lambda frame: not self._split_sum(frame)[1], from_middle=self._from_middle)

    @property
    def dropped_bytes(self) -> int:
        """Bytes that were part of no frame."""
        return self._dropped + self._framer.dropped_bytes

    @property
    def answered(self) -> bool:
        """Whether all that is expected to the last request has come."""
        return self._missing <= 0

    def begin(self) -> None:
        """The line is new: what was begun on the old one is no part of it."""
        self._framer.clear()
        self._dropped += self._framer.dropped_bytes
        self._framer = self._new_framer()
        self._missing = 0

    def ask(self, index: int) -> bytes:
        """The request with this number; what was on the way before is no answer to it."""
        self._framer.clear()
        self._current = self._asked[index]
        self._missing = 1 if self._current else max(1, len(self._behind.units))
        return self.poll.octets.replace(b"{unit}", self._current.encode("ascii", "replace"))

    def give_up(self, now_ms: int) -> list[Heard]:
        """The answer did not come in time."""
        self._missing = 0
        who = f" of '{self._current}'" if self._current else ""
        return [Heard(None, f"no answer{who} within {self.poll.timeout_s:g} s", self._framer.clear())]

    def feed(self, data: bytes, now_ms: int) -> list[Heard]:
        """Take bytes in; what each whole frame said."""
        return [heard for frame in self._framer.feed(data) if (heard := self._heard(frame, now_ms))]

    def rest(self) -> bytes:
        """What has come of a frame that is not whole, and is given up now."""
        return self._framer.clear()

    def _heard(self, frame: Frame, now_ms: int) -> Heard | None:
        payload, wrong = self._split_sum(frame)
        try:
            text = self._text(payload, wrong)
            if not text.strip() or text.startswith(self._profile.ignore):
                return None
            self._missing -= 1
            texts = split(self._profile, text)
            return Heard(self._maker.from_texts(self._unit(texts), texts, now_ms), "", frame.raw)
        except NotRead as refusal:
            return Heard(None, str(refusal), frame.raw)

    def _split_sum(self, frame: Frame) -> tuple[bytes, str]:
        framing, checksum = self._profile.framing, self._profile.checksum
        body = frame.body.strip(b"\r\n") if framing.length is None and not framing.start else frame.body
        return checksum.split(body, frame.tail, framing.start, framing.end) if checksum else (body, "")

    def _text(self, payload: bytes, wrong: str) -> str:
        if wrong:
            raise NotRead(wrong)
        try:
            return payload.decode(self._profile.encoding)
        except UnicodeDecodeError as error:
            raise NotRead(f"not {self._profile.encoding} text: noise, or another baud rate?") from error

    def _unit(self, texts: Mapping[str, str]) -> str:
        if self._behind.unit is not None:
            return self._behind.unit
        name = texts.get("unit", self._current).strip()
        if name not in self._behind.units:
            raise NotRead(f"the line speaks of '{name[:_SHOWN]}', and the bridge file's `units` do not name it")
        return self._behind.units[name]


class RegisterTalk:
    """Registers of one or more devices on a line. A device's registers make one reading, at the last one's time."""

    def __init__(self, profile: Profile, behind: Behind, maker: Maker) -> None:
        self._profile, self._maker = profile, maker
        self.poll = profile.poll or _DEFAULT_POLL
        self._units = _devices(profile, behind)
        self._plan: list[Ask] = [ask for device in self._units for ask in asks_of(profile, device)]
        self.asks = len(self._plan)
        self._answer: Answer | None = None
        self._index, self._dropped = 0, 0
        self._numbers: dict[str, float] = {}
        self._raw = bytearray()

    @property
    def dropped_bytes(self) -> int:
        """Bytes that were no answer."""
        return self._dropped + (self._answer.dropped_bytes if self._answer else 0)

    @property
    def answered(self) -> bool:
        """Whether the last request is settled."""
        return self._answer is None

    def begin(self) -> None:
        """The line is new: a round begun on the old one is over."""
        self._settle()
        self._numbers, self._raw = {}, bytearray()

    def requests(self) -> list[bytes]:
        """All requests of a round."""
        return [ask.request() for ask in self._plan]

    def ask(self, index: int) -> bytes:
        """The request with this number."""
        self._settle()
        ask = self._plan[index]
        if index == 0 or self._plan[index - 1].device != ask.device:
            self._numbers, self._raw = {}, bytearray()
        self._index, self._answer = index, Answer(ask)
        return ask.request()

    def feed(self, data: bytes, now_ms: int) -> list[Heard]:
        """Take bytes in; a reading once the last of a device's answers is there."""
        if self._answer is None:
            self._dropped += len(data)
            return []
        ask = self._plan[self._index]
        self._raw += data[: 256 - len(self._raw)]
        try:
            registers = self._answer.feed(data)
            if registers is None:
                return []
            self._numbers.update(numbers_of(self._profile, ask, registers))
        except NotRead as refusal:
            return [Heard(None, str(refusal), bytes(self._raw)), *self._next(now_ms)]
        return self._next(now_ms)

    def give_up(self, now_ms: int) -> list[Heard]:
        """The answer did not come in time."""
        said = f"device {self._plan[self._index].device}: no answer within {self.poll.timeout_s:g} s"
        return [Heard(None, said, bytes(self._raw)), *self._next(now_ms)]

    def _settle(self) -> None:
        if self._answer is not None:
            self._dropped, self._answer = self.dropped_bytes, None

    def _next(self, now_ms: int) -> list[Heard]:
        """The request is settled; when it was its device's last, what is known of the device is told."""
        self._settle()
        device, last = self._plan[self._index].device, self._index + 1 == len(self._plan)
        if not self._numbers or not (last or self._plan[self._index + 1].device != device):
            return []
        numbers, raw = self._numbers, bytes(self._raw)
        self._numbers, self._raw = {}, bytearray()
        try:
            return [Heard(self._maker.from_numbers(self._units[device], numbers, now_ms), "", raw)]
        except NotRead as refusal:
            return [Heard(None, str(refusal), raw)]


def _devices(profile: Profile, behind: Behind) -> dict[int, str]:
    if behind.unit is not None:
        return {profile.modbus.device: behind.unit}
    wrong = next((name for name in behind.units if not (name.isdecimal() and 1 <= int(name) <= 247)), None)
    if wrong is not None:
        raise ValueError(f"`units` of a Modbus line are addresses from 1 to 247, and '{wrong}' is none")
    return {int(name): unit for name, unit in behind.units.items()}
