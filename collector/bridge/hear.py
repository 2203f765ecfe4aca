"""A serial line listened to, for people who do not know yet what is on it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from collector.bridge.bridge_file import PortTable
from collector.bridge.port import Line, open_line

#: The usual speeds, the likelier first. Common practice, no source.
BAUDS: Final = (9600, 115200, 19200, 38400, 57600, 4800, 2400)
MOST_LINES: Final = 200
_KEPT_BYTES: Final = 65_536
_ENOUGH: Final = 40  # bytes from which it can be told whether they are text
_PAUSE_S: Final = 0.05
_PRINTABLE: Final = bytes(range(0x20, 0x7F)) + b"\r\n\t"


class Listened(NamedTuple):
    """What was heard: the speed it made sense at, whole lines without the first, and how many bytes in all."""

    baud: int
    lines: list[bytes]
    heard_bytes: int


def listen(
    path: str,
    bauds: tuple[int, ...],
    seconds: float,
    want_lines: int,
    show: Callable[[str], None],
    ask: bytes = b"",
    opener: Callable[[PortTable], Line] = open_line,
) -> Listened:
    """Listen at each speed until text is heard there, then for lines; gives up a speed after `seconds`.

    `ask` is sent once a second. What is heard is shown as it comes. Raises what `port.GONE` names.
    """
    best = Listened(bauds[0], [], 0)
    for baud in bauds:
        show(f"listening to {path} at {baud} baud ...")
        line = opener(PortTable(path=path, profile="unknown", unit="unknown", baud=baud))
        try:
            found = _lines(baud, _heard(line, seconds, ask), want_lines, show)
        finally:
            line.close()
        best = max(best, found, key=lambda one: (len(one.lines), one.heard_bytes))
        if found.lines:
            break
    return best


def _heard(line: Line, seconds: float, ask: bytes) -> Iterator[bytes]:
    """What comes, as it comes; also nothing, so that whoever reads can stop."""
    until, ask_at = time.monotonic() + seconds, 0.0
    while (now := time.monotonic()) < until:
        if ask and now >= ask_at:
            line.write(ask)
            ask_at = now + 1.0
        data = line.read(4096)
        yield data
        if not data:
            time.sleep(_PAUSE_S)


def _lines(baud: int, heard: Iterator[bytes], want_lines: int, show: Callable[[str], None]) -> Listened:
    kept, shown, total = b"", 0, 0
    for data in heard:
        total += len(data)
        kept = (kept + data)[-_KEPT_BYTES:]
        if len(kept) >= _ENOUGH and not _is_text(kept):
            show("  no text at this speed")
            return Listened(baud, [], total)
        whole = _whole(kept)
        for text in whole[shown:]:
            show("  " + text.decode("ascii", "replace"))
        shown = max(shown, len(whole))
        if len(whole) >= min(want_lines, MOST_LINES):
            break
    return Listened(baud, _whole(kept), total)


def _is_text(data: bytes) -> bool:
    return sum(byte in _PRINTABLE for byte in data) >= 0.95 * len(data)


def _whole(data: bytes) -> list[bytes]:
    """Whole lines: the first may have been begun before we listened, the last may go on."""
    end = b"\n" if b"\n" in data else b"\r"
    return [line.strip(b"\r") for line in data.split(end)[1:-1] if line.strip()]
