"""The folder of keys: what is in it, who may read it, and that one account's change is nobody else's."""

import hashlib
import stat
from base64 import b64decode
from datetime import timedelta
from pathlib import Path

import bcrypt
import pytest
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

from collector.door import read_door
from collector.doors.certificates import SERVER_DAYS, ends, hosts_of
from collector.doors.keyring import KeyRing
from collector.doors.register import KeysError, Register, read_register
from collector.doors.rights import Owner, owners, rights
from collector.doors.settings import subject
from collector.site import parse_site
from tests.doors import SITE, utc

NOW = utc("2026-03-01")
WARD = '\n[[ward]]\nid = "north"\n'


def register(folder, **changes) -> Register:
    known = {"facility": "lake", "hosts": ["192.0.2.1", "broker.lan"], "port": 8883, "listen": "0.0.0.0",  # noqa: S104
             "installed": "/etc/sieveward/keys", "data": "/var/lib/sieveward/broker"}  # fmt: skip
    return Register(**{**known, **changes})


@pytest.fixture
def ring(tmp_path):
    made = KeyRing(tmp_path / "keys", parse_site(SITE), register(tmp_path), NOW)
    made.make()
    return made


def again(ring, site=SITE) -> KeyRing:
    """The folder as the next run of the command finds it."""
    kept = read_register(ring.folder)
    assert kept is not None
    return KeyRing(ring.folder, parse_site(site), kept, NOW)


def contents(ring) -> dict[str, str]:
    return {path.name: path.read_text() for path in ring.accounts_folder.iterdir()}


def test_there_is_an_account_for_everybody(ring):
    names = ["collector", "check", "bridge-a", "bridge-b", "bridge-any", "ward-east", "ward-west"]
    assert [account.name for account in ring.register.accounts] == names
    assert sorted(path.stem for path in ring.accounts_folder.glob("*.toml")) == sorted(names)
    door = read_door(ring.accounts_folder / "bridge-a.toml")
    assert (door.host, door.port, door.username) == ("192.0.2.1", 8883, "bridge-a")
    assert len(door.password) == 32
    assert len(door.client_id) == 22  # MQTT 3.1.1, 3.1.3.1: up to 23 are taken by every broker
    assert door.ca is not None
    assert door.ca.exists()


def test_secrets_are_for_their_owner_only(ring):
    secret = ["ca.key", "register.json", "server.key", "nats-accounts.conf", "mosquitto-passwords"]
    files = [path for path in ring.folder.rglob("*") if path.is_file()]
    for path in files:
        if path.name in secret or path.suffix == ".toml":
            assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
    assert {*secret} <= {path.name for path in files}
    assert not [path for path in files if path.name.startswith(".")]


def test_no_password_is_anywhere_but_in_its_account_file(ring):
    passwords = [read_door(path).password for path in ring.accounts_folder.glob("*.toml")]
    assert len(set(passwords)) == 7
    others = [path for path in ring.folder.rglob("*") if path.is_file() and path.suffix != ".toml"]
    assert not any(password in path.read_text() for path in others for password in passwords)


def test_both_hashes_are_of_the_password(ring):
    password = read_door(ring.accounts_folder / "bridge-a.toml").password.encode()
    account = ring.register.account("bridge-a")
    assert bcrypt.checkpw(password, account.nats.encode())
    _, kind, rounds, salt, made = account.mosquitto.split("$")
    assert kind == "7"
    assert b64decode(made) == hashlib.pbkdf2_hmac("sha512", password, b64decode(salt), int(rounds))


def test_the_brokers_certificate(ring):
    pem = (ring.broker_folder / "server.crt").read_bytes()
    certificate = x509.load_pem_x509_certificate(pem)
    authority = x509.load_pem_x509_certificate((ring.folder / "ca.crt").read_bytes())
    certificate.verify_directly_issued_by(authority)
    usage = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert not certificate.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert sorted(hosts_of(pem)) == ["192.0.2.1", "broker.lan"]
    assert ends(pem) == NOW + timedelta(days=SERVER_DAYS)


def test_made_again_nothing_changes(ring):
    before, pair = contents(ring), (ring.broker_folder / "server.crt").read_bytes()
    assert again(ring).make() == []
    assert contents(ring) == before
    assert (ring.broker_folder / "server.crt").read_bytes() == pair


def test_a_new_ward_gets_an_account_and_nobody_else_a_new_one(ring):
    before = contents(ring)
    assert again(ring, SITE + WARD).make() == ["ward-north"]
    after = contents(ring)
    assert {name: after[name] for name in before} == before
    assert "ward-north" in (ring.broker_folder / "mosquitto-permissions").read_text()


def test_a_ward_that_is_gone_may_nothing(ring):
    longer = again(ring, SITE + WARD)
    longer.make()
    shorter = again(ring)
    shorter.make()
    assert shorter.orphans() == ["ward-north"]
    assert "ward/north" not in (ring.broker_folder / "mosquitto-permissions").read_text()
    assert "ward.north" not in (ring.broker_folder / "nats-accounts.conf").read_text()


def test_who_is_withdrawn_stays_away_until_asked_in(ring):
    before = contents(ring)
    ring.withdraw(["bridge-a"])
    assert again(ring).make() == []
    for name in ("nats-accounts.conf", "mosquitto-passwords", "mosquitto-permissions"):
        assert "bridge-a\n" not in (ring.broker_folder / name).read_text().replace('"', "\n").replace(":", "\n")
    back = again(ring)
    assert back.make(["bridge-a"]) == ["bridge-a"]
    after = contents(ring)
    assert {name for name in after if after[name] != before[name]} == {"bridge-a.toml"}


def test_a_new_certificate_changes_no_account(ring):
    before, first = contents(ring), (ring.broker_folder / "server.crt").read_bytes()
    later = again(ring)
    later._now = NOW + timedelta(days=400)
    later.renew()
    later.make()
    assert contents(ring) == before
    assert ends((ring.broker_folder / "server.crt").read_bytes()) > ends(first)


def test_a_server_never_outlives_its_authority(ring):
    ring._now = NOW + timedelta(days=3600)
    ring.renew()
    assert ends((ring.broker_folder / "server.crt").read_bytes()) == ends((ring.folder / "ca.crt").read_bytes())


def test_without_the_authoritys_key_it_is_said_what_to_do(ring):
    (ring.folder / "ca.key").unlink()
    assert again(ring, SITE + WARD).make() == ["ward-north"]  # an account needs no key of the authority
    with pytest.raises(KeysError, match=r"ca\.key is missing: put it back"):
        ring.renew()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"hosts": []}, "--host"),
        ({"hosts": ["a/b"]}, "'a/b' is no host name or address"),
        ({"hosts": ["h:1"]}, "'h:1' is no host name"),
        ({"facility": "hill"}, "holds the keys of 'hill'"),
    ],
)
def test_what_cannot_be_made_is_said(tmp_path, changes, said):
    with pytest.raises(KeysError, match=said):
        KeyRing(tmp_path, parse_site(SITE), register(tmp_path, **changes), NOW)


def test_an_unknown_account_is_said_with_the_nearest(ring):
    with pytest.raises(KeysError, match="no account is called 'bridge-aa'; did you mean"):
        ring.withdraw(["bridge-aa"])


def test_a_damaged_register_is_said(ring):
    (ring.folder / "register.json").write_text("{")
    with pytest.raises(KeysError, match="is damaged"):
        read_register(ring.folder)


def test_rights_follow_the_site_file():
    site = parse_site(SITE)
    assert rights(site, Owner("bridge", "a")).publish == (
        "oxygen/v1/lake/unit/u1/readings", "oxygen/v1/lake/bridge/a/+",
    )  # fmt: skip
    assert "oxygen/v1/lake/unit/+/readings" in rights(site, Owner("bridge", "any")).publish
    assert all(not rights(site, owner).read for owner in owners(site) if owner.kind == "bridge")
    assert not rights(site, Owner("bridge", "gone")).publish


def test_a_filter_is_a_subject():
    assert subject("oxygen/v1/lake/unit/+/readings") == "oxygen.v1.lake.unit.*.readings"
    assert subject("oxygen/v1/lake/#") == "oxygen.v1.lake.>"


def test_a_facility_without_anything_has_its_two_accounts(tmp_path):
    ring = KeyRing(tmp_path / "keys", parse_site('facility.id = "lake"'), register(tmp_path), NOW)
    assert ring.make() == ["collector", "check"]


def test_five_hundred_bridges(tmp_path):
    site = SITE + "".join(f'[[bridge]]\nid = "n{n}"\n' for n in range(500))
    ring = KeyRing(tmp_path / "keys", parse_site(site), register(tmp_path), NOW)
    assert len(ring.make()) == 507


@pytest.mark.parametrize("name", ["nats.conf", "mosquitto.conf"])
def test_the_configuration_that_is_shown_is_the_one_that_is_made(ring, name):
    shown = Path(__file__).parents[3] / "deploy" / "broker" / name
    assert (ring.broker_folder / name).read_text() == shown.read_text()
