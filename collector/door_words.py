"""Why a door does not open, in words: what the network, TLS and the broker say, with the way out."""

from __future__ import annotations

import ssl
from datetime import UTC, datetime
from typing import Final, NamedTuple

from collector.door import Door

RENEW: Final = "make it anew with 'sieveward site keys --renew' and reload the broker"
# OpenSSL's verification results (x509_vfy.h), as Python hands them on in SSLCertVerificationError.verify_code.
_NOT_YET_VALID, _EXPIRED, _WRONG_NAME, _WRONG_ADDRESS = 9, 10, 62, 64
_NOT_SIGNED: Final = (18, 19, 20, 21)


class Fault(NamedTuple):
    """Why there is no connection; `lasting` when trying again does not mend it: somebody must change something."""

    said: str
    lasting: bool


def why_not_connected(error: OSError, door: Door) -> Fault:
    """What an error of a connect means: a certificate, the wrong kind of port, or a broker that is away."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return Fault(f"the certificate of {door.where} {_certificate(error, door)}", True)
    if isinstance(error, ssl.SSLError):
        if error.reason == "WRONG_VERSION_NUMBER":
            return Fault(f"{door.where} does not speak TLS: the account file names a port that is not encrypted", True)
        return Fault(f"{door.where} breaks the TLS handshake off ({error.reason or error}): is it a TLS port?", False)
    if isinstance(error, ConnectionResetError) and door.ca is not None:
        return Fault(f"{door.where} ends the connection during the TLS handshake: is it a TLS port?", False)
    return Fault(f"no broker at {door.where}: {error.strerror or error}", False)


def _certificate(error: ssl.SSLCertVerificationError, door: Door) -> str:
    code = getattr(error, "verify_code", 0)
    if code == _EXPIRED:
        return f"has expired: {RENEW}"
    if code == _NOT_YET_VALID:
        return f"is not valid yet by this computer's clock, {datetime.now(UTC):%Y-%m-%d}: set the clock"
    if code in (_WRONG_NAME, _WRONG_ADDRESS):
        return f"is not for '{door.host}': {RENEW.replace('--renew', f'--renew --host {door.host}')}"
    if code in _NOT_SIGNED:
        return (
            f"is not trusted, since the authority in {door.ca} did not sign it: is it the right broker, and its ca.crt?"
        )
    return f"is not trusted: {getattr(error, 'verify_message', '') or error}"


def why_refused(reason: str, door: Door) -> str:
    """What a refusal in the CONNACK (MQTT 3.1.1, table 3.1) means for the account."""
    if reason not in ("Not authorized", "Bad user name or password"):
        return f"{door.where} refuses: {reason}"
    if not door.username:
        return f"{door.where} refuses: {reason}. It wants an account: name its file with --account"
    return (
        f"{door.where} refuses: {reason}. The account '{door.username}' is unknown there, withdrawn, or has another "
        "password: 'sieveward site keys --show' lists the accounts, --anew makes a new password"
    )


def why_no_answer(door: Door) -> str:
    """What it may mean that a connection ended before anything answered as an MQTT broker."""
    if door.ca is None:
        return f"{door.where} ended the connection and did not answer as an MQTT broker: if it wants TLS, use --account"
    return f"{door.where} ended the connection and did not answer as an MQTT broker"
