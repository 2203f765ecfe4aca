"""The buffered socket under paho: every byte in its order, whatever the pieces, and paho still takes it."""

import contextlib
import socket
import ssl
import subprocess

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.intake.buffered import READ_BYTES, WRITE_BYTES, BufferedClient, BufferedSocket
from tests.waiting import wait_for


@pytest.fixture
def pair():
    near, far = socket.socketpair()
    near.setblocking(False)
    yield BufferedSocket(near), far
    near.close()
    far.close()


def test_bytes_come_one_by_one_and_in_their_order(pair):
    sock, far = pair
    far.sendall(bytes(range(256)))
    assert b"".join(sock.recv(1) for _ in range(200)) == bytes(range(200))
    assert sock.pending() == 56
    assert sock.recv(1_000) == bytes(range(200, 256))
    assert sock.pending() == 0
    with pytest.raises(BlockingIOError):
        sock.recv(1)


def test_the_end_of_the_stream_comes_after_what_was_read(pair):
    sock, far = pair
    far.sendall(b"last")
    far.close()
    assert sock.recv(2) + sock.recv(10) == b"last"
    assert sock.recv(1) == b""


def test_nothing_leaves_before_the_flush(pair):
    sock, far = pair
    far.setblocking(False)
    assert sock.send(b"one") + sock.send(b"two") == 6
    assert sock.wants_write
    with pytest.raises(BlockingIOError):
        far.recv(10)
    assert sock.flush()
    assert far.recv(10) == b"onetwo"
    assert not sock.wants_write


def test_what_the_system_does_not_take_waits_up_to_a_bound(pair):
    sock, far = pair
    sent = bytearray()
    piece = bytes(range(250)) * 40
    with contextlib.suppress(BlockingIOError):
        while len(sent) < 50_000_000:
            sent += piece[: sock.send(piece)]
    assert len(sent) < 10 * WRITE_BYTES + 2 * READ_BYTES + 2_000_000
    got = bytearray()
    while len(got) < len(sent):
        sock.flush()
        got += far.recv(READ_BYTES)
    assert got == sent


def test_closing_sends_what_waits(pair):
    sock, far = pair
    sock.send(b"goodbye")
    sock.close()
    assert far.recv(100) == b"goodbye"
    assert far.recv(100) == b""


def test_closing_a_broken_connection_is_quiet(pair):
    sock, far = pair
    far.close()
    sock.send(b"into the void")
    sock.close()


def test_bytes_that_tls_holds_are_seen(tmp_path):
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-keyout", tmp_path / "key", "-out", tmp_path / "crt", "-subj", "/CN=t"],
                   check=True, capture_output=True)  # fmt: skip
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(tmp_path / "crt", tmp_path / "key")
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname, client.verify_mode = False, ssl.CERT_NONE
    near, far = socket.socketpair()
    ends = [client.wrap_socket(near, do_handshake_on_connect=False),
            server.wrap_socket(far, server_side=True, do_handshake_on_connect=False)]  # fmt: skip
    for end in ends:
        end.setblocking(False)
    waiting = list(ends)
    while waiting:
        for end in list(waiting):
            try:
                end.do_handshake()
                waiting.remove(end)
            except ssl.SSLWantReadError:
                continue
    sock = BufferedSocket(ends[0])
    ends[1].send(b"x" * 30_000)
    got = 0
    while got < 30_000:
        assert wait_for(lambda: _readable(sock), 5, "bytes")
        got += len(sock.recv(1_000))
    with pytest.raises(BlockingIOError):
        sock.recv(1)
    sock.close()
    ends[1].close()


def _readable(sock):
    if sock.pending():
        return True
    try:
        sock.recv(0)
    except BlockingIOError:
        return False
    return sock.pending() > 0


def test_paho_takes_it_and_reads_a_packet_torn_anywhere(monkeypatch):
    """A CONNACK and a PUBLISH of QoS 1 (MQTT 3.1.1, 3.2 and 3.3) byte by byte; the acknowledgement waits for flush."""
    near, far = socket.socketpair()
    monkeypatch.setattr(mqtt.Client, "_create_socket_connection", lambda _self: near)
    client = BufferedClient(CallbackAPIVersion.VERSION2, "t", protocol=mqtt.MQTTv311)
    got = []
    client.on_message = lambda _client, _data, message: got.append((message.topic, bytes(message.payload)))
    client.on_socket_register_write = lambda *_: None
    client.connect("anywhere")
    client.flush()
    assert far.recv(100)[:1] == b"\x10"
    for byte in b"\x20\x02\x00\x00" + b"\x32\x07\x00\x01a\x00\x05hi":
        far.sendall(bytes([byte]))
        assert client.loop_read() == mqtt.MQTT_ERR_SUCCESS
    assert got == [("a", b"hi")]
    assert client.want_write()
    client.flush()
    assert far.recv(100) == b"\x40\x02\x00\x05"
    far.close()
    near.close()
