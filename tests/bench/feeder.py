"""Feeds a broker as fast as it takes it: pre-encoded QoS 1 packets over plain sockets, run as a child process.

A publisher written with a client library would be the slowest part of what is measured.
"""

from __future__ import annotations

import socket
import struct
import sys
import time

from collector.reading import Reading
from collector.senml import encode_pack
from collector.topics import readings_topic

WINDOW = 1_000  # packets on their way without an acknowledgement


def _length(n: int) -> bytes:
    out = bytearray()
    while True:
        n, digit = divmod(n, 128)
        out.append(digit | (0x80 if n else 0))
        if not n:
            return bytes(out)


def _packet(kind: int, body: bytes) -> bytes:
    return bytes([kind]) + _length(len(body)) + body


def _text(value: str) -> bytes:
    data = value.encode()
    return struct.pack(">H", len(data)) + data


def connect(host: str, port: int, client_id: str) -> socket.socket:
    """A clean MQTT 3.1.1 session."""
    sock = socket.create_connection((host, port), 10)
    try:
        sock.sendall(_packet(0x10, _text("MQTT") + b"\x04\x02" + struct.pack(">H", 60) + _text(client_id)))
        answer = sock.recv(4)
        if answer[:2] != b"\x20\x02" or answer[3:] != b"\0":
            raise ConnectionError(f"the broker refused: {answer!r}")
    except OSError:
        sock.close()
        raise
    return sock


def publish_packet(facility: str, reading: Reading, mid: int) -> bytes:
    """One QoS 1 PUBLISH of one reading."""
    payload = encode_pack(facility, reading.unit, [reading])
    body = _text(readings_topic(facility, reading.unit)) + struct.pack(">H", mid) + payload
    return _packet(0x32, body)


def good_reading(unit: str, time_ms: int, n: int) -> Reading:
    """A healthy unit's reading, a little different each time."""
    return Reading(unit, time_ms, 93.0 + n % 9 * 0.1, 4.0 + n % 5 * 0.01, 340.0 + n % 7, 31.0, 230.0)


def feed(host: str, port: int, facility: str, units: int, count: int, pace_per_s: float = 0.0) -> float:
    """Send `count` readings of `units` units, a second apart up to now, and wait for every acknowledgement.

    Returns the seconds it took.
    """
    start_ms = time.time_ns() // 1_000_000 - count // units * 1_000
    packets = [
        publish_packet(facility, good_reading(f"u{n % units:05d}", start_ms + n // units * 1_000, n), n % 60_000 + 1)
        for n in range(count)
    ]
    sock = connect(host, port, f"feeder-{facility}")
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    began = time.perf_counter()
    sent = acked = 0
    while acked < count:
        room = min(WINDOW - (sent - acked), count - sent, 100)
        if pace_per_s:
            room = min(room, int((time.perf_counter() - began) * pace_per_s) + 1 - sent)
        if room > 0:
            sock.sendall(b"".join(packets[sent : sent + room]))
            sent += room
        sock.settimeout(0.001 if sent < count and sent - acked < WINDOW else 10)
        try:
            acked += len(sock.recv(65_536)) // 4  # every PUBACK is four bytes; a torn one is counted with the next
        except TimeoutError:
            continue
    took_s = time.perf_counter() - began
    sock.sendall(b"\xe0\x00")
    return took_s


if __name__ == "__main__":
    host, port, facility, units, count, pace = sys.argv[1:7]
    seconds = feed(host, int(port), facility, int(units), int(count), float(pace))
    sys.stdout.write(f"{seconds}\n")
