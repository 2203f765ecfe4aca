"""The doors of both brokers, tried for real: what is not allowed is not delivered, and a refusal says why."""

import json
import re
import socket
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from collector.bridge import broker_line
from collector.bridge.broker_line import BrokerLine
from collector.broker.mosquitto import find_mosquitto
from collector.broker.nats import find_nats
from collector.door import Door
from collector.doors.certificates import Pair, make_authority, make_server
from collector.doors.files import PUBLIC, write_file
from collector.intake import subscriber as module
from collector.intake.subscriber import CONNECTED, CONNECTING, REFUSED, Subscriber
from simulator import HOSPITAL
from tests.conftest import demand
from tests.doors import Doors, Guest, all_seeing, shown_until, utc
from tests.waiting import free_port, wait_for

ROOT = "oxygen/v1/lake"
U1, U2 = f"{ROOT}/unit/u1/readings", f"{ROOT}/unit/u2/readings"
EAST, WEST, BEAT = f"{ROOT}/ward/east/signal", f"{ROOT}/ward/west/signal", f"{ROOT}/collector/heartbeat"
KINDS = {"nats": find_nats, "mosquitto": find_mosquitto}

pytestmark = pytest.mark.broker


@pytest.fixture(params=list(KINDS))
def kind(request):
    demand(KINDS[request.param])
    return request.param


@pytest.fixture
def doors(kind, tmp_path, monkeypatch):
    """A broker with the site's accounts, in which the check account sees everything."""
    monkeypatch.setattr(module, "PAUSE_S", 0.0)
    monkeypatch.setattr(module, "BACKOFF_S", (0.2, 1.0))
    all_seeing(monkeypatch)
    with closing(Doors(kind, tmp_path).start()) as made:
        yield made


@pytest.fixture
def guest(doors):
    """Guests by account, all sent home at the end."""
    made: list[Guest] = []

    def come(account: str, client_id: str = "", **options) -> Guest:
        made.append(Guest(doors.account(account), client_id, **options))
        assert made[-1].answers == ["Success"]
        return made[-1]

    yield come
    for one in made:
        one.close()


@pytest.fixture
def witness(guest):
    seeing = guest("check")
    assert seeing.ask("#") == [True]
    return seeing


def fence(witness: Guest) -> list[tuple[str, bytes]]:
    """Everything the witness heard up to now: what was published before the fence came before it."""
    witness.say("lake/fence", b"fence")
    wait_for(lambda: ("lake/fence", b"fence") in witness.heard, 10, "the fence")
    return [item for item in witness.heard if item[0] != "lake/fence"]


# -- publishing ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("account", "allowed"),
    [
        ("bridge-a", [U1, f"{ROOT}/bridge/a/link", f"{ROOT}/bridge/a/state"]),
        ("bridge-b", [U2, f"{ROOT}/cylinder/c1/readings", f"{ROOT}/bridge/b/link"]),
        ("bridge-any", [U1, U2, f"{ROOT}/cylinder/c1/readings", f"{ROOT}/bridge/any/link"]),
        ("ward-east", []),
        ("collector", [EAST, WEST, BEAT]),
    ],
)
def test_only_what_an_account_may_publish_is_delivered(guest, witness, account, allowed):
    """Told by delivery: MQTT 3.1.1 acknowledges what is denied. Mosquitto 2.0 then ends the connection as well."""
    others = [
        U1, U2, f"{ROOT}/cylinder/c1/readings", f"{ROOT}/bridge/a/link", f"{ROOT}/bridge/a/state", EAST, WEST, BEAT,
        f"{ROOT}/bridge/b/link", f"{ROOT}/bridge/any/link", f"{ROOT}/bridge/a", f"{ROOT}/unit/u1", "oxygen/v1/lake",
        "oxygen/v1/hill/unit/u1/readings", f"{ROOT}/check/x", f"{ROOT}/unit/u1/readings/more", "lake/fence",
    ]  # fmt: skip
    for number, topic in enumerate(others):  # nats-server holds up a client id that comes back again and again
        guest(account, f"guest-{number}").say(topic, b"try")
    assert {topic for topic, _ in fence(witness)} == set(allowed)


def test_a_forged_will_is_not_delivered(guest, witness):
    guest("bridge-b", will=(f"{ROOT}/bridge/a/link", b"offline")).crash()
    guest("bridge-a", will=(f"{ROOT}/bridge/a/link", b"offline")).crash()
    wait_for(lambda: (f"{ROOT}/bridge/a/link", b"offline") in witness.heard, 10, "the will of its own")
    assert fence(witness) == [(f"{ROOT}/bridge/a/link", b"offline")]


# -- reading -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("account", "allowed"), [("bridge-a", set()), ("bridge-any", set()), ("ward-east", {EAST, BEAT})]
)
@pytest.mark.parametrize("qos", [0, 1])
def test_only_what_an_account_may_read_is_delivered(guest, witness, account, allowed, qos):
    """Told by delivery: Mosquitto grants every subscription in its answer, and then delivers nothing."""
    collector, bridge = guest("collector"), guest("bridge-b")
    for topic in (EAST, WEST, BEAT):
        collector.say(topic, b"kept", retain=True)
    bridge.say(f"{ROOT}/bridge/b/link", b"online", retain=True)
    fence(witness)
    one = guest(account)
    one.ask(
        EAST, WEST, BEAT, U1, U2, f"{ROOT}/bridge/+/link", f"{ROOT}/ward/+/signal", f"{ROOT}/#", "#", "$SYS/#", qos=qos
    )
    for topic in (EAST, WEST, BEAT):
        collector.say(topic, b"now", retain=True)
    bridge.say(U2, b"now")
    fence(witness)
    wait_for(lambda: {topic for topic, said in one.heard if said == b"now"} >= allowed, 10, "what it may read")
    one.say(f"{ROOT}/unit/u1/back", b"")  # the broker's word on it comes behind whatever was on the way
    assert {topic for topic, _ in one.heard} == allowed


def test_the_collector_hears_its_facility(doors, guest):
    line = Subscriber(doors.account("collector"), "ignored", [f"{ROOT}/unit/+/readings", f"{ROOT}/bridge/+/link"])
    wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 10, "the subscription")
    guest("bridge-a").say(U1, b"x")
    wait_for(lambda: [m[0] for m in line.poll(0.05)] == [U1], 10, "the reading")
    line.close()


# -- coming in -----------------------------------------------------------------------------------------------------


def refused(door: Door, state: str = REFUSED) -> str:
    """What our subscriber says of a door that does not open."""
    line = Subscriber(door, "guest", [U1])
    first = line.said
    wait_for(lambda: line.poll(0.02) == [] and line.state == state and line.said != first and not line._up, 15, "no")
    assert line.connections == 0
    line.close()
    return line.said


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"username": "", "password": ""}, "wants an account"),
        ({"password": "wrong"}, "'bridge-a' is unknown there, withdrawn, or has another password"),
        ({"username": "bridge-zz"}, "'bridge-zz' is unknown"),
    ],
)
def test_who_has_no_account_is_refused(doors, changes, said):
    assert said in refused(doors.account("bridge-a", **changes))


def turned(line: BrokerLine) -> bool:
    line.turn()
    return True


def test_the_bridge_tells_the_same_reason_once(doors, monkeypatch):
    told: list[str] = []
    monkeypatch.setattr(broker_line, "say", lambda name, **fields: told.append(f"{name}: {fields.get('said')}"))
    monkeypatch.setattr(broker_line, "REFUSED_S", (0.05, 0.1))
    line = BrokerLine(doors.account("bridge-a", password="wrong"), "lake", "a")  # noqa: S106 - none at all
    wait_for(lambda: turned(line) and told, 10, "the refusal")
    tries: set[float] = set()

    def tried_again() -> bool:
        line.turn()
        tries.add(line._retry_s)
        return len(tries) > 3

    wait_for(tried_again, 10, "further tries")
    assert len(told) == 1
    assert "has another password" in told[0]
    monkeypatch.setattr(broker_line, "REPEAT_S", 0.0)  # the time to say it again has come
    wait_for(lambda: turned(line) and len(told) > 1, 10, "the reason again")
    line.close()


def test_another_authoritys_certificate_is_refused(doors, tmp_path):
    other = tmp_path / "other.crt"
    write_file(other, make_authority("lake", utc("2026-01-01")).certificate)
    said = refused(doors.account("bridge-a", ca=other))
    assert "not trusted" in said
    assert str(other) in said


def test_a_certificate_for_another_host_is_refused(doors):
    said = refused(doors.account("bridge-a", host="localhost"))
    assert "is not for 'localhost'" in said
    assert "--host localhost" in said


@pytest.mark.parametrize(
    ("from_day", "until_day", "said"), [(-30, -1, "has expired"), (10, 20, "is not valid yet by this computer's clock")]
)
def test_a_certificate_out_of_its_time_is_refused(kind, tmp_path, monkeypatch, from_day, until_day, said):
    monkeypatch.setattr(module, "PAUSE_S", 0.0)
    doors = Doors(kind, tmp_path)
    now = doors.ring._now
    authority = Pair((doors.keys / "ca.crt").read_bytes(), (doors.keys / "ca.key").read_bytes())
    day = timedelta(days=1)
    pair = make_server(authority, ["127.0.0.1"], now + until_day * day, now + from_day * day, days=0)
    write_file(doors.keys / "broker" / "server.crt", pair.certificate, PUBLIC)
    write_file(doors.keys / "broker" / "server.key", pair.key)
    with closing(doors.start()):
        assert said in refused(doors.account("bridge-a"))


def test_without_tls_nobody_comes_in(doors):
    said = refused(doors.account("bridge-a", ca=None), CONNECTING)
    assert "if it wants TLS, use --account" in said


def test_tls_at_a_port_without_it_is_said(doors, nats):
    said = refused(doors.account("bridge-a", host=nats.host, port=nats.port), CONNECTING)
    assert "is it a TLS port?" in said


def test_no_broker_is_said(doors):
    assert "no broker at 127.0.0.1" in refused(doors.account("bridge-a", port=free_port()), CONNECTING)


# -- sessions ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("clean", [True, False])
def test_nobody_pushes_the_collector_out_or_takes_its_messages(doors, guest, clean):
    line = Subscriber(doors.account("collector"), "sieveward-lake", [f"{ROOT}/unit/+/readings"])
    wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 10, "the subscription")
    intruders = [
        guest("bridge-b", client_id, clean=clean) for client_id in ("sieveward-lake", "collector", "bridge-a", "lake")
    ]
    guest("bridge-a").say(U1, b"secret")
    wait_for(lambda: [m[1] for m in line.poll(0.05)] == [b"secret"], 10, "the reading")
    assert line.state == CONNECTED
    assert line.connections == 1
    assert not any(intruder.heard for intruder in intruders)
    line.close()


def test_who_knows_a_client_id_still_reads_nothing(doors, guest):
    """nats-server lets an account that knows another's client id end its connection: so ids are secrets."""
    door = doors.account("collector")
    line = Subscriber(door, "", [f"{ROOT}/unit/+/readings"])
    wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 10, "the subscription")
    line.close()
    guest("bridge-a").say(U1, b"secret")
    intruder = guest("bridge-b", door.client_id, clean=False)
    intruder.say(U2, b"mine")
    assert not intruder.heard
    intruder.close()
    back = Subscriber(door, "", [f"{ROOT}/unit/+/readings"])
    wait_for(lambda: b"secret" in [m[1] for m in back.poll(0.05)], 15, "what was kept for it")
    back.close()


# -- changes while it runs -----------------------------------------------------------------------------------------


def test_one_account_is_withdrawn_and_nobody_else_notices(doors, guest):
    stays, goes = guest("bridge-b"), guest("bridge-a")
    before = (doors.keys / "accounts" / "bridge-b.toml").read_text()
    door = doors.account("bridge-a")
    doors.ring.withdraw(["bridge-a"])
    assert doors.broker is not None
    doors.broker.reload()
    wait_for(lambda: goes.losses, 10, "the end of its connection")
    assert "is unknown there, withdrawn" in refused(door)
    stays.say(U2, b"still")
    assert stays.losses == 0
    assert (doors.keys / "accounts" / "bridge-b.toml").read_text() == before
    doors.ring.make()  # what is withdrawn does not come back by itself
    assert not (doors.keys / "accounts" / "bridge-a.toml").exists()
    assert doors.ring.make(anew=["bridge-a"]) == ["bridge-a"]
    doors.broker.reload()
    wait_for(lambda: Guest(doors.account("bridge-a")).answers == ["Success"], 10, "a new password")


def test_a_second_screen_has_an_account_of_its_own(doors, guest):
    first = guest("ward-east")
    assert doors.ring.another("ward-east") == "ward-east.2"
    assert doors.broker is not None
    doors.broker.reload()
    wait_for(lambda: Guest(doors.account("ward-east.2")).answers == ["Success"], 10, "the second screen")
    assert first.losses == 0


def test_a_new_certificate_is_shown_without_a_restart(doors, guest):
    stays = guest("bridge-b")
    door, before = doors.account("bridge-a"), shown_until(doors.account("bridge-a"))
    doors.ring._now += timedelta(hours=12)
    doors.ring.renew()
    assert doors.broker is not None
    doors.broker.reload()
    wait_for(lambda: shown_until(door) > before, 10, "the new certificate")
    stays.say(U2, b"still")
    assert stays.losses == 0


def test_natss_own_protocol_lets_no_account_in(tmp_path):
    demand(find_nats)
    with closing(Doors("nats", tmp_path).start()) as doors:
        door = doors.account("collector")
        assert doors.broker is not None
        log = Path(doors.broker.log_path).read_text()
        found = re.search(r"Listening for client connections on 127\.0\.0\.1:(\d+)", log)
        assert found is not None
        with socket.create_connection(("127.0.0.1", int(found[1])), timeout=10) as link:
            link.recv(4_096)
            who = json.dumps({"user": door.username, "pass": door.password, "verbose": True})
            link.sendall(f"CONNECT {who}\r\nPING\r\n".encode())
            assert b"Authorization Violation" in link.recv(4_096)


def test_the_collector_knows_when_the_brokers_certificate_ends(doors):
    line = Subscriber(doors.account("collector"), "", [f"{ROOT}/unit/+/readings"])
    wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 10, "the subscription")
    assert line.certificate_until_s == shown_until(doors.account("collector"))
    line.close()


def heard(line: Subscriber, topics: set[str]) -> int:
    topics.update(message[0] for message in line.poll(0.05))
    return len(topics)


def test_the_simulated_hospital_comes_in_bridge_by_bridge(kind, tmp_path):
    """The night's five bridges, each with an account of its own, and the collector: every ward is heard."""
    with closing(Doors(kind, tmp_path, site=HOSPITAL.read_text()).start()) as doors:
        line = Subscriber(doors.account("collector"), "", ["oxygen/v1/sim-tallgrass/bridge/+/link"])
        wait_for(lambda: line.poll(0.05) == [] and line.subscribed, 15, "the subscription")
        argv = [sys.executable, "-m", "collector.cli", "simulate", "--account", str(doors.keys / "accounts")]
        with subprocess.Popen([*argv, "--scenario", "night"], stderr=subprocess.PIPE, text=True) as simulator:
            online: set[str] = set()
            wait_for(lambda: heard(line, online) == 5, 30, "all bridges")
            simulator.terminate()
            assert " 0 dropped" in simulator.communicate(timeout=30)[1]
        line.close()
