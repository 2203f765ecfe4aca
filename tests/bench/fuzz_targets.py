"""What is fuzzed: each takes any bytes and fails by an AssertionError when a promise of its part is broken.

Whatever comes from outside comes out as what it is meant to be, or as a refusal of ours in words; nothing else is
raised, nothing is left uncounted, and what is kept is bounded.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final

from collector.bridge.bridge_file import BridgeFileError, load_bridge_file
from collector.bridge.profile import load_profile, parse_profile, shipped_profiles
from collector.bridge.talk import Behind, RegisterTalk, TextTalk
from collector.bridge.values import Maker
from collector.door import DoorError, read_door
from collector.intake.admit import AHEAD_MS, Admission, Admitted
from collector.intake.flood import SOON, Flood
from collector.messages.ways import WaysError, parse_ways
from collector.reading import EARLIEST_MS, Reading, fault_in
from collector.recording import RecordingError, read_recording
from collector.site import SiteError, parse_site
from collector.topics import bridge_state_topic, gauge_topic, link_topic, readings_topic

NOW_MS: Final = 1_790_000_000_000
FACILITY: Final = "sim-a"
SITE: Final = parse_site(
    f'[facility]\nid="{FACILITY}"\n[[ward]]\nid="w"\n[[unit]]\nid="u1"\nward="w"\n[[cylinder]]\nid="c1"\nfull_kpa=13700\n'
)
_TOPICS: Final = (readings_topic(FACILITY, "u1"), gauge_topic(FACILITY, "c1"), link_topic(FACILITY, "b1"),
                  bridge_state_topic(FACILITY, "b1"), readings_topic(FACILITY, "stranger"), "elsewhere")  # fmt: skip
KEPT_SLACK: Final = 64  # bytes of marks and checksums that may stand beside a frame of the greatest length


def _fit(readings: list[Reading]) -> None:
    for reading in readings:
        assert fault_in(reading) is None
        assert EARLIEST_MS <= reading.time_ms <= NOW_MS + AHEAD_MS


def payload(data: bytes) -> None:
    """A message on each topic: readings that are fit, or evidence of what it was."""
    admission = Admission(SITE)
    for topic in _TOPICS:
        out = Admitted()
        admission.admit(topic, data, NOW_MS, out)
        _fit(out.readings)
        taken = [*out.readings, *out.gauges, *out.links, *out.words, *out.quarantined]
        assert taken or data.strip() == b"[]"


def flood(data: bytes) -> None:
    """Messages of one topic in any number, with pauses: all are taken, left out and counted, or set aside."""
    now_s = 0.0
    watch = Flood(Admission(SITE), 1.0, lambda: now_s)
    for number, byte in enumerate(data[:32]):
        now_s += byte % 16
        message = (_TOPICS[byte % len(_TOPICS)], data, 1, number // 8)
        out = watch.admit([message] * (SOON // 4 if byte > 200 else 5), NOW_MS)
        _fit(out.readings)
        assert len(watch.suspects) <= len(_TOPICS)
        watch.notes(NOW_MS)


@cache
def _profiles() -> dict[str, tuple[object, ...]]:
    return {name: (load_profile(path),) for name, path in shipped_profiles().items()}


def wire(data: bytes) -> None:
    """Bytes on a serial line, in pieces, for every shipped profile."""
    if not data:
        return
    size = data[0] % 64 + 1
    for (profile,) in _profiles().values():
        maker = Maker(profile)  # type: ignore[arg-type]
        if profile.kind == "modbus":  # type: ignore[attr-defined]
            _registers(RegisterTalk(profile, Behind(None, {"1": "u1"}), maker), data, size)  # type: ignore[arg-type]
            continue
        several = profile.field.unit  # type: ignore[attr-defined]
        behind = Behind(None, {"1": "u1", "7": "u2"}) if several else Behind("u1", {})
        _text(TextTalk(profile, behind, maker, from_middle=False), data, size)  # type: ignore[arg-type]


def _text(talk: TextTalk, data: bytes, size: int) -> None:
    framing = talk._profile.framing
    used = 0
    for at in range(1, len(data), size):
        for heard in talk.feed(data[at : at + size], NOW_MS):
            assert (heard.told is None) == bool(heard.said)
            if heard.told is not None:
                assert heard.told.reading.unit in ("u1", "u2")
                assert fault_in(heard.told.reading) is None
            used += len(heard.raw)
        room = max(framing.max_bytes, framing.length or 0) + KEPT_SLACK
        assert talk._framer.kept_bytes <= room
    assert used + talk.dropped_bytes + talk._framer.kept_bytes <= len(data)  # a line that says nothing counts nowhere


def _registers(talk: RegisterTalk, data: bytes, size: int) -> None:
    for index in range(talk.asks):
        talk.ask(index)
        for at in range(1, len(data), size):
            for heard in talk.feed(data[at : at + size], NOW_MS):
                assert (heard.told is None) == bool(heard.said)
        if not talk.answered:
            assert all(heard.said for heard in talk.give_up(NOW_MS))


def profile(data: bytes) -> None:
    """A profile file."""
    _toml(data, lambda text: parse_profile(text), BridgeFileError)


def site(data: bytes) -> None:
    """A site file."""
    _toml(data, lambda text: parse_site(text), SiteError)


def ways(data: bytes) -> None:
    """A messages file."""
    _toml(data, lambda text: parse_ways(text, SITE), WaysError)


def _toml(data: bytes, read: Callable[[str], object], refusal: type[Exception]) -> None:
    try:
        read(data.decode("utf-8", "replace"))
    except refusal as error:
        _in_words(error)


def _in_words(error: Exception) -> None:
    assert str(error).strip()


@cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None)  # noqa: S108 - speed


def _file(name: str, data: bytes) -> Path:
    path = Path(_folder().name) / name
    path.write_bytes(data)
    return path


def files(data: bytes) -> None:
    """A bridge file and an account file."""
    for read, refusal in ((load_bridge_file, BridgeFileError), (read_door, DoorError)):
        try:
            read(_file("any.toml", data))
        except refusal as error:
            _in_words(error)


def _named(number: int, said: str) -> None:
    assert number > 0
    assert said.strip()


def recording(data: bytes) -> None:
    """A recording as CSV and as SenML lines: readings that are fit, or rows that are named."""
    for name in ("any.csv", "any.senml.jsonl"):
        try:
            for reading in read_recording(_file(name, data), _named, FACILITY):
                assert fault_in(reading) is None
        except RecordingError as error:
            _in_words(error)


TARGETS: Final[dict[str, Callable[[bytes], None]]] = {
    one.__name__: one for one in (payload, flood, wire, profile, site, ways, files, recording)
}


def seeds(name: str) -> list[bytes]:
    """Good inputs to begin from."""
    moment = NOW_MS // 1000
    base = f'"bn":"urn:dev:ops:{FACILITY}-u1:","bt":{moment}'
    pack = f'[{{{base},"n":"purity","u":"/","v":0.93}},{{"n":"flow","u":"l/min","v":4}}]'
    samples = [path.with_suffix(".txt").read_bytes() for path in shipped_profiles().values()]
    texts = [path.read_bytes() for path in shipped_profiles().values()]
    senml = [pack.encode(), b"online", b'{"v":1,"waiting":3,"dropped":0}']
    return {
        "payload": senml, "flood": senml, "wire": samples, "profile": texts,
        "site": [b'[facility]\nid="a"\n[[ward]]\nid="w"\n[[unit]]\nid="u"\nward="w"\n[limits]\nabsent_s=120\n'],
        "ways": [b'[[way]]\nid="m"\nurl="mailto://a:b@c.org"\nrole="engineer"\n'],
        "files": [b'facility="a"\nbridge="b"\nbroker="h:1"\n[[port]]\npath="/dev/x"\nprofile="p"\nunit="u"\n',
                  b'broker="h:8883"\nuser="u"\npassword="p"\nca="ca.pem"\n'],
        "recording": [b"time,unit,purity_pct,flow_lpm,power_w\n2026-01-01T00:00:00Z,u1,93.1,4.0,340\n", pack.encode()],
    }[name]  # fmt: skip
