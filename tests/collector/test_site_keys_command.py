"""`sieveward site keys` as a person runs it: what it makes, says and refuses."""

from datetime import UTC, datetime, timedelta

import pytest

from collector.doors.certificates import Pair, make_server
from tests.collector.test_cli import run
from tests.doors import SITE


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    return path


def keys(site, *words):
    return run("site", "keys", "--site", site, "--out", site.parent / "keys", *words)


def test_made_shown_added_to_and_taken_from(site):
    made = keys(site, "--host", "192.0.2.10", "--host", "broker.lan", "--installed", "/etc/sieveward/keys")
    assert made.returncode == 0
    assert len(made.stdout.splitlines()) == 7
    assert "nats-server -c /etc/sieveward/keys/broker/nats.conf" in made.stderr
    shown = keys(site, "--show")
    assert shown.returncode == 0
    assert "may publish oxygen/v1/lake/unit/u1/readings oxygen/v1/lake/bridge/a/+" in shown.stdout
    assert "for 192.0.2.10, broker.lan" in shown.stdout or "for broker.lan, 192.0.2.10" in shown.stdout
    assert keys(site).stdout == ""
    assert keys(site, "--withdraw", "bridge-a").stdout == "withdrawn: bridge-a\n"
    assert "--anew bridge-a lets it in again" in keys(site, "--show").stdout
    assert keys(site, "--another", "ward-east").stdout.endswith("ward-east.2.toml\n")
    keys(site, "--withdraw", "ward-east.2")
    assert keys(site, "--anew", "ward-east.2").stdout.endswith("ward-east.2.toml\n")
    assert "bridge-a.toml" in keys(site, "--anew", "bridge-a").stdout


def test_the_first_time_it_asks_for_the_brokers_name(site):
    done = keys(site)
    assert done.returncode == 2
    assert "--host" in done.stderr
    assert not (site.parent / "keys" / "ca.key").exists()


def test_there_is_nothing_to_show_yet(site):
    done = keys(site, "--show")
    assert done.returncode == 2
    assert "holds no keys yet; make them with --host" in done.stderr


@pytest.mark.parametrize(("days", "said"), [(10, "ends soon"), (-10, "has ended")])
def test_an_end_that_is_near_is_said_with_status_1_and_can_be_put_off(site, days, said):
    keys(site, "--host", "192.0.2.10")
    folder = site.parent / "keys"
    authority = Pair((folder / "ca.crt").read_bytes(), (folder / "ca.key").read_bytes())
    now = datetime.now(UTC)
    pair = make_server(authority, ["192.0.2.10"], now, now - timedelta(days=20), days=days)
    (folder / "broker" / "server.crt").write_bytes(pair.certificate)
    shown = keys(site, "--show")
    assert shown.returncode == 1
    assert f"server.crt {said}: run again with --renew, then reload the broker" in shown.stderr
    renewed = keys(site, "--renew", "--host", "192.0.2.11")
    assert "it is for 192.0.2.11" in renewed.stdout
    assert 'write broker = "192.0.2.11:8883" into them' in renewed.stderr
    assert keys(site, "--show").returncode == 0


@pytest.mark.parametrize("words", [["collect"], ["simulate"]])
def test_a_wrong_account_file_ends_a_command_with_2(site, words):
    bad = site.parent / "account.toml"
    bad.write_text('broker = "127.0.0.1"\nca = "none.crt"\n')
    asked = [*words, "--account", bad, *(["--site", site] if words == ["collect"] else [])]
    done = run(*asked)
    assert done.returncode == 2
    assert "none.crt: no such file" in done.stderr


def test_broker_and_account_are_one_too_many(site):
    done = run("collect", "--site", site, "--broker", "127.0.0.1:1", "--account", "x")
    assert done.returncode == 2
    assert "name one of --broker and --account" in done.stderr
