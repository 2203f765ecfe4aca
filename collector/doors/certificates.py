"""The authority of one hospital and its broker's certificate (X.509, RFC 5280), made and read by cryptography."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Final, NamedTuple

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS: Final = 3650
SERVER_DAYS: Final = 825  # as long as widespread clients trust a server's certificate at most
_EARLIER: Final = timedelta(days=1)  # for computers whose clocks run behind


class Pair(NamedTuple):
    """A certificate and its key, both as PEM."""

    certificate: bytes
    key: bytes


def make_authority(facility: str, now: datetime) -> Pair:
    """A new authority; its certificate is what everybody trusts."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"{facility} oxygen authority")
    builder = (
        _builder(name, name, key, now - _EARLIER, now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
    )
    return _signed(builder, key, key)


def make_server(
    authority: Pair, hosts: Sequence[str], now: datetime, not_before: datetime | None = None, days: int = SERVER_DAYS
) -> Pair:
    """A broker's certificate for host names and addresses, signed by the authority."""
    signer = x509.load_pem_x509_certificate(authority.certificate)
    signing_key = serialization.load_pem_private_key(authority.key, None)
    if not isinstance(signing_key, EllipticCurvePrivateKey) or signing_key.public_key() != signer.public_key():
        raise ValueError("the authority's key does not belong to its certificate")
    key = ec.generate_private_key(ec.SECP256R1())
    from_when = not_before or now - _EARLIER
    until = min(now + timedelta(days=days), signer.not_valid_after_utc)
    builder = (
        _builder(_name(hosts[0]), signer.subject, key, from_when, until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general_name(host) for host in hosts]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(signing_key.public_key()), critical=False
        )
    )  # fmt: skip
    return _signed(builder, key, signing_key)


def ends(certificate: bytes) -> datetime:
    """When a PEM certificate ends, in UTC; ValueError when it is none."""
    return x509.load_pem_x509_certificate(certificate).not_valid_after_utc


def hosts_of(certificate: bytes) -> list[str]:
    """The names and addresses a server's certificate is for."""
    found = x509.load_pem_x509_certificate(certificate).extensions.get_extension_for_class(x509.SubjectAlternativeName)
    return [str(name.value) for name in found.value]


def _builder(
    subject: x509.Name, issuer: x509.Name, key: EllipticCurvePrivateKey, not_before: datetime, until: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(not_before.astimezone(UTC))
        .not_valid_after(until.astimezone(UTC))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _signed(builder: x509.CertificateBuilder, key: EllipticCurvePrivateKey, signer: EllipticCurvePrivateKey) -> Pair:
    certificate = builder.sign(signer, hashes.SHA256())
    pem = serialization.Encoding.PEM
    secret = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return Pair(certificate.public_bytes(pem), secret)


def _name(common_name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common_name[:64])])


def _general_name(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates, key_cert_sign=signs_certificates, crl_sign=signs_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip
