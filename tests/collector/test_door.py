"""Account files, addresses, and why a door does not open."""

import ssl

import pytest

from collector.door import Door, DoorError, host_and_port, read_door, tls_context
from collector.door_words import why_no_answer, why_not_connected, why_refused

DOOR = Door("192.0.2.1", 8883, "bridge-a", "secret", client_id="c")


def test_an_account_file_is_read_with_its_authority_beside_it(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('broker = "b.lan:9"\nuser = "u"\npassword = "p"\nclient = "c"\nca = "ca.crt"\n')
    assert read_door(path) == Door("b.lan", 9, "u", "p", tmp_path / "ca.crt", "c")


@pytest.mark.parametrize(("ca", "port"), [('ca = "ca.crt"', 8883), ("", 1883)])
def test_the_usual_port_follows_from_tls(tmp_path, ca, port):
    path = tmp_path / "a.toml"
    path.write_text(f'broker = "b.lan"\n{ca}')
    assert read_door(path).port == port


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('user = "u"', 'needs broker = "HOST:PORT"'),
        ('\nbroker = "x:0"', ":2: 'x:0' is no broker address"),
        ('broker = "x"\npasword = "p"', ":2: unknown key 'pasword'; did you mean 'password'?"),
        ('broker = "x"\npassword = 1', ":2: password: write it in quotes"),
        ("broker = ", "not valid TOML"),
    ],
)
def test_a_wrong_account_file_is_said_with_its_line(tmp_path, text, said):
    path = tmp_path / "a.toml"
    path.write_text(text)
    with pytest.raises(DoorError) as error:
        read_door(path)
    assert said in str(error.value)
    assert str(path) in str(error.value)


def test_a_missing_account_file_is_said_with_the_way_out(tmp_path):
    with pytest.raises(DoorError, match="no such account file; 'sieveward site keys' makes them"):
        read_door(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("h:1", ("h", 1)), ("h", ("h", 1883)), ("[::1]:2", ("::1", 2)), ("[::1]", ("::1", 1883)),
        ("192.0.2.1:65535", ("192.0.2.1", 65535)),
    ],
)  # fmt: skip
def test_addresses(text, found):
    assert host_and_port(text) == found


@pytest.mark.parametrize("text", ["", ":1", "h:", "h:x", "h:65536", "h:-1", "h:\u0661"])
def test_what_is_no_address(text):
    with pytest.raises(DoorError, match="no broker address"):
        host_and_port(text)


def test_secrets_are_not_shown():
    assert "secret" not in repr(DOOR)


def test_a_missing_authority_is_said(tmp_path):
    with pytest.raises(DoorError, match=r"ca\.crt: no such file"):
        tls_context(Door("h", 1, ca=tmp_path / "ca.crt"))


def test_what_is_no_authority_is_said(tmp_path):
    (tmp_path / "ca.crt").write_text("not a certificate")
    with pytest.raises(DoorError, match="no usable certificate"):
        tls_context(Door("h", 1, ca=tmp_path / "ca.crt"))


def verification(code, message="as it is"):
    error = ssl.SSLCertVerificationError()
    error.verify_code, error.verify_message = code, message
    return error


# The codes are OpenSSL's (x509_vfy.h): X509_V_ERR_CERT_NOT_YET_VALID 9, CERT_HAS_EXPIRED 10, SELF_SIGNED_CERT_IN_CHAIN
# 19, UNABLE_TO_GET_ISSUER_CERT_LOCALLY 20, HOSTNAME_MISMATCH 62, IP_ADDRESS_MISMATCH 64; from memory, and each that can
# be had is tried for real in tests/integration/test_doors.py.
@pytest.mark.parametrize(
    ("error", "said", "lasting"),
    [
        (verification(10), "has expired: make it anew with 'sieveward site keys --renew'", True),
        (verification(9), "not valid yet by this computer's clock", True),
        (verification(62), "is not for '192.0.2.1'", True),
        (verification(64), "--host 192.0.2.1", True),
        (verification(20), "is it the right broker, and its ca.crt?", True),
        (verification(26, "unsuitable purpose"), "not trusted: unsuitable purpose", True),
        (ConnectionRefusedError(111, "Connection refused"), "no broker at 192.0.2.1:8883: Connection refused", False),
    ],
)
def test_why_there_is_no_connection(error, said, lasting):
    fault = why_not_connected(error, DOOR)
    assert said in fault.said
    assert fault.lasting == lasting


def test_words_of_the_broker_are_kept():
    assert "Not authorized" in why_refused("Not authorized", DOOR)
    assert "wants an account" in why_refused("Not authorized", Door("h", 1))
    assert why_refused("Server unavailable", DOOR) == "192.0.2.1:8883 refuses: Server unavailable"
    assert "if it wants TLS" in why_no_answer(Door("h", 1))
