"""Bytes of a serial line to frames: by an end mark, by start and end marks, or by length; bounded in memory.

Rules of this file: whatever comes, no more than one frame's bytes are kept, and every byte ends up in a frame or is
counted as dropped. A mark that may occur within a frame is no mark: the last start before an end begins the frame.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Final, NamedTuple

from pydantic import Field, model_validator

from collector.bridge.checksum import Octets
from collector.site_tables import Table

#: Where the end mark never comes, this many bytes are waited for: far more than a line of a bedside unit, and a
#: bound on what is kept, and on the work a pattern may have with one line.
MAX_BYTES: Final = 512
LONGEST_FRAME: Final = 4096


class Framing(Table):
    """What tells one frame from the next: `end`, `start` and `end`, or `length` (the whole frame, marks included).

    tail_bytes stand behind the end mark and still belong to the frame, as a checksum does there.
    """

    start: Octets = b""
    end: Octets = b"\n"
    length: Annotated[int, Field(ge=2, le=256)] | None = None
    tail_bytes: Annotated[int, Field(ge=0, le=4)] = 0
    max_bytes: Annotated[int, Field(ge=8, le=LONGEST_FRAME)] = MAX_BYTES

    @model_validator(mode="after")
    def _tells_frames_apart(self) -> Framing:
        if self.length is None and not self.end:
            raise ValueError('say where a frame ends: end = "\\n", or a length')
        if self.length is not None and self.length < len(self.start) + len(self.end) + self.tail_bytes + 1:
            raise ValueError("the length leaves no room between the marks")
        return self

    @property
    def finds_start(self) -> bool:
        """Whether a frame's first byte can be told when listening begins in the middle of one."""
        return bool(self.start) or self.length is not None


class Frame(NamedTuple):
    """One frame: as it came, what is between its marks, and what stands behind its end mark."""

    raw: bytes
    body: bytes
    tail: bytes


class Framer:
    """Cuts a stream into frames. `dropped_bytes` counts what was part of none.

    `accept` is asked of each candidate that goes by length; where it says no, the frame is looked for one byte on.
    from_middle: listening begins in the middle of a line, so that all up to the first end mark is left out. The rest
    of a line cut in two can look whole: 93.4 begun late is 3.4.
    """

    def __init__(
        self, framing: Framing, accept: Callable[[Frame], bool] = lambda _: True, *, from_middle: bool = False
    ) -> None:
        self._framing, self._accept = framing, accept
        self._kept = bytearray()
        self._skipping = from_middle and not framing.finds_start
        self.dropped_bytes = 0

    @property
    def kept_bytes(self) -> int:
        """Bytes waiting for the rest of their frame."""
        return len(self._kept)

    def clear(self) -> bytes:
        """Forget a frame begun, and return what there was of it."""
        rest = bytes(self._kept)
        self._drop(len(rest))
        return rest

    def feed(self, data: bytes) -> list[Frame]:
        """Take bytes in; the frames that are whole now."""
        cut = self._by_length if self._framing.length is not None else self._by_end
        room = max(self._framing.max_bytes, self._framing.length or 0)
        frames: list[Frame] = []
        for start in range(0, len(data), room):  # a bound on what is kept, however much comes at once
            self._kept += data[start : start + room]
            cut(frames)
        return frames

    def _drop(self, count: int) -> None:
        self.dropped_bytes += count
        del self._kept[:count]

    def _by_end(self, frames: list[Frame]) -> None:
        form = self._framing
        while (at := self._kept.find(form.end, len(form.start) if form.start else 0)) >= 0:
            size = at + len(form.end) + form.tail_bytes
            if len(self._kept) < size:
                return
            begin = self._kept.rfind(form.start, 0, at) if form.start else 0
            if self._skipping or begin < 0 or size - begin > form.max_bytes:
                self._skipping = False
                self._drop(size)
                continue
            self._drop(begin)
            self._take(size - begin, frames)
        self._forget_endless()

    def _forget_endless(self) -> None:
        form, kept = self._framing, self._kept
        if form.start and not kept.startswith(form.start):
            begin = kept.find(form.start)
            self._drop(begin if begin >= 0 else max(0, len(kept) - len(form.start) + 1))
        if len(self._kept) > form.max_bytes:
            self._skipping = not form.start
            self._drop(len(self._kept) - len(form.end) + 1)

    def _by_length(self, frames: list[Frame]) -> None:
        form, size = self._framing, self._framing.length or 0
        while True:
            if form.start:
                begin = self._kept.find(form.start)
                self._drop(begin if begin >= 0 else max(0, len(self._kept) - len(form.start) + 1))
            if len(self._kept) < size:
                return
            frame = self._frame(size)
            ends = frame.raw[: size - form.tail_bytes].endswith(form.end)
            if ends and self._accept(frame):
                frames.append(frame)
                del self._kept[:size]
            else:
                self._drop(1)

    def _take(self, size: int, frames: list[Frame]) -> None:
        frames.append(self._frame(size))
        del self._kept[:size]

    def _frame(self, size: int) -> Frame:
        form, raw = self._framing, bytes(self._kept[:size])
        end = size - form.tail_bytes
        return Frame(raw, raw[len(form.start) : end - len(form.end)], raw[end:])
