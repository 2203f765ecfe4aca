"""The two ends of a connection: what the broker showed at its beginning, and hearing it out at its end."""

from __future__ import annotations

import socket
import ssl
import time


def certificate_until_s(sock: object) -> float | None:
    """Until when the broker's certificate is good, in s since 1970; None without TLS."""
    raw = getattr(sock, "raw", sock)
    shown = raw.getpeercert() if isinstance(raw, ssl.SSLSocket) else None
    return ssl.cert_time_to_seconds(str(shown["notAfter"])) if shown else None


def hear_out(connection: socket.socket, deadline_s: float) -> None:
    """Say that nothing more comes, and read until the other side has closed."""
    try:
        connection.shutdown(socket.SHUT_WR)
        while (left_s := deadline_s - time.monotonic()) > 0:
            connection.settimeout(left_s)
            if not connection.recv(65_536):
                return
    except OSError:  # it is gone already, or does not answer
        return
