"""`sieveward bridge --learn PORT`: live lines to stderr, a proposed profile to stdout."""

from __future__ import annotations

from collector.bridge.bridge_file import BridgeFileError
from collector.bridge.hear import BAUDS, Listened, listen
from collector.bridge.learn import propose
from collector.bridge.port import GONE, why
from collector.bridge.profile import parse_profile
from collector.bridge.sample import try_sample
from collector.cli.says import EXIT_FAILED, Refused, say, say_error


def learn(path: str, baud: int | None, seconds: float, lines: int, ask: str) -> None:
    """Listen and propose; Refused with exit status 1 when nothing could be made of what was heard."""
    request = _request(ask)
    try:
        heard = listen(path, (baud,) if baud else BAUDS, seconds, lines, say_error, request)
    except GONE as error:
        raise Refused(f"{path}: {why(error)}", EXIT_FAILED) from error
    if not heard.lines:
        raise Refused(_nothing(path, heard), EXIT_FAILED)
    try:
        text = propose(heard.lines)
        result = try_sample(parse_profile(text), b"".join(line + b"\n" for line in heard.lines), 0)
    except (ValueError, BridgeFileError) as error:
        raise Refused(f"{path}: {error}", EXIT_FAILED) from error
    poll = f'\n[poll]\nrequest_hex = "{request.hex(" ")}"\nevery_s = 10\n' if ask else ""
    say(f"# port: baud = {heard.baud}\n{text}{poll}".rstrip())
    say_error(f"the proposal reads {result.read} of {len(result.rows)} lines; save it, correct it, and prove it with "
              "'sieveward bridge --check PROFILE SAMPLE'")  # fmt: skip


def _request(ask: str) -> bytes:
    try:
        return ask.encode("ascii").decode("unicode_escape").encode("latin-1")
    except UnicodeError as error:
        raise Refused(
            rf"--ask '{ask}' cannot be sent; write plain text, with \r, \n or \x05 for what has no sign"
        ) from error


def _nothing(path: str, heard: Listened) -> str:
    if heard.heard_bytes:
        return f"{path}: {heard.heard_bytes} bytes came, and no lines of text; name another --baud, or a Modbus profile"
    return (f"{path}: nothing was heard. Is the device on, the cable a crossed one? Some devices speak only when asked "
            r"(--ask '?\r'), and Modbus devices never by themselves")  # fmt: skip
