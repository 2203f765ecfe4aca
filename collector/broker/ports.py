"""Which ports are free, and whether an MQTT broker answers on one."""

from __future__ import annotations

import socket
import ssl

CONNACK = 0x20  # MQTT 3.1.1 (OASIS 2014) section 3.2: first byte of the broker's answer
DISCONNECT = b"\xe0\x00"  # section 3.14
# Section 3.1: protocol MQTT level 4, clean session, keep-alive 10 s, no client id. A broker that asks for a
# password refuses it, and has answered all the same.
CONNECT = b"\x10\x0c\x00\x04MQTT\x04\x02\x00\x0a\x00\x00"


def free_port(host: str = "127.0.0.1") -> int:
    """A TCP port of `host` that nobody listens on at this moment; another program may still be quicker."""
    with socket.create_server((host, 0), family=_family(host)) as probe:
        return int(probe.getsockname()[1])


def is_free(host: str, port: int) -> bool:
    """Whether a server could listen there now; connections of an earlier one that fade away do not matter."""
    try:
        with socket.create_server((host, port), family=_family(host)):
            return True
    except OSError:
        return False


def answers_mqtt(host: str, port: int, timeout_s: float = 1.0, *, tls: bool = False) -> bool:
    """Whether a broker answers an MQTT CONNECT, be it with a refusal; whose certificate it has does not matter."""
    try:
        with _connected(reachable(host), port, timeout_s, tls) as link:
            link.sendall(CONNECT)
            answer = link.recv(4)
            if answer[:1] != bytes([CONNACK]):
                return False
            link.sendall(DISCONNECT)
            return True
    except OSError:
        return False


def _connected(host: str, port: int, timeout_s: float, tls: bool) -> socket.socket:
    link = socket.create_connection((host, port), timeout=timeout_s)
    if not tls:
        return link
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE  # a sign of life: no secret is sent
    try:
        return context.wrap_socket(link)
    except OSError:
        link.close()
        raise


def reachable(host: str) -> str:
    """The address at which this machine reaches a server that listens on `host`."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}.get(host, host)  # noqa: S104 - read, not bound


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET
