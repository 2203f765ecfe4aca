"""The way to a broker: where it is, who asks, and whose certificate is trusted; read from an account file.

An account file is TOML and holds a secret: `broker = "host:port"`, `user`, `password`, `client` (the MQTT client id, a
secret too: whoever knows it could take the session over), and `ca`, the authority's certificate beside the file.
"""

from __future__ import annotations

import ssl
import tomllib
from pathlib import Path
from typing import Final

import msgspec

from collector.site_lines import LineFinder, nearest

PLAIN_PORT: Final = 1883  # registered with IANA as mqtt
TLS_PORT: Final = 8883  # registered with IANA as secure-mqtt
CERTIFICATE_WARN_DAYS: Final = 45  # before the broker's ends: a month, and two weeks to get round to it
HANDSHAKE_S: Final = 5.0  # a slow broker on a busy small computer takes one
_KEYS: Final = ("broker", "user", "password", "client", "ca")


class DoorError(Exception):
    """The way to the broker is described wrongly; the text names the file and the way out."""


class Door(msgspec.Struct, frozen=True):
    """A broker's address and an account there; without `ca` the line is not encrypted.

    client_id is what the broker knows the session by; "" leaves it to the program.
    """

    host: str
    port: int
    username: str = ""
    password: str = ""
    ca: Path | None = None
    client_id: str = ""

    @property
    def where(self) -> str:
        """host:port, for people."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    def __repr__(self) -> str:
        """Without the secrets, which must not reach a log."""
        return f"Door({self.where}, {self.username or 'nobody'}, {'TLS' if self.ca else 'plain'})"


def read_door(path: Path) -> Door:
    """The door of an account file; DoorError names what is wrong with it, and the line."""
    try:
        text = path.read_text(encoding="utf-8")
        data = tomllib.loads(text)
    except FileNotFoundError as error:
        raise DoorError(f"{path}: no such account file; 'sieveward site keys' makes them") from error
    except (OSError, UnicodeDecodeError) as error:
        raise DoorError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from error
    except tomllib.TOMLDecodeError as error:
        raise DoorError(f"{path}: not valid TOML: {error}") from error
    lines = LineFinder(text)
    for key, value in data.items():
        if key not in _KEYS:
            raise DoorError(f"{path}:{lines.line((key,))}: unknown key '{key}'{nearest(key, _KEYS)}")
        if not isinstance(value, str):
            raise DoorError(f"{path}:{lines.line((key,))}: {key}: write it in quotes")
    if "broker" not in data:
        raise DoorError(f'{path}: needs broker = "HOST:PORT"; add it')
    ca = path.parent / data["ca"] if data.get("ca") else None
    try:
        host, port = host_and_port(data["broker"], TLS_PORT if ca else PLAIN_PORT)
    except DoorError as error:
        raise DoorError(f"{path}:{lines.line(('broker',))}: {error}") from error
    return Door(host, port, data.get("user", ""), data.get("password", ""), ca, data.get("client", ""))


def host_and_port(text: str, default_port: int = PLAIN_PORT) -> tuple[str, int]:
    """Split HOST:PORT, [IPV6]:PORT or a bare host, which has the default port."""
    host, colon, port = text.rpartition(":")
    if not colon or text.endswith("]"):
        host, port = text, str(default_port)
    bare = host.strip("[]")
    if not (bare and port.isascii() and port.isdigit() and 0 < int(port) < 65_536):
        raise DoorError(f"'{text}' is no broker address; write HOST:PORT, such as 127.0.0.1:1883")
    return bare, int(port)


def tls_context(door: Door) -> ssl.SSLContext | None:
    """What checks the broker's certificate, or None for a line without TLS; DoorError when the authority is unusable.

    Only the door's own authority is trusted, never the machine's, and the broker's name must stand in the certificate.
    """
    if door.ca is None:
        return None
    try:
        context = ssl.create_default_context(ssl.Purpose.SERVER_AUTH, cafile=str(door.ca))
    except FileNotFoundError as error:
        raise DoorError(f"{door.ca}: no such file; copy the authority's certificate there") from error
    except (OSError, ssl.SSLError) as error:
        raise DoorError(f"{door.ca}: no usable certificate of an authority: {error}") from error
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _Handshake
    return context


class _Handshake(ssl.SSLSocket):
    """A socket whose handshake ends in time and is closed when it fails: paho would wait long, and leave it open."""

    def do_handshake(self, block: bool = False) -> None:
        self.settimeout(HANDSHAKE_S)
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise
