"""`sieveward bridge` as people use it: samples, an unknown device, wrong files; and a whole bridge to a real broker."""

import json
import os
import subprocess
import sys

import msgspec
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from typer.testing import CliRunner

from collector.bridge.profile import shipped_profiles
from collector.bridge.word import read_word
from collector.cli.main import app
from collector.cli.says import Refused
from collector.senml import decode_pack
from tests.collector.bridge.plugs import Adapter
from tests.waiting import wait_for

SHIPPED = shipped_profiles()


def run(*words):
    result = CliRunner().invoke(app, ["bridge", *map(str, words)], catch_exceptions=True)
    if isinstance(result.exception, Refused):
        return result.exception.status, str(result.exception)
    return result.exit_code, result.output


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_a_good_sample_is_shown_and_ends_with_0(name):
    status, said = run("--check", name, SHIPPED[name].with_suffix(".txt"))
    assert status == 0
    assert " 0 refused, 0 bytes in no frame" in said


def test_what_is_refused_is_listed_with_its_reason_and_ends_with_1():
    status, said = run("--check", "semicolon-line", SHIPPED["labelled-text"].with_suffix(".txt"))
    assert status == 1
    assert "2: refused: 1 columns where 8 should be   'O2:  101.7 %" in said
    assert "0 read, 4 refused" in said


def test_a_sample_without_the_end_mark_says_so(tmp_path):
    (tmp_path / "cut.txt").write_bytes(b"purity=93.4")
    status, said = run("--check", "key-value-line", tmp_path / "cut.txt")
    assert (status, "no end mark b'\\n' behind it: cut short" in said) == (1, True)


def test_an_empty_sample_proves_nothing(tmp_path):
    (tmp_path / "empty.txt").write_bytes(b"")
    assert run("--check", "key-value-line", tmp_path / "empty.txt")[0] == 1


def test_corrections_are_shown_beside_what_was_read():
    name = "many-units-crc"
    status, said = run(
        "--check", name, SHIPPED[name].with_suffix(".txt"), "--altitude", 1000, "--calibrated-altitude", 500
    )
    assert status == 0
    assert "shown_pct" in said
    assert "note: purity x 1.0621: galvanic, calibrated at 500 m, stands at 1000 m" in said
    assert "98.248" in said


def test_as_json_for_a_program():
    status, said = run("--check", "labelled-text", SHIPPED["labelled-text"].with_suffix(".txt"), "--json")
    document = json.loads(said)
    assert (status, document["read"], document["refused"]) == (0, 3, 0)
    assert document["rows"][0]["reading"]["purity_pct"] == pytest.approx(93.293)
    assert document["rows"][0]["shown_pct"] == 101.7


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "name a bridge file, or one of"),
        (["b.toml", "--learn", "x"], "name a bridge file, or one of"),
        (["--check", "registers", "none.txt"], "none.txt: cannot be read: No such file"),
        (["--check", "none.toml", "none.txt"], "none.toml: no such file"),
        (["--learn", "x", "--ask", "a\\"], "cannot be sent; write plain text"),
        (["none.toml"], "none.toml: no such file; name a bridge file that is there"),
    ],
)
def test_wrong_usage_ends_with_2(words, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    status, told = run(*words)
    assert status == 2
    assert said in told


@pytest.mark.parametrize(
    ("sample", "said"),
    [
        ("> 11 03 00 6B 00 03 76 87\n", "line 1 of the sample: the profile never asks 11 03 00 6B"),
        ("> 00 03 00 00 00 04 45 D8\n", "no request in the sample"),
        ("> 11 03 00\n> 0\n", "line 2 of the sample: '0' is not pairs of hex digits"),
        ("", "no request in the sample"),
    ],
)
def test_a_modbus_sample_that_does_not_fit_is_refused(tmp_path, sample, said):
    (tmp_path / "other.txt").write_text(sample)
    status, told = run("--check", "registers", tmp_path / "other.txt")
    assert status == 2
    assert said in told


def test_profiles_are_listed():
    status, said = run("--profiles")
    assert status == 0
    assert all(name in said for name in SHIPPED)


def command(*words):
    return subprocess.Popen(
        [sys.executable, "-m", "collector.cli", "bridge", *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip


def test_an_unknown_device_is_listened_to_and_a_profile_proposed(tmp_path):
    adapter = Adapter(tmp_path / "adapter")
    adapter.plug()
    learner = command("--learn", adapter.path, "--baud", 9600, "--lines", 3, "--seconds", 20)
    assert "listening" in learner.stderr.readline()
    speaking = iter(range(10_000))

    def spoken():
        adapter.says(b"o2=93.4 flow=4.9 n=%d\r\n" % next(speaking))
        return learner.poll() is not None

    wait_for(spoken, 20, "the proposal")
    text, said = learner.communicate()
    adapter.pull()
    assert learner.returncode == 0
    assert '[field.purity_pct]\nfrom = "o2"' in text
    assert "# port: baud = 9600" in text
    assert "the proposal reads" in said


def test_a_port_that_is_not_there_is_said(tmp_path):
    status, said = run("--learn", tmp_path / "none", "--baud", 9600)
    assert (status, "is it plugged in" in said) == (1, True)


class Onlooker:
    """Hears what a bridge publishes."""

    def __init__(self, broker):
        self.readings, self.links, self.words = [], [], []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "onlooker")
        self._client.on_message = self._heard
        self._client.connect(broker.host, broker.port)
        self._client.subscribe("oxygen/v1/lakeside/#", 1)
        self._client.loop_start()

    def _heard(self, client, data, message):
        *_, kind, who, what = message.topic.split("/")
        if (kind, what) == ("unit", "readings"):
            self.readings += decode_pack(message.payload, 0, "lakeside", who)
        elif what == "link":
            self.links.append(message.payload)
        elif (kind, what) == ("bridge", "state"):
            self.words.append(read_word(message.payload))

    def close(self):
        self._client.disconnect()
        self._client.loop_stop()


def test_a_bridge_publishes_what_its_lines_say(nats, tmp_path):
    one, two, sonic = (Adapter(tmp_path / f"adapter-{number}") for number in (1, 2, 3))
    for adapter in (one, two, sonic):
        adapter.plug()
    tables = "".join(
        f'[[port]]\npath = "{adapter.path}"\nprofile = "{profile}"\nunit = "{unit}"\n'
        for adapter, profile, unit in (
            (one, "key-value-line", "u1"),
            (two, "fixed-width-asked", "u2"),
            (sonic, "labelled-text", "u3"),
        )
    )
    (tmp_path / "bridge.toml").write_text(
        f'facility = "lakeside"\nbridge = "b1"\nbroker = "{nats.host}:{nats.port}"\n{tables}'
    )
    onlooker = Onlooker(nats)
    bridge = command(tmp_path / "bridge.toml")
    try:
        wait_for(two.heard, 20, "the second device to be asked")
        two.says(b"0921 0300 0345 012041\r")
        wait_for(lambda: one.says(b"purity=93.4 flow=4.90 power=345\r\n") or onlooker.readings, 20, "readings")
        wait_for(lambda: {reading.unit for reading in onlooker.readings} == {"u1", "u2"}, 20, "both units")
        wait_for(lambda: b"online" in onlooker.links, 10, "the link")
        wait_for(lambda: onlooker.words, 10, "the bridge's word")
    finally:
        bridge.terminate()
        bridge.communicate(timeout=20)
        onlooker.close()
    last = {reading.unit: msgspec.structs.asdict(reading) for reading in onlooker.readings}
    assert (last["u1"]["purity_pct"], last["u1"]["flow_lpm"], last["u1"]["power_w"]) == (93.4, 4.9, 345.0)
    assert (last["u2"]["purity_pct"], last["u2"]["flow_lpm"], last["u2"]["hours_h"]) == (92.1, 3.0, 1204.1)
    assert bridge.returncode == 0
    assert [port.open for port in onlooker.words[-1].ports] == [True, True, True]
    assert "corrected for argon" in onlooker.words[-1].ports[2].notes[0]
